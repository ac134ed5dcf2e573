"""Every table that a dataset hands on, as a schema and batches: stored, derived, narrow and wide; memory stays flat."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace.dataset import DERIVED, TABLES, Store
from vambrace.errors import VambraceError
from vambrace.output.filters import Filters
from vambrace.schema import SIGNALS

POSITION = "position"
SLICE_ROWS = 1 << 16
"""Rows of one batch of what is made of a whole recording."""
_FIX = ("latitude", "longitude", "altitude")
_WORD = pa.dictionary(pa.int32(), pa.string())
_WHO = tuple(pa.field(name, _WORD) for name in ("participant", "device", "session", "activity"))
"""What a study file says of a sample; null as long as there is none."""

NAMES = ("samples", *DERIVED, POSITION, *SIGNALS)
"""The tables that can be asked for."""


@dataclass(frozen=True, slots=True)
class View:
    """A table about to be handed on; `batches` is to be walked once."""

    schema: pa.Schema
    batches: Iterator[pa.RecordBatch]


def view(store: Store, name: str = "samples", filters: Filters | None = None, *, wide: bool = False) -> View:
    """Return a table of a dataset; raise VambraceError for one that does not exist, or a filter that it cannot have."""
    filters = filters or Filters()
    if name not in NAMES:
        raise VambraceError(f"no table is named {name!r}", todo=f"Tables: {', '.join(NAMES)}")
    if wide and name != "samples":
        raise VambraceError(f"only samples have a wide form, not {name}", todo="Leave out one of the two")
    if name in DERIVED:
        schema = TABLES[name]
        filters.check(name, schema)
        return View(schema, _plain(filters.kept(batch) for batch in store.table_batches(name)))
    if wide:
        return _wide(store, filters)
    if name == "samples":
        schema = pa.schema([*_WHO, *TABLES[name]])
        return View(schema, (_who(batch, schema) for batch in _samples(store, filters)))
    if filters.signals:
        raise VambraceError(f"the table {name} holds one signal already", todo="Leave --signal out")
    if name == POSITION:
        return View(_POSITION_SCHEMA, _sliced(_positions(store, filters)))
    return _narrow(store, name, filters)


def _sliced(batches: Iterator[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    """Cut what a long recording gives: a writer turns a whole batch into text at once."""
    return (batch.slice(start, SLICE_ROWS) for batch in batches for start in range(0, len(batch), SLICE_ROWS))


def _plain(batches: Iterator[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    return (batch.replace_schema_metadata(None) for batch in batches)


def _samples(store: Store, filters: Filters, columns: Sequence[str] | None = None) -> Iterator[pa.RecordBatch]:
    for shard in store.shards():
        for batch in store.read_shard(shard, columns):
            kept = filters.kept(batch)
            if len(kept):
                yield kept


def _who(batch: pa.RecordBatch, schema: pa.Schema) -> pa.RecordBatch:
    return pa.record_batch([*(pa.nulls(len(batch), _WORD) for _ in _WHO), *batch.columns], schema=schema)


def _narrow(store: Store, name: str, filters: Filters) -> View:
    """Return one signal's table: its value column is named by signal and unit."""
    stored = [field for field in TABLES["samples"] if field.name not in ("signal", "unit")]
    fields = [pa.field(SIGNALS[name].column, field.type) if field.name == "value" else field for field in stored]
    schema = pa.schema([*_WHO, *fields])
    only = Filters((name,), filters.since_us, filters.until_us)
    names = [field.name for field in stored]
    return View(schema, (_who(batch.select(names), schema) for batch in _samples(store, only)))


_POSITION_SCHEMA = pa.schema(
    [
        *_WHO,
        pa.field("recording", _WORD),
        pa.field("time", pa.timestamp("us", "UTC")),
        *(pa.field(SIGNALS[signal].column, pa.float64()) for signal in _FIX),
        pa.field("record", pa.int64()),
    ]
)


def _positions(store: Store, filters: Filters) -> Iterator[pa.RecordBatch]:
    """Yield one row a fix; the altitude is that of the same record, null where it has none."""
    for rows in _recordings(store, Filters(_FIX, filters.since_us, filters.until_us)):
        latitude, longitude, altitude = (_of(rows, signal) for signal in _FIX)
        if not latitude["record"].equals(longitude["record"]):
            what = f"latitudes and longitudes of {rows['recording'][0]} do not belong together"
            raise VambraceError(what, where=str(store.folder), todo="Convert its source again into a new dataset")
        if not len(latitude):
            continue
        columns = [
            *(pa.nulls(len(latitude), _WORD) for _ in _WHO),
            latitude["recording"].combine_chunks(),
            latitude["time"].combine_chunks(),
            latitude["value"].combine_chunks(),
            longitude["value"].combine_chunks(),
            _at_records(altitude, latitude["record"].to_numpy()),
            latitude["record"].combine_chunks(),
        ]
        yield pa.record_batch(columns, schema=_POSITION_SCHEMA)


