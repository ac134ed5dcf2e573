"""Rows on their way to a shard, as columns: what waits in the sorter, and the row groups it becomes."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from typing import TypeAlias

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace.batch import NO_END, Batch
from vambrace.dataset.schemas import INSTANT, TABLES, TEXT
from vambrace.dataset.spill import Group
from vambrace.dataset.texts import text_array
from vambrace.errors import Rejected
from vambrace.schema import SIGNALS

ROW_GROUP_ROWS = 1 << 18
"""What a row group holds in memory while it is written, some tens of megabytes, bounds what a shard takes."""

WAITING = pa.schema(
    [
        ("major", pa.int64()),
        ("minor", pa.int64()),
        ("time_end", pa.int64()),
        ("value", pa.float64()),
        ("suspect", pa.bool_()),
        ("flag", TEXT),
    ]
)
"""Samples on their way through the sorter: major is the time, minor the record."""

WAITING_ASIDE = pa.schema(
    [("major", pa.int64()), ("minor", pa.int64()), ("reason", TEXT), ("found", TEXT), ("time_text", TEXT)]
)
"""Rows set aside on their way through the sorter: major is the record, minor always 0."""

QUALITIES = ("not_evaluated", "pass", "suspect")

Blocks: TypeAlias = list[tuple[Group, pa.RecordBatch]]


def waiting(batch: Batch) -> pa.RecordBatch:
    """Return canonical rows of one channel as they wait in the sorter."""
    flags = pa.nulls(len(batch), TEXT) if batch.flags is None else text_array(list(batch.flags))
    columns = [batch.time, batch.record, batch.time_end, batch.value, batch.suspect]
    return pa.record_batch([*(pa.array(column) for column in columns), flags], schema=WAITING)


def waiting_aside(rows: Sequence[Rejected]) -> pa.RecordBatch:
    """Return rows set aside, of one recording and signal, as they wait in the sorter."""
    columns = [
        pa.array([row.record for row in rows], pa.int64()),
        pa.array(np.zeros(len(rows), np.int64)),
        text_array([str(row.reason) for row in rows]),
        text_array([row.found for row in rows]),
        text_array([row.time_text or None for row in rows]),
    ]
    return pa.record_batch(columns, schema=WAITING_ASIDE)


def cut(blocks: Iterable[tuple[Group, pa.RecordBatch]], size: int) -> Iterator[Blocks]:
    """Yield the blocks in lists of exactly `size` rows (the last may be shorter), however they were cut before."""
    held: Blocks = []
    free = size
    for group, block in blocks:
        rest = block
        while rest.num_rows >= free:
            yield [*held, (group, rest.slice(0, free))]
            held, rest, free = [], rest.slice(free), size
        if rest.num_rows:
            held.append((group, rest))
            free -= rest.num_rows
    if held:
        yield held


def samples_rows(blocks: Blocks) -> pa.Table:
    """Return sorted blocks as rows of `samples`."""
    rows = pa.Table.from_batches([block for _, block in blocks]).combine_chunks()
    counts = [block.num_rows for _, block in blocks]
    ends = rows["time_end"].to_numpy()
    columns = {
        "recording": _repeated([recording for (recording, _), _ in blocks], counts),
        "signal": _repeated([signal for (_, signal), _ in blocks], counts),
        "time": rows["major"].cast(INSTANT),
        "time_end": pa.array(ends, INSTANT, mask=ends == NO_END),
        "value": rows["value"],
        "unit": _repeated([SIGNALS[signal].unit for (_, signal), _ in blocks], counts),
        "quality": _qualities(blocks),
        "source_flag": _sorted_words(rows["flag"]),
        "record": rows["minor"],
    }
    return pa.table(columns, schema=TABLES["samples"].remove_metadata())


def aside_rows(blocks: Blocks) -> pa.Table:
    """Return sorted blocks as rows of `set_aside`."""
    rows = pa.Table.from_batches([block for _, block in blocks]).combine_chunks()
    counts = [block.num_rows for _, block in blocks]
    columns = {
        "recording": _repeated([recording for (recording, _), _ in blocks], counts).cast(TEXT),
        "record": rows["major"],
        "signal": _repeated([signal for (_, signal), _ in blocks], counts).cast(TEXT),
        "reason": rows["reason"],
        "found": rows["found"],
        "time_text": rows["time_text"],
    }
    return pa.table(columns, schema=TABLES["set_aside"])


def suspects(block: pa.RecordBatch) -> int:
    """Count the rows outside the plausible range."""
    return int(pc.sum(block.column("suspect")).as_py())


def _repeated(words: Sequence[str], counts: Sequence[int]) -> pa.DictionaryArray:
    """Return each word as often as its count says, as a dictionary in sorted order."""
    pool, codes = np.unique(np.array(words, dtype=object), return_inverse=True)
    return _dictionary(np.repeat(codes, counts), list(pool))


def _qualities(blocks: Blocks) -> pa.DictionaryArray:
    """Return `suspect`, `pass` or, for a signal without a plausible range, `not_evaluated`."""
    parts = []
    for (_, signal), block in blocks:
        suspect = block.column("suspect").to_numpy(zero_copy_only=False)
        parts.append(1 + suspect if SIGNALS[signal].plausible else np.zeros(len(suspect), np.int64))
    used, codes = np.unique(np.concatenate(parts), return_inverse=True)
    return _dictionary(codes, [QUALITIES[int(code)] for code in used])


def _dictionary(codes: NDArray[np.int64], pool: list[str]) -> pa.DictionaryArray:
    return pa.DictionaryArray.from_arrays(pa.array(codes.astype(np.int32)), text_array(pool))


def _sorted_words(texts: pa.ChunkedArray) -> pa.DictionaryArray:
    """Return texts as a dictionary in sorted order, so that the order of arrival leaves no trace."""
    coded = texts.combine_chunks().dictionary_encode()
    if isinstance(coded, pa.ChunkedArray):
        coded = coded.combine_chunks()
    order = pc.sort_indices(coded.dictionary).to_numpy()
    rank = np.empty(len(order), np.int32)
    rank[order] = np.arange(len(order), dtype=np.int32)
    return pa.DictionaryArray.from_arrays(pa.array(rank).take(coded.indices), coded.dictionary.take(pa.array(order)))
