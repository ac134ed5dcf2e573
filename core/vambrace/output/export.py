"""Writes a table to one file, in the format that its suffix names."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc

from vambrace import registry
from vambrace.dataset import Store
from vambrace.dataset.files import RealFiles, placing, sha256_of
from vambrace.errors import VambraceError
from vambrace.output.filters import Filters
from vambrace.output.views import view
from vambrace.plugin import Writer


def export(
    store: Store,
    to: Path | str,
    *,
    table: str = "samples",
    wide: bool = False,
    filters: Filters | None = None,
) -> int:
    """Write a table and return its number of rows; a file that stands at `to` is replaced when all is written.

    Raise VambraceError for an unknown table, suffix or filter, or where the file cannot be written.
    """
    target = Path(to)
    writer = _writer_for(target)
    _refuse_place(store, target)
    shown = view(store, table, filters, wide=wide)
    counted = _Counted(shown.batches)
    try:
        with placing(RealFiles(), target) as stream:
            writer.write(stream, shown.schema, counted)
    except OSError as error:
        what = f"writing failed: {error.strerror or error}"
        raise VambraceError(what, where=str(target), todo="Mend that, or write the table somewhere else") from error
    return counted.rows


def _refuse_place(store: Store, target: Path) -> None:
    """Raise VambraceError where nothing can stand, or something stands that no export may replace."""
    if store.folder.resolve() in target.resolve().parents:
        raise VambraceError("the target lies inside the dataset", where=str(target), todo="Write it somewhere else")
    if not target.parent.is_dir():
        raise VambraceError("the folder does not exist", where=str(target.parent), todo="Create it first")
    if target.is_dir():
        raise VambraceError("a folder stands there", where=str(target), todo="Give the name of a file")
    if source := _source_at(store, target):
        what = f"the file that stands there is a source of this dataset ({source})"
        raise VambraceError(what, where=str(target), todo="Write the table somewhere else")


def _source_at(store: Store, target: Path) -> str | None:
    """Return the ledger's path of the source whose bytes stand at the target; None for any other file."""
    size = target.stat().st_size if target.is_file() else 0
    if not size:
        return None
    known: dict[str, str] = {}
    for batch in store.table_batches("files"):
        known.update((row["sha256"], row["path"]) for row in batch.filter(pc.equal(batch["bytes"], size)).to_pylist())
    if not known:
        return None
    with target.open("rb") as stream:
        return known.get(sha256_of(stream))


def _writer_for(target: Path) -> Writer:
    writers = registry.load().writers.values()
    suffixes = {suffix: writer for writer in writers for suffix in writer.suffixes}
    if target.suffix.lower() not in suffixes:
        what = f"no writer is installed for {target.suffix!r}" if target.suffix else "the name has no suffix"
        raise VambraceError(what, where=str(target), todo=f"Use one of {', '.join(sorted(suffixes))}")
    return suffixes[target.suffix.lower()]


class _Counted:
    """Counts the rows that pass."""

    def __init__(self, batches: Iterator[pa.RecordBatch]) -> None:
        self._batches, self.rows = batches, 0

    def __iter__(self) -> Iterator[pa.RecordBatch]:
        for batch in self._batches:
            self.rows += len(batch)
            yield batch
