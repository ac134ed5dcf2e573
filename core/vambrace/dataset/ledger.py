"""Which records count, and what became of every source: pure functions of all records, in whatever order they came."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from vambrace.dataset.records import FindingRow, Occurrence, Record, Stamp
from vambrace.dataset.texts import byte_order, printable


@dataclass(frozen=True, slots=True)
class Known:
    """What is remembered of every record, so that memory does not grow with what the records say."""

    key: str
    sha256: str | None
    occurrences: tuple[Occurrence, ...]
    shard: Stamp | None
    aside: Stamp | None
    replaces: tuple[str, ...]
    revision: int
    digest: str

    @staticmethod
    def of(record: Record, digest: str) -> Known:
        """Return what is remembered of a record; `digest` is the SHA-256 of its file."""
        return Known(
            record.key,
            record.sha256,
            record.occurrences,
            record.shard,
            record.aside,
            record.replaces,
            record.revision,
            digest,
        )


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the ledger before its record is read: one place of a source.

    `first` is the place that carries the record's own status. `heir` is the SHA-256 of what superseded the source.
    """

    place: Occurrence
    key: str
    first: Occurrence
    superseded: bool = False
    heir: str | None = None


def replaced_keys(known: Iterable[Known]) -> set[str]:
    """Return the keys of records whose place a newer one took, although a crash left both."""
    by_key = {one.key: one for one in known}
    return {
        old for one in by_key.values() for old in one.replaces if old in by_key and by_key[old].revision < one.revision
    }


def place_order(place: Occurrence) -> tuple[bytes, bytes]:
    """Return what places are ordered by: the UTF-8 bytes of root, then of path."""
    return byte_order(place.root), byte_order(place.path)


def record_order(one: Known | Record) -> tuple[str, str]:
    """Return what records are ordered by where recordings follow one another."""
    return one.sha256 or "", one.key


def lines(current: Sequence[Known], superseded: Sequence[Known]) -> list[Line]:
    """Return one line for each place of each source, ordered by root and path.

    A superseded record counts where no current one holds its content; of several such records of one content (its
    settings had changed before) the latest.
    """
    held = {one.sha256 for one in current}
    heirs = _heirs([*current, *superseded])
    latest: dict[str, Known] = {}
    for one in sorted(superseded, key=lambda one: (one.revision, one.key)):
        if one.sha256 is not None and one.sha256 not in held:
            latest[one.sha256] = one
    rows = [line for one in current for line in _lines(one, superseded=False)]
    for one in latest.values():
        rows.extend(_lines(one, superseded=True, heir=heirs.get(one.key)))
    return sorted(rows, key=lambda line: (*place_order(line.place), line.key))


def _heirs(known: Iterable[Known]) -> dict[str, str | None]:
    """Return the content that took each record's place, the latest where there are several."""
    ranked = sorted(known, key=lambda one: (one.revision, one.key))
    return {old: one.sha256 for one in ranked for old in one.replaces}


def _lines(one: Known, *, superseded: bool, heir: str | None = None) -> list[Line]:
    first = min(one.occurrences, key=place_order)
    return [Line(place, one.key, first, superseded, heir) for place in one.occurrences]


def status_of(line: Line, record: Record) -> tuple[str, str | None]:
    """Return the status and the reason of one row of the ledger."""
    if line.place != line.first:
        return "duplicate", f"the same bytes as {_shown(line.first, line.place.root)}"
    if line.superseded:
        by = f" (sha256 {line.heir})" if line.heir else ""
        return "superseded", f"a newer export takes its place{by}"
    return record.status, record.reason


def _shown(place: Occurrence, root: str) -> str:
    inside = "" if place.root == root else f" in {place.root}"
    return printable(f"{place.path}{inside}")


def same_path_findings(rows: Sequence[Line]) -> Mapping[int, FindingRow]:
    """Return a warning, by the position of the first line, for each place that holds different bytes over time."""
    found: dict[int, FindingRow] = {}
    start = 0
    for at in range(1, len(rows) + 1):
        if at < len(rows) and rows[at].place == rows[start].place:
            continue
        alive = [row for row in rows[start:at] if not row.superseded]
        if len(alive) > 1:
            message = (
                "different bytes were found at this path at different times, and both are kept; "
                "drop the one that is not wanted"
            )
            found[start] = FindingRow("same-path", "warning", message, count=len(alive))
        start = at
    return found