def _at_records(rows: pa.Table, records: NDArray[np.int64]) -> pa.Array:
    """Return the value that stands at each record number, null where there is none."""
    values, at = np.zeros(len(records)), rows["record"].to_numpy()
    order = np.argsort(at, kind="stable")
    place = np.searchsorted(at, records, sorter=order)
    found = place < len(at)
    found[found] = at[order[place[found]]] == records[found]
    values[found] = rows["value"].to_numpy()[order[place[found]]]
    return pa.array(values, mask=~found)


def _recordings(store: Store, filters: Filters) -> Iterator[pa.Table]:
    """Yield the wanted samples one recording at a time: its rows stand together in one shard."""
    waiting: list[pa.RecordBatch] = []
    columns = ("recording", "signal", "time", "value", "record")
    for part in (part for batch in _samples(store, filters, columns) for part in _parts(batch)):
        if waiting and part["recording"][0].as_py() != waiting[0]["recording"][0].as_py():
            yield _joined(waiting)
            waiting = []
        waiting.append(part)
    if waiting:
        yield _joined(waiting)


def _parts(batch: pa.RecordBatch) -> Iterator[pa.RecordBatch]:
    """Cut a batch where the next recording begins."""
    codes = batch["recording"].indices.to_numpy()
    cuts = [0, *(np.flatnonzero(np.diff(codes)) + 1).tolist(), len(batch)]
    return (batch.slice(start, end - start) for start, end in pairwise(cuts))


def _joined(batches: list[pa.RecordBatch]) -> pa.Table:
    return pa.Table.from_batches(batches).unify_dictionaries().combine_chunks()


def _of(rows: pa.Table, signal: str) -> pa.Table:
    return rows.filter(pc.equal(rows["signal"].cast(pa.string()), signal))


def _wide(store: Store, filters: Filters) -> View:
    """Return one row for each recording and time, with a column for each signal that is asked for, else held.

    Where a signal has several samples at one instant, further rows of that instant take them: none is lost.
    """
    wanted = filters.signals or _held(store)
    names = [name for name in SIGNALS if name in wanted]
    values = [pa.field(SIGNALS[name].column, pa.float64()) for name in names]
    keys = [pa.field("recording", _WORD), pa.field("time", pa.timestamp("us", "UTC"))]
    schema = pa.schema([*_WHO, *keys, *values])
    return View(schema, _sliced(_spread(rows, names, schema) for rows in _recordings(store, filters)))


def _held(store: Store) -> set[str]:
    """Return the signals that have samples."""
    held: set[str] = set()
    for batch in store.table_batches("channels"):
        held.update(pc.unique(batch["signal"].filter(pc.greater(batch["n"], 0))).drop_null().to_pylist())
    return held


def _spread(rows: pa.Table, names: list[str], schema: pa.Schema) -> pa.RecordBatch:
    time = rows["time"].cast(pa.int64()).to_numpy()
    numbers = pc.index_in(rows["signal"].cast(pa.string()), pa.array(names, pa.string()))
    if numbers.null_count:
        raise VambraceError("the dataset was changed while it was read", todo="Export it again")
    signal = numbers.to_numpy()
    turn = _turns(signal, time)
    order = np.lexsort((turn, time))
    new = np.ones(len(order), np.bool_)
    new[1:] = (np.diff(time[order]) != 0) | (np.diff(turn[order]) != 0)
    row = np.empty(len(order), np.int64)
    row[order] = np.cumsum(new) - 1
    first = order[new]
    value, columns = rows["value"].to_numpy(), []
    for number in range(len(names)):
        mine = signal == number
        column, absent = np.zeros(len(first)), np.ones(len(first), np.bool_)
        column[row[mine]], absent[row[mine]] = value[mine], False
        columns.append(pa.array(column, mask=absent))
    recording = rows["recording"].combine_chunks().take(pa.array(first))
    instants = pa.array(time[first]).cast(pa.timestamp("us", "UTC"))
    return pa.record_batch([*(pa.nulls(len(first), _WORD) for _ in _WHO), recording, instants, *columns], schema=schema)


def _turns(signal: NDArray[np.int64], time: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return for each sample how many of its signal stand at the same instant before it; rows are sorted by both."""
    start = np.ones(len(time), np.bool_)
    start[1:] = (np.diff(signal) != 0) | (np.diff(time) != 0)
    at = np.arange(len(time))
    return at - np.maximum.accumulate(np.where(start, at, 0))
