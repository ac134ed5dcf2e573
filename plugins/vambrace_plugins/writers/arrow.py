"""Writes tables as Arrow IPC files (also known as Feather 2)."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Iterator
from typing import BinaryIO

import pyarrow as pa
import pyarrow.compute as pc


class ArrowWriter:
    """Writes `.arrow`.

    The file format allows one dictionary a column, and not every reader knows its deltas. The batches therefore wait
    in a temporary file until every word is known.
    """

    name = "arrow"
    title = "Apache Arrow IPC file (Feather 2)"
    suffixes: tuple[str, ...] = (".arrow",)

    def write(self, target: BinaryIO, schema: pa.Schema, batches: Iterable[pa.RecordBatch]) -> None:
        """Write every batch to the open target with one dictionary a column; no batch gives columns without rows."""
        words = _Words(schema)
        with tempfile.TemporaryFile() as waiting:
            with pa.ipc.new_stream(waiting, words.plain) as stream:
                for batch in batches:
                    stream.write_batch(words.coded(batch))
            waiting.seek(0)
            with pa.ipc.open_stream(waiting) as stream, pa.ipc.new_file(target, schema) as out:
                for batch in words.worded(stream):
                    out.write_batch(batch)


class _Words:
    """The words of each dictionary column in the order of their first use, over all batches."""

    def __init__(self, schema: pa.Schema) -> None:
        self.schema = schema
        self.known = {
            place: pa.array([], field.type.value_type)
            for place, field in enumerate(schema)
            if pa.types.is_dictionary(field.type)
        }
        self.plain = pa.schema(
            [
                pa.field(field.name, field.type.index_type if place in self.known else field.type)
                for place, field in enumerate(schema)
            ]
        )

    def coded(self, batch: pa.RecordBatch) -> pa.RecordBatch:
        """Return the batch with the places of its words among all words so far."""
        columns = list(batch.columns)
        for place, known in self.known.items():
            texts = columns[place].cast(known.type)
            used = pc.unique(texts).drop_null()
            self.known[place] = pa.concat_arrays([known, used.filter(pc.invert(pc.is_in(used, known)))])
            places = pc.index_in(texts.dictionary_encode().dictionary, self.known[place])
            columns[place] = places.take(texts.dictionary_encode().indices).cast(self.plain.field(place).type)
        return pa.record_batch([_without_residue(column) for column in columns], schema=self.plain)

    def worded(self, batches: Iterable[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
        """Give the batches their words back, every batch the same dictionaries."""
        for batch in batches:
            columns = list(batch.columns)
            for place, known in self.known.items():
                columns[place] = pa.DictionaryArray.from_arrays(columns[place], known)
            yield pa.record_batch(columns, schema=self.schema)


def _without_residue(column: pa.Array) -> pa.Array:
    """Put zeros where a fixed-width column is null: what memory holds there must not reach the file."""
    if not column.null_count or not pa.types.is_primitive(column.type):
        return column
    there = pc.is_valid(column)
    zeros = pa.array([0], pa.int64()).cast(column.type) if not pa.types.is_boolean(column.type) else pa.array([False])
    filled = pc.fill_null(column, zeros[0])
    return pa.Array.from_buffers(column.type, len(column), [there.buffers()[1], filled.buffers()[1]])
