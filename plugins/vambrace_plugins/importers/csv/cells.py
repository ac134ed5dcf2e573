"""What stands in cells beside a number: words for "no value", and a unit written behind every value."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import SIGNALS, ucum

ABSENT = ("na", "n/a", "#n/a", "null", "none", "-", "--", "---")
"""How tables write that there is no value, in lower case (common practice, no source)."""

_WITH_UNIT = re.compile(r"^[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)\s*([^\s0-9.,+-].*)$")


def unit_in_cells(cells: Sequence[str], signal: str) -> str:
    """Return the unit that stands behind every number of a column's first cells, or "" where there is no such one."""
    texts = [text for text in (cell.strip() for cell in cells) if text and text.lower() not in ABSENT]
    found = [_WITH_UNIT.match(text) for text in texts]
    units = {match[1].strip() for match in found if match}
    if not units or not all(found) or len(units) > 1:
        return ""
    unit = units.pop()
    return unit if ucum(unit, SIGNALS[signal]) else ""


def without_unit(cell: str, unit: str) -> str:
    """Return a cell without the unit behind its number."""
    text = cell.strip()
    return text.removesuffix(unit).rstrip() if unit else text


def castable(cells: pa.Array) -> bool:
    """Say whether every cell is empty or a plain number; then no other look at the column is needed."""
    try:
        numbers = pc.cast(pc.if_else(pc.equal(pc.binary_length(cells), 0), None, cells), pa.float64())
    except pa.ArrowInvalid:
        return False
    return bool(pc.all(pc.is_finite(numbers), min_count=0).as_py())


def plain(cells: pa.Array, unit: str) -> tuple[pa.Array, list[str]]:
    """Return cells with nothing where a word says "no value", and without the unit; and the words that were met."""
    trimmed = pc.utf8_trim_whitespace(cells)
    absent = pc.is_in(pc.utf8_lower(trimmed), pa.array(ABSENT))
    words = pc.unique(trimmed.filter(absent)).to_pylist()
    if words:
        cells = pc.if_else(absent, "", cells)
    if unit:
        pattern = rf"^(.*[0-9.,])\s*{re.escape(unit)}$"
        cells = pc.replace_substring_regex(pc.utf8_trim_whitespace(cells), pattern, r"\1")
    return cells, words
