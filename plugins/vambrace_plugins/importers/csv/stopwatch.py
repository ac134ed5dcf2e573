"""Times as a stopwatch shows them, to seconds: mm:ss, h:mm:ss, days and h:mm:ss; or hours and minutes alone."""

from __future__ import annotations

import pyarrow as pa
import pyarrow.compute as pc

_DAYS = r"^\s*(?P<sign>[+-]?)(?:(?P<days>[0-9]{1,5}) days?,? \+?)?"
_FRACTION = r"(?:[.,](?P<part>[0-9]+))?"
_SHAPES = {
    "mm:ss": _DAYS
    + rf"(?:(?P<h>[0-9]{{1,6}}):(?P<m>[0-5]?[0-9])|(?P<minutes>[0-9]{{1,8}})):(?P<s>[0-5][0-9]){_FRACTION}\s*$",
    "hh:mm": _DAYS + rf"(?P<h>[0-9]{{1,6}}):(?P<m>[0-5][0-9])(?P<minutes>)(?::(?P<s>[0-5][0-9]){_FRACTION})?\s*$",
}


def seconds(cells: pa.Array, clock: str) -> pa.Array:
    """Return stopwatch times as decimal numbers of seconds; any other text stays as it is, and is no number.

    `clock` says what two parts mean: `mm:ss` or `hh:mm`.
    """
    parts = pc.extract_regex(cells, _SHAPES[clock])
    minutes = pc.add(_whole(parts, "minutes"), pc.add(pc.multiply(_whole(parts, "h"), 60), _whole(parts, "m")))
    total = pc.add(pc.multiply(pc.add(pc.multiply(_whole(parts, "days"), 1440), minutes), 60), _whole(parts, "s"))
    part = pc.struct_field(parts, "part")
    fraction = pc.if_else(pc.equal(part, ""), "", pc.binary_join_element_wise(".", part, ""))
    text = pc.binary_join_element_wise(pc.struct_field(parts, "sign"), pc.cast(total, pa.string()), fraction, "")
    return pc.coalesce(text, cells)


def _whole(parts: pa.Array, name: str) -> pa.Array:
    text = pc.struct_field(parts, name)
    return pc.cast(pc.if_else(pc.equal(text, ""), "0", text), pa.int64())
