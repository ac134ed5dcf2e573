"""Writes tables as CSV: UTF-8 without a mark, one header row, `\\n`, null as nothing at all."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import BinaryIO

import pyarrow as pa
import pyarrow.compute as pc

_NEEDS_QUOTES = r'^$|[",\r\n]|^\s|\s$'
_WHOLE = r"^-?[0-9]+$"


class CsvWriter:
    """Writes `.csv`.

    Times are ISO 8601 with `Z` and six decimals, floats the shortest text that reads back as the same number,
    lists JSON. An empty text is `""`, so that it differs from null.
    """

    name = "csv"
    title = "Comma-separated text, UTF-8, for spreadsheets and everything else"
    suffixes: tuple[str, ...] = (".csv",)

    def write(self, target: BinaryIO, schema: pa.Schema, batches: Iterable[pa.RecordBatch]) -> None:
        """Write the header row, then every batch, to the open target."""
        header = _quoted(pa.array(schema.names, pa.string())).to_pylist()
        target.write((",".join(header) + "\n").encode())
        for batch in batches:
            target.write(_rows(batch))


def _rows(batch: pa.RecordBatch) -> bytes:
    """Return the rows of a batch as text, each with its line end."""
    if not len(batch) or not batch.num_columns:
        return b""
    cells = [pc.fill_null(_texts(column), "").cast(pa.large_string()) for column in batch.columns]
    comma, end, nothing = (pa.scalar(text, pa.large_string()) for text in (",", "\n", ""))
    lines = pc.binary_join_element_wise(*cells, comma)
    ended = pc.binary_join_element_wise(lines, nothing, end)
    whole: bytes = (
        pc.binary_join(pa.LargeListArray.from_arrays([0, len(ended)], ended), nothing)[0].as_buffer().to_pybytes()
    )
    return whole


def _texts(column: pa.Array) -> pa.Array:
    """Return the cells of a column as texts, quoted where they must be; null stays null."""
    kind = column.type
    if pa.types.is_dictionary(kind):
        return _texts(column.dictionary).take(column.indices)
    if pa.types.is_timestamp(kind):
        return _instants(column)
    if pa.types.is_floating(kind):
        text = column.cast(pa.string())
        return pc.if_else(pc.match_substring_regex(text, _WHOLE), pc.binary_join_element_wise(text, ".0", ""), text)
    if pa.types.is_list(kind):
        lists = [None if cell is None else json.dumps(cell, ensure_ascii=False) for cell in column.to_pylist()]
        return _quoted(pa.array(lists, pa.string()))
    text = column.cast(pa.string())
    return _quoted(text) if pa.types.is_string(kind) or pa.types.is_large_string(kind) else text


def _instants(column: pa.Array) -> pa.Array:
    """Write instants as ISO 8601 in UTC with six decimals; raise ValueError for a time without a zone."""
    if column.type.tz is None:
        raise ValueError("a time column without a zone cannot be written: say UTC")
    text = column.cast(pa.timestamp("us", "UTC")).cast(pa.string())
    return pc.replace_substring(text, " ", "T", max_replacements=1)


def _quoted(text: pa.Array) -> pa.Array:
    """Put quotes around the texts that would not read back without them."""
    doubled = pc.binary_join_element_wise('"', pc.replace_substring(text, '"', '""'), '"', "")
    return pc.if_else(pc.match_substring_regex(text, _NEEDS_QUOTES), doubled, text)
