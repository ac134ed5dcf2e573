"""What stands in cells beside a number: words for "no value", and a unit written behind every value."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import SIGNALS, Refused
from vambrace_plugins.importers.csv.firstcells import numbers_in

ABSENT = ("na", "n/a", "#n/a", "null", "none", "-", "--", "---")
"""How tables write that there is no value, in lower case (common practice, no source)."""

# A number, perhaps with thousands parted, and what stands behind it.
_PARTS = " \u00a0\u202f'\u2019.,"
_NUMBER = rf"[+-]?(?:[0-9]+(?:[{_PARTS}][0-9]+)*[.,]?|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?"
_WITH_UNIT = re.compile(rf"^{_NUMBER}\s*([^\s0-9+{_PARTS}-].*)$")
_BARE = re.compile(rf"^{_NUMBER}$")


def unit_in_cells(cells: Sequence[str], signal: str, header: str = "", told: str = "") -> str:
    """Return the unit that stands behind the numbers of a column's first cells, or "" where there is none.

    `told` is the unit that the header or the user names; only then a number may stand without one. Raise Refused for
    two units, and for numbers of which only some have one. Cells that are no numbers decide nothing.
    """
    if numbers_in(cells) is not None:
        return ""
    texts = [text for text in (cell.strip() for cell in cells) if text and text.lower() not in ABSENT]
    units: dict[str, str] = {}
    for text in texts:
        match = _WITH_UNIT.match(text)
        if match and SIGNALS[signal].ucum(match[1].strip()):
            units.setdefault(match[1].strip(), text)
    if not units:
        return ""
    if len(units) > 1:
        first, second, *_ = units.values()
        raise _refused(header, f'has cells of two units ("{first}" and "{second}")', "Mend the cells")
    ((unit, example),) = units.items()
    bare = "" if told else next((text for text in texts if _BARE.match(text)), "")
    if bare:
        raise _some_bare(header, unit, example, bare)
    return unit


def _some_bare(header: str, unit: str, example: str, bare: str) -> Refused:
    """Return the refusal of a column in which only some numbers have a unit."""
    what = f'has the cell "{example}" with a unit and "{bare}" without: {bare} {unit}, or {bare} of another unit'
    return _refused(header, what, f'Say --option "csv.units={header}={unit}" if it is the unit of all')


def _refused(header: str, what: str, todo: str) -> Refused:
    out = f'or leave the column out: --option "csv.columns={header}=-"'
    return Refused("unit-two-readings", f'the column "{header}" {what}', todo=f"{todo}, {out}")


def without_unit(cell: str, unit: str) -> str:
    """Return a cell without the unit behind its number."""
    text = cell.strip()
    return text.removesuffix(unit).rstrip() if unit else text


def plain(cells: pa.Array, unit: str, header: str = "", *, told: bool = True) -> tuple[pa.Array, list[str]]:
    """Return cells with nothing where a word says "no value", and without the unit; and the words that were met.

    Raise Refused for a number without the unit where neither the header nor the user tells it.
    """
    trimmed = pc.utf8_trim_whitespace(cells)
    absent = pc.is_in(pc.utf8_lower(trimmed), pa.array(ABSENT))
    words = pc.unique(trimmed.filter(absent)).to_pylist()
    if words:
        cells = pc.if_else(absent, "", cells)
    if unit:
        trimmed = pc.utf8_trim_whitespace(cells)
        if not told and (at := pc.index(pc.match_substring_regex(trimmed, _BARE.pattern), True).as_py()) >= 0:
            raise _some_bare(header, unit, f"… {unit}", trimmed[at].as_py())
        cells = pc.replace_substring_regex(trimmed, rf"^(.*[0-9.,])\s*{re.escape(unit)}$", r"\1")
    return cells, words
