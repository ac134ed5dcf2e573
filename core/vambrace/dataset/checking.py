"""Holds a dataset against its contract, to the last row."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pyarrow as pa

from vambrace.dataset.build import Builder
from vambrace.dataset.document import Document
from vambrace.dataset.files import TEMPORARY, FileOps, RealFiles, read_bytes, sha256_of
from vambrace.dataset.index import Index, index_of, read_record
from vambrace.dataset.layout import ASIDE, RECORD, SAMPLES, SHARD, SOURCES, SUPERSEDED, Layout
from vambrace.dataset.ledger import Known
from vambrace.dataset.package import descriptor
from vambrace.dataset.parquet import read_batches, read_schema
from vambrace.dataset.records import Record, Stamp, content_key, entry_key
from vambrace.dataset.recovery import orphans
from vambrace.dataset.rowchecks import Faults, ShardCheck
from vambrace.dataset.schemas import DERIVED, METADATA_KEY, TABLES, samples_schema
from vambrace.dataset.store import Store
from vambrace.errors import Reason, VambraceError
from vambrace.rules import Finding, InTimeOrder
from vambrace.schema import SIGNALS

TellOf = Callable[[Record], InTimeOrder | None]


def check_dataset(folder: Path, tell_of: TellOf) -> Iterator[Finding]:
    """Yield each breach of the contract, with paths below the folder.

    `tell_of` may give, for a record, what is told the rows of its shard. Raise VambraceError for a folder that is no
    dataset, or a newer one, and at the end for one that was changed meanwhile: what was found may be of both states.
    """
    document = Store.open(folder).document
    check = _Check(RealFiles(), folder)
    names = check.names()
    for faults in check.all(document):
        yield from faults.findings()
    for record in check.current():
        for faults in check.files(record, tell_of(record)):
            yield from faults.findings()
    if (Store.open(folder).document, check.names()) != (document, names):
        raise _changed(folder)


def _changed(folder: Path) -> VambraceError:
    what, todo = "the dataset was changed while it was looked at", "Validate it again when nobody converts into it"
    return VambraceError(what, where=str(folder), todo=todo)


class _Check:
    """One look at all of a dataset."""

    def __init__(self, ops: FileOps, folder: Path) -> None:
        self._ops, self._folder, self._layout = ops, folder, Layout(folder)
        self._index = Index()

    def names(self) -> list[list[str]]:
        """Return the names of all records."""
        kinds = (self._ops.list_folder(self._folder / kind) for kind in (SOURCES, SUPERSEDED))
        return [sorted(name for name in names if name.endswith(RECORD)) for names in kinds]

    def all(self, document: Document) -> Iterator[Faults]:
        """Yield what is wrong with records, derived tables and descriptor."""
        known: dict[str, list[Known]] = {SOURCES: [], SUPERSEDED: []}
        whole = True
        for kind in known:
            for name in self._ops.list_folder(self._folder / kind):
                if name.endswith(RECORD):
                    faults = Faults(f"{kind}/{name}")
                    one = self._record(kind, name, faults)
                    known[kind] += [one] if one else []
                    whole &= one is not None
                    yield faults
        self._index = index_of(known[SOURCES], known[SUPERSEDED])
        yield from self._orphans()
        yield from self._superseded()
        # Without all records nobody knows what the tables should hold.
        if whole:
            yield from self._tables(document)
            yield self._package()

    def _record(self, kind: str, name: str, faults: Faults) -> Known | None:
        try:
            record, digest = read_record(self._ops, self._folder / kind / name)
        except (VambraceError, OSError) as error:
            faults.add("schema-record", str(getattr(error, "what", error)))
            return None
        place = record.occurrences[0] if record.occurrences else None
        if record.sha256 is not None:
            key = content_key(record.sha256, record.settings)
        else:
            key = entry_key(place.root, place.path) if place else ""
        if not name == f"{record.key}{RECORD}" == f"{key}{RECORD}":
            faults.add("schema-record", "its key is not that of its content and settings")
        _check_counts(record, faults)
        return Known.of(record, digest)

    def _orphans(self) -> Iterator[Faults]:
        for path in orphans(self._ops, self._layout, self._index):
            key, old = path.name.removesuffix(SHARD).removesuffix(".aside"), path.parent.name == SUPERSEDED
            # A run that died may have left a known file in its other place; the next one moves or removes it.
            known = key in self._index.superseded if not old else key in self._index.current
            if not known and not path.name.startswith(TEMPORARY):
                faults = Faults(f"{path.parent.name}/{path.name}")
                faults.add("schema-key", "no record names this file; the next conversion into this dataset removes it")
                yield faults

    def _superseded(self) -> Iterator[Faults]:
        """Yield what is wrong with the bytes of sources that are in no result, but stay readable."""
        for key, known in sorted(self._index.superseded.items()):
            for stamp, place in ((known.shard, self._layout.shard), (known.aside, self._layout.aside)):
                if stamp is not None:
                    moved, before = place(key, superseded=True), place(key)
                    path = before if before.is_file() else moved
                    faults = Faults(f"{path.parent.name}/{path.name}")
                    self._stamped(path, stamp, faults)
                    yield faults

    def _tables(self, document: Document) -> Iterator[Faults]:
        state = self._index.state()
        for name in DERIVED:
            faults = Faults(f"tables/{name}{SHARD}")
            try:
                schema = read_schema(self._ops, self._layout.table(name))
                _check_columns(schema, TABLES[name], faults)
                stamp = (schema.metadata or {}).get(METADATA_KEY)
                current = document.tables_current and document.state == state and stamp == state.encode()
                if not current:
                    faults.add("schema-stale", "it was built from an earlier state of the records")
                elif not faults.found and not self._holds(name):
                    faults.add("schema-stale", "its rows are not those that the records give")
            except VambraceError as error:
                faults.add("schema-stale", f"it cannot be used: {error.what}")
            yield faults

    def _holds(self, name: str) -> bool:
        """Tell whether a derived table holds what the records give."""
        builder = Builder(self._ops, self._index, self._read, self._aside)
        wanted = (batch for _, table in builder.tables((name,)) for batch in table.to_batches())
        return _same_rows(wanted, read_batches(self._ops, self._layout.table(name)), TABLES[name])

    def _read(self, key: str) -> Record:
        superseded = key not in self._index.current
        try:
            return read_record(self._ops, self._layout.record(key, superseded=superseded))[0]
        except FileNotFoundError as error:
            raise _changed(self._folder) from error

    def current(self) -> Iterator[Record]:
        """Yield the current records, in the order of their recordings."""
        return (self._read(known.key) for known in self._index.ordered())

    def _aside(self, key: str) -> tuple[Path, Path]:
        return self._layout.aside(key), self._layout.aside(key, superseded=True)

    def _package(self) -> Faults:
        faults = Faults(self._layout.package.name)
        shards = [f"{SAMPLES}/{one.key}{SHARD}" for one in self._index.ordered() if one.shard is not None]
        try:
            if read_bytes(self._ops, self._layout.package) != descriptor(shards):
                faults.add("schema-package", "it is not what the records give")
        except OSError as error:
            faults.add("schema-package", f"it cannot be read: {error.strerror or error}")
        return faults

    def files(self, record: Record, tell: InTimeOrder | None) -> Iterator[Faults]:
        """Yield what is wrong with the files of a record."""
        if record.shard is not None:
            faults = Faults(f"{SAMPLES}/{record.key}{SHARD}")
            check = ShardCheck(record, faults, tell)
            if self._stamped(self._layout.shard(record.key), record.shard, faults):
                self._shard(record, check, faults)
            yield faults
        if record.aside is not None:
            faults = Faults(f"{ASIDE}/{record.key}{SHARD}")
            if self._stamped(self._layout.aside(record.key), record.aside, faults):
                self._set_aside(record, faults)
            yield faults

    def _stamped(self, path: Path, stamp: Stamp, faults: Faults) -> bool:
        """Count a digest that does not hold; tell whether there are bytes to go on with."""
        try:
            with self._ops.open_old(path) as stream:
                if sha256_of(stream) != stamp.sha256:
                    faults.add("schema-hash", "its bytes are not those that were committed")
        except OSError as error:
            faults.add("schema-hash", f"it cannot be read: {error.strerror or error}")
            return False
        return True

    def _shard(self, record: Record, check: ShardCheck, faults: Faults) -> None:
        path = self._layout.shard(record.key)
        signals = {row.signal for row in record.channels if row.signal is not None and row.n}
        try:
            schema = read_schema(self._ops, path)
            if not _check_columns(schema, samples_schema(), faults):
                return
            known = signals <= SIGNALS.keys()
            if not known or (schema.metadata or {}).get(METADATA_KEY) != _metadata(signals):
                faults.add("schema-version", "its metadata are not those of its signals in this schema version")
            for batch in read_batches(self._ops, path):
                check.add(batch)
            check.finish()
        except VambraceError as error:
            faults.add("schema-hash", error.what)

    def _set_aside(self, record: Record, faults: Faults) -> None:
        path = self._layout.aside(record.key)
        rows = 0
        try:
            if not _check_columns(read_schema(self._ops, path), TABLES["set_aside"], faults):
                return
            for batch in read_batches(self._ops, path):
                rows += batch.num_rows
                _check_words(record, batch, faults)
        except VambraceError as error:
            faults.add("schema-hash", error.what)
            return
        if rows != record.rows_set_aside:
            faults.add("schema-rows", f"the record says {record.rows_set_aside:,} rows, the file has {rows:,}")


def _metadata(signals: set[str]) -> bytes:
    return bytes(samples_schema(signals).metadata[METADATA_KEY])


def _check_columns(found: pa.Schema, wanted: pa.Schema, faults: Faults) -> bool:
    """Count columns that are missing, too many or of another type; tell whether there are none."""
    if found.remove_metadata().equals(wanted.remove_metadata()):
        return True
    there, due = ({each.name: each.type for each in schema} for schema in (found, wanted))
    for name in sorted(there.keys() | due.keys()):
        if name not in there:
            faults.add("schema-columns", f"the column {name} is missing")
        elif name not in due:
            faults.add("schema-columns", f"the column {name} is not in the contract")
        elif there[name] != due[name]:
            faults.add("schema-columns", f"the column {name} is {there[name]}, not {due[name]}")
    if list(there) != list(due) and there == due:
        faults.add("schema-columns", "the columns stand in another order")
    return False


def _check_counts(record: Record, faults: Faults) -> None:
    """Hold the numbers of a record against one another, as far as reading it did not."""
    kept, aside, absent = (
        sum(getattr(row, name) for row in record.channels if row.signal is not None)
        for name in ("n", "n_set_aside", "n_absent")
    )
    if record.recordings and (kept, aside) != (record.rows_kept, record.rows_set_aside):
        faults.add("schema-rows", "the channels do not add up to the rows of the source")
    if absent > record.rows_absent:
        faults.add("schema-rows", "the channels have more absent values than the source")
    names = {row.recording for row in record.recordings}
    strangers = {*(row.recording for row in record.channels), *(row.recording for row in record.events)} - names
    for name in sorted(strangers):
        faults.add("schema-key", "channels or events of a recording that is not there", 1, name)
    if len(names) < len(record.recordings):
        faults.add("schema-key", "two recordings have one name")


def _check_words(record: Record, batch: pa.RecordBatch, faults: Faults) -> None:
    prefix = f"{(record.sha256 or '')[:16]}."
    for column, known in (("reason", {str(reason) for reason in Reason}), ("signal", {*SIGNALS})):
        strange = [word for word in batch.column(column).to_pylist() if word not in known]
        faults.add("schema-value", f"rows with a {column} that is not in the contract", len(strange))
    strange = [word for word in batch.column("recording").to_pylist() if not (word or "").startswith(prefix)]
    faults.add("schema-key", "rows of a recording of another source", len(strange))


def _same_rows(left: Iterator[pa.RecordBatch], right: Iterator[pa.RecordBatch], schema: pa.Schema) -> bool:
    """Tell whether two streams hold the same rows, however they are cut."""
    held = [pa.table([[]] * len(schema), schema=schema.remove_metadata())] * 2
    streams = (left, right)
    while True:
        n = min(table.num_rows for table in held)
        if not held[0].slice(0, n).equals(held[1].slice(0, n)):
            return False
        held = [table.slice(n) for table in held]
        more = False
        for at, stream in enumerate(streams):
            if not held[at].num_rows and (batch := next(stream, None)) is not None:
                held[at] = pa.Table.from_batches([batch.replace_schema_metadata(None)])
                more = True
        if not more:
            return not held[0].num_rows and not held[1].num_rows
