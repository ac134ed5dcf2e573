"""What is remembered of all records while a dataset is open, and how it is read from the folder."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from pathlib import Path

from vambrace.dataset.files import FileOps, read_bytes
from vambrace.dataset.layout import SOURCES, SUPERSEDED
from vambrace.dataset.ledger import Known, record_order, replaced_keys
from vambrace.dataset.records import Occurrence, Record, record_from_json

PREFIX = 16
"""How many hex digits of a source's SHA-256 name its recordings."""

_TRIES = 20


class Index:
    """The current and the superseded records by key, content and place."""

    def __init__(self) -> None:
        """Begin empty."""
        self.current: dict[str, Known] = {}
        self.superseded: dict[str, Known] = {}
        self._by_prefix: dict[str, set[str]] = {}
        self._by_place: dict[Occurrence, set[str]] = {}

    def put(self, known: Known) -> None:
        """Remember a current record in place of one with the same key."""
        self.remove(known.key)
        self.current[known.key] = known
        if known.sha256 is not None:
            self._by_prefix.setdefault(known.sha256[:PREFIX], set()).add(known.key)
        for place in known.occurrences:
            self._by_place.setdefault(place, set()).add(known.key)

    def remove(self, key: str) -> None:
        """Forget a current record."""
        known = self.current.pop(key, None)
        if known is None:
            return
        if known.sha256 is not None:
            self._by_prefix[known.sha256[:PREFIX]].discard(key)
        for place in known.occurrences:
            self._by_place[place].discard(key)

    def of_content(self, sha256: str) -> list[Known]:
        """Return the current records of a content."""
        keys = sorted(self._by_prefix.get(sha256[:PREFIX], ()))
        return [self.current[key] for key in keys if self.current[key].sha256 == sha256]

    def of_prefix(self, sha256: str) -> list[Known]:
        """Return the current records whose recordings would have the same names."""
        return [self.current[key] for key in sorted(self._by_prefix.get(sha256[:PREFIX], ()))]

    def of_place(self, place: Occurrence) -> list[Known]:
        """Return the current records of what was found at a place."""
        return [self.current[key] for key in sorted(self._by_place.get(place, ()))]

    def ordered(self) -> list[Known]:
        """Return the current records in the order in which their recordings follow one another."""
        return sorted(self.current.values(), key=record_order)

    def state(self) -> str:
        """Return a digest of all records: the same records give the same digest, in whatever order they came."""
        digest = hashlib.sha256()
        for kind, held in ((SOURCES, self.current), (SUPERSEDED, self.superseded)):
            for key in sorted(held):
                digest.update(f"{kind}/{key} {held[key].digest}\n".encode())
        return digest.hexdigest()


def load_index(ops: FileOps, folder: Path) -> Index:
    """Read all records; what a newer record replaces counts as superseded wherever it stands.

    A reader holds no lock: where a file moves away between listing and reading, everything is read again.
    """
    for _ in range(_TRIES):
        try:
            return index_of(_scan(ops, folder / SOURCES), _scan(ops, folder / SUPERSEDED))
        except FileNotFoundError:
            continue
    return index_of(_scan(ops, folder / SOURCES), _scan(ops, folder / SUPERSEDED))


def index_of(sources: Iterable[Known], superseded: Iterable[Known]) -> Index:
    """Return the index of records; what a newer record replaces counts as superseded wherever it stands."""
    index = Index()
    current = list(sources)
    index.superseded = {one.key: one for one in superseded}
    replaced = replaced_keys(current)
    for one in current:
        if one.key in replaced:
            index.superseded[one.key] = one
        else:
            index.superseded.pop(one.key, None)
            index.put(one)
    return index


def _scan(ops: FileOps, folder: Path) -> Iterator[Known]:
    for name in ops.list_folder(folder):
        if name.endswith(".json"):
            record, digest = read_record(ops, folder / name)
            yield Known.of(record, digest)


def read_record(ops: FileOps, path: Path) -> tuple[Record, str]:
    """Return a record and the SHA-256 of its file; raise VambraceError where it is damaged."""
    data = read_bytes(ops, path)
    return record_from_json(data, str(path)), hashlib.sha256(data).hexdigest()
