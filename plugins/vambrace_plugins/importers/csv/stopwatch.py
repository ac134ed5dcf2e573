"""Times since a start to seconds: as a stopwatch shows them, as ISO 8601 writes durations, as minutes and hours."""

from __future__ import annotations

import pyarrow as pa
import pyarrow.compute as pc

LENGTHS = {"min": 60, "h": 3600}
"""Seconds of the units that only times since a start are counted in."""
_DAYS = r"^\s*(?P<sign>[+-]?)(?:(?P<days>[0-9]{1,5}) days?,? \+?)?"
_FRACTION = r"(?:[.,](?P<part>[0-9]+))?"
_DURATION = (
    r"^\s*(?P<sign>[+-]?)P(?:(?P<days>[0-9]{1,5})D)?T(?:(?P<h>[0-9]{1,6})H)?(?:(?P<m>[0-9]{1,8})M)?"
    rf"(?:(?P<s>[0-9]{{1,10}}){_FRACTION}S)?(?P<minutes>)\s*$"
)
_SHAPES = {
    "mm:ss": _DAYS
    + rf"(?:(?P<h>[0-9]{{1,6}}):(?P<m>[0-5]?[0-9])|(?P<minutes>[0-9]{{1,8}})):(?P<s>[0-5][0-9]){_FRACTION}\s*$",
    "hh:mm": _DAYS + rf"(?P<h>[0-9]{{1,6}}):(?P<m>[0-5][0-9])(?P<minutes>)(?::(?P<s>[0-5][0-9]){_FRACTION})?\s*$",
}
_SHAPES["h:mm:ss"] = _DAYS + rf"(?P<h>[0-9]{{1,6}}):(?P<m>[0-5]?[0-9])(?P<minutes>):(?P<s>[0-5][0-9]){_FRACTION}\s*$"
_NUMBER = r"^\s*(?P<sign>[+-]?)(?P<whole>[0-9]{1,12})(?:[.,](?P<part>[0-9]{0,12})[0-9]*)?\s*$"


def seconds(cells: pa.Array, clock: str) -> pa.Array:
    """Return times since a start as decimal numbers of seconds; any other text stays as it is, and is no number.

    `clock` says what two parts mean: `mm:ss` or `hh:mm`; with `h:mm:ss` they are no time.
    """
    found = _in_seconds(pc.extract_regex(cells, _SHAPES[clock]))
    if found.null_count:
        found = pc.coalesce(found, _in_seconds(pc.extract_regex(cells, _DURATION)))
    return pc.coalesce(found, cells)


def _in_seconds(parts: pa.Array) -> pa.Array:
    minutes = pc.add(whole(parts, "minutes"), pc.add(pc.multiply(whole(parts, "h"), 60), whole(parts, "m")))
    total = pc.add(pc.multiply(pc.add(pc.multiply(whole(parts, "days"), 1440), minutes), 60), whole(parts, "s"))
    part = pc.struct_field(parts, "part")
    fraction = pc.if_else(pc.equal(part, ""), "", pc.binary_join_element_wise(".", part, ""))
    return pc.binary_join_element_wise(pc.struct_field(parts, "sign"), pc.cast(total, pa.string()), fraction, "")


def whole(parts: pa.Array, name: str) -> pa.Array:
    """Return a part of matched texts as whole numbers: 0 where it is left out, null where the text does not match."""
    text = pc.struct_field(parts, name)
    return pc.cast(pc.if_else(pc.equal(text, ""), "0", text), pa.int64())


def lengths(cells: pa.Array, unit: str) -> pa.Array:
    """Return numbers of minutes or hours as decimal numbers of seconds, exactly; any other text is made no number."""
    parts = pc.extract_regex(cells, _NUMBER)
    sign, whole, part = (pc.struct_field(parts, name) for name in ("sign", "whole", "part"))
    part = pc.if_else(pc.equal(part, ""), "0", part)
    number = pc.cast(pc.binary_join_element_wise(whole, part, "."), pa.decimal128(24, 12))
    scaled = pc.cast(pc.multiply(number, pa.scalar(LENGTHS[unit], pa.decimal128(4, 0))), pa.string())
    empty = pc.equal(pc.utf8_trim_whitespace(cells), "")
    other = pc.if_else(empty, "", pc.binary_join_element_wise(cells, f"is no number of {unit}", " "))
    return pc.coalesce(pc.binary_join_element_wise(sign, scaled, ""), other)
