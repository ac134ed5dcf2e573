"""Writes tables as Parquet: zstd, page checksums, and an encoding that fits each column."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import BinaryIO

import pyarrow as pa
import pyarrow.parquet as pq

ROWS_IN_GROUP = 1 << 18
"""Rows in a row group: groups are cut here whatever the batches, so that the same rows give the same bytes."""


class ParquetWriter:
    """Writes `.parquet`."""

    name = "parquet"
    title = "Apache Parquet, for Arrow, DuckDB, R, Spark and pandas"
    suffixes: tuple[str, ...] = (".parquet",)

    def write(self, target: BinaryIO, schema: pa.Schema, batches: Iterable[pa.RecordBatch]) -> None:
        """Write every batch to the open target in row groups of one size; no batch gives columns without rows."""
        with pq.ParquetWriter(
            target,
            schema,
            compression="zstd",
            write_page_checksum=True,
            use_dictionary=[field.name for field in schema if _repeats(field.type)],
            column_encoding=_encodings(schema),
        ) as out:
            for group in _groups(schema, batches):
                out.write_table(group, row_group_size=ROWS_IN_GROUP)


def _groups(schema: pa.Schema, batches: Iterable[pa.RecordBatch]) -> Iterator[pa.Table]:
    """Cut the rows into tables of one size, whatever the batches."""
    held = pa.Table.from_batches([], schema)
    for batch in batches:
        held = pa.concat_tables([held, pa.Table.from_batches([batch], schema)])
        while len(held) >= ROWS_IN_GROUP:
            yield _own_words(held.slice(0, ROWS_IN_GROUP))
            held = held.slice(ROWS_IN_GROUP)
    if len(held):
        yield _own_words(held)


def _own_words(group: pa.Table) -> pa.Table:
    """Give each dictionary column only the words that its rows use, in the order of use."""
    for place, field in enumerate(group.schema):
        if pa.types.is_dictionary(field.type):
            words = group.column(place).cast(field.type.value_type).combine_chunks().dictionary_encode()
            group = group.set_column(place, field, pa.chunked_array([words.cast(field.type)]))
    return group


def _repeats(kind: pa.DataType) -> bool:
    return bool(pa.types.is_dictionary(kind) or pa.types.is_string(kind))


def _encodings(schema: pa.Schema) -> dict[str, str]:
    """Return the encoding of each number column: differences for whole numbers, split bytes for floats."""
    chosen = {}
    for field in schema:
        if pa.types.is_int64(field.type) or pa.types.is_timestamp(field.type):
            chosen[field.name] = "DELTA_BINARY_PACKED"
        elif pa.types.is_float64(field.type):
            chosen[field.name] = "BYTE_STREAM_SPLIT"
    return chosen
