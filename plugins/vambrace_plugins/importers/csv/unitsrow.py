"""A row of units behind the header: whether there is one, and what it says of each column."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from vambrace.plugin import SIGNALS, Refused
from vambrace_plugins.importers.csv.timewords import TimeWords
from vambrace_plugins.importers.csv.vocabulary import Heading, read_heading, unit_in_brackets


def units_row(heads: Sequence[Heading], row: Sequence[str]) -> bool:
    """Say whether a row gives units: at least one of a signal, under no signal anything else, and nowhere a digit."""
    units = 0
    for heading, cell in zip(heads, (cell.strip() for cell in row), strict=True):
        if not cell:
            continue
        if heading.signal and unit_in_brackets(_bare(cell), heading.signal):
            units += 1
        elif heading.signal or any(letter.isdigit() for letter in cell):
            return False
    return units > 0


def _bare(cell: str) -> str:
    return cell[1:-1].strip() if (cell[:1], cell[-1:]) in {("(", ")"), ("[", "]")} else cell


def with_units(heads: Sequence[Heading], row: Sequence[str]) -> list[Heading]:
    """Return the headings with the units of their row; raise Refused where a header names another unit."""
    return [with_unit(heading, _bare(cell.strip())) for heading, cell in zip(heads, row, strict=True)]


def with_unit(heading: Heading, cell: str) -> Heading:
    """Return a heading with what a cell says of its unit; raise Refused where it names another itself."""
    if not cell:
        return heading
    if heading.signal:
        unit = unit_in_brackets(cell, heading.signal)
        signal = SIGNALS[heading.signal]
        if not unit:
            return replace(heading, remark=cell)
        if heading.unit and signal.ucum(heading.unit) != signal.ucum(unit):
            name = heading.text.strip()
            what = f'the header "{name}" says {heading.unit}, and the row behind it says {cell}'
            raise Refused("unit-two-readings", what, where="line 2", todo="Mend the header, or the row of units")
        counted = read_heading(f"{heading.text} ({cell})")
        return replace(heading, unit=unit, counts=counted.counts or heading.counts)
    if heading.time is not None and not heading.time.told:
        # What stands under a time says as much as if it stood in brackets behind its header.
        told = read_heading(f"{heading.text} ({cell})").time or TimeWords()
        return replace(heading, time=told)
    return heading
