"""What stands in cells beside a number: words for "no value", and a unit written behind every value."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import SIGNALS, Refused
from vambrace_plugins.importers.csv.firstcells import numbers_in
from vambrace_plugins.importers.csv.options import option_key

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
    two units, and for numbers of which only some have one. Cells that are no numbers decide nothing. `bpm` and `BPM`
    are one unit.
    """
    if numbers_in(cells) is not None:
        return ""
    texts = [text for text in (cell.strip() for cell in cells) if text and text.lower() not in ABSENT]
    units: dict[str, tuple[str, str]] = {}
    for text in texts:
        match = _WITH_UNIT.match(text)
        if match and (ucum := SIGNALS[signal].ucum(match[1].strip())):
            units.setdefault(ucum, (match[1].strip(), text))
    if not units:
        return ""
    if len(units) > 1:
        (_, first), (_, second), *_ = units.values()
        raise _refused(header, f'has cells of two units ("{first}" and "{second}")', "Mend the cells")
    ((unit, example),) = units.values()
    bare = "" if told else next((text for text in texts if _BARE.match(text)), "")
    if bare:
        raise _some_bare(header, unit, example, bare)
    return unit


def _some_bare(header: str, unit: str, example: str, bare: str) -> Refused:
    """Return the refusal of a column in which only some numbers have a unit."""
    what = f'has the cell "{example}" with a unit and "{bare}" without: {bare} {unit}, or {bare} of another unit'
    return _refused(header, what, f'Say --option "csv.units={option_key(header)}={unit}" if it is the unit of all')


def _refused(header: str, what: str, todo: str) -> Refused:
    out = f'or leave the column out: --option "csv.columns={option_key(header)}=-"'
    return Refused("unit-two-readings", f'the column "{header}" {what}', todo=f"{todo}, {out}")


def without_unit(cell: str, unit: str, signal: str) -> str:
    """Return a cell without the unit behind its number, however it is spelt."""
    text = cell.strip()
    if not unit or text.endswith(unit):
        return text.removesuffix(unit).rstrip()
    match = _WITH_UNIT.match(text)
    same = match is not None and SIGNALS[signal].ucum(match[1].strip()) == SIGNALS[signal].ucum(unit)
    return text[: match.start(1)].rstrip() if match and same else text


def _without_units(cells: pa.Array, unit: str, signal: str) -> pa.Array:
    """Return trimmed cells without the unit behind their numbers, however it is spelt."""
    cells = pc.replace_substring_regex(cells, rf"^(.*[0-9.,])\s*{re.escape(unit)}$", r"\1")
    odd = cells.filter(pc.match_substring_regex(cells, r"^[+-]?[.,]?[0-9].*[^0-9.,]$"))
    endings = pc.unique(pc.replace_substring_regex(odd, rf"^{_NUMBER}\s*", "")).to_pylist()
    told = SIGNALS[signal].ucum(unit)
    same = [re.escape(ending) for ending in endings if ending and SIGNALS[signal].ucum(ending) == told]
    if not same:
        return cells
    return pc.replace_substring_regex(cells, rf"^({_NUMBER})\s*(?:{'|'.join(same)})$", r"\1")


def plain(
    cells: pa.Array, unit: str, signal: str, header: str = "", *, told: bool = True
) -> tuple[pa.Array, list[str]]:
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
        cells = _without_units(trimmed, unit, signal)
    return cells, words
