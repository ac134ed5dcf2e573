"""Readers by which the kit looks at what a writer wrote, for the formats that it knows."""

from __future__ import annotations

import io
import json
from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import TypeAlias

import pyarrow as pa

Reader: TypeAlias = Callable[[bytes, pa.Schema], pa.Table]
"""Takes the bytes of a file and the schema that was written, and returns the table that stands in it."""


def read_parquet(data: bytes, schema: pa.Schema) -> pa.Table:
    """Return the table in a Parquet file, with the types that it says itself."""
    import pyarrow.parquet as pq

    return pq.read_table(io.BytesIO(data))


def read_arrow(data: bytes, schema: pa.Schema) -> pa.Table:
    """Return the table in an Arrow IPC file, with the types that it says itself."""
    with pa.ipc.open_file(io.BytesIO(data)) as file:
        return file.read_all()


def read_csv(data: bytes, schema: pa.Schema) -> pa.Table:
    """Return the table in a text of cells; the text says the names of columns, the schema their types.

    Null is an empty cell and an empty text `""`, lists are JSON.
    """
    import pyarrow.csv as pc

    names = _header(data)
    table = pc.read_csv(
        io.BytesIO(data),
        # A cell may be as long as a block; an empty line is a row of one null.
        read_options=pc.ReadOptions(block_size=1 << 24),
        parse_options=pc.ParseOptions(newlines_in_values=True, ignore_empty_lines=False),
        convert_options=pc.ConvertOptions(
            column_types=dict.fromkeys(names, pa.string()),
            null_values=[""],
            strings_can_be_null=True,
            quoted_strings_can_be_null=False,
        ),
    )
    columns = [_typed(table.column(name), schema.field(name).type) for name in names]
    return pa.table(columns, schema=pa.schema([(name, schema.field(name).type) for name in names]))


def _header(data: bytes) -> list[str]:
    import csv

    return next(csv.reader(io.StringIO(data.decode("utf-8"), newline="")))


def _typed(cells: pa.ChunkedArray, kind: pa.DataType) -> pa.Array:
    """Return the cells of a column as what they were before they became texts."""
    plain = cells.combine_chunks()
    if pa.types.is_dictionary(kind):
        return plain.cast(kind.value_type).dictionary_encode().cast(kind)
    if pa.types.is_list(kind):
        return pa.array([None if cell is None else json.loads(cell) for cell in plain.to_pylist()], kind)
    if pa.types.is_null(kind) and plain.null_count == len(plain):
        return pa.nulls(len(plain))
    if pa.types.is_duration(kind):
        plain = plain.cast(pa.int64())
    return plain.cast(kind)


READERS: Mapping[str, Reader] = MappingProxyType(
    {".parquet": read_parquet, ".arrow": read_arrow, ".feather": read_arrow, ".csv": read_csv}
)
"""How a file of each suffix is read back, where a writer's author does not say it."""
