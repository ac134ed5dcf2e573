"""Which column of a table is what: signals with their units and counting, or a part of the time."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vambrace.plugin import SIGNALS, Refused
from vambrace_plugins.importers.csv.cells import unit_in_cells, without_unit
from vambrace_plugins.importers.csv.devices import with_devices
from vambrace_plugins.importers.csv.firstcells import numbers_in
from vambrace_plugins.importers.csv.options import ROLES, Said
from vambrace_plugins.importers.csv.timewords import TimeWords
from vambrace_plugins.importers.csv.vocabulary import Heading, is_total, of_signal, plain, read_heading

# Signals that are counted in one unit in use in the field; the others must say it.
_ONE_UNIT = {
    *("heart_rate", "respiratory_rate", "cadence", "power", "step_count", "latitude", "longitude"),
}
# Our names that are ordinary words, and say no more of the unit than any word.
_WORDS = {"altitude", "distance", "speed"}
_NUMBER = re.compile(r"^[+-]?(?:[0-9]+[.,]?[0-9]*|[.,][0-9]+)(?:[eE][+-]?[0-9]+)?$")
_NO_ANGLE = 1000


@dataclass(frozen=True, slots=True)
class Field:
    """One column that holds a signal; `lane` parts the columns that cannot be one recording, from 0.

    `suffix` is the unit that stands behind the number in every cell, if one does; `told` says that the header or the
    user names the unit too.
    """

    at: int
    heading: Heading
    unit: str
    counting: str
    lane: int = 0
    suffix: str = ""
    told: bool = False


def headings(cells: Sequence[str], said: Said) -> list[Heading]:
    """Return what each header cell means; what the user says of a column stands above its header."""
    heads = [_heading(cell, said) for cell in cells]
    return with_devices(heads, [bool(said_of(said.columns, cell)) for cell in cells])


def _heading(cell: str, said: Said) -> Heading:
    role = said_of(said.columns, cell)
    if not role:
        return read_heading(cell)
    if role in SIGNALS:
        return of_signal(cell, role)
    if role not in ROLES or role == "-":
        return Heading(cell)
    words = read_heading(cell).time or TimeWords()
    part = role if role in {"date", "offset"} else "time"
    edge = role if role in {"start", "end"} else words.edge
    return Heading(cell, time=replace(words, part=part, edge=edge, told=True))


def said_of(pairs: dict[str, str], header: str) -> str:
    """Return what pairs of header and word say of a header, whatever its case and marks."""
    return pairs.get(header.strip().lower()) or pairs.get(plain(header), "")


def fields(heads: Sequence[Heading], said: Said, sample: Sequence[Sequence[str]]) -> list[Field]:
    """Return the columns of signals; `sample` holds the first cells of each column.

    Raise Refused for what neither the header nor the user says, and the cells cannot show.
    """
    found = []
    for at, heading in enumerate(heads):
        if heading.signal:
            told = _told(heading, said)
            suffix = unit_in_cells(sample[at], heading.signal, heading.text.strip(), told)
            cells = [without_unit(cell, suffix) for cell in sample[at]] if suffix else sample[at]
            unit = _unit_with(heading, told, suffix) if suffix else _unit(heading, said, cells)
            found.append(Field(at, heading, unit, _counting(heading, said, cells), suffix=suffix, told=bool(told)))
    _refuse_twins(found)
    return _in_lanes(found)


def _refuse_twins(found: Sequence[Field]) -> None:
    seen: dict[str, int] = {}
    for each in found:
        text = each.heading.text.strip()
        if text in seen:
            what = f'two columns have the header "{text}" ({seen[text] + 1} and {each.at + 1})'
            raise Refused(
                "header-twice", what, where="line 1", todo="Give them different headers that say what each is"
            )
        seen[text] = each.at


def _in_lanes(found: Sequence[Field]) -> list[Field]:
    """Give each column of a signal a lane: its device's and sensor's, and where these give it twice, one more."""
    lanes: dict[tuple[str, str, int], int] = {}
    times_seen: dict[tuple[str, str, str], int] = {}
    placed = []
    for each in found:
        device, sensor = plain(each.heading.device), each.heading.sensor
        nth = times_seen.get((device, sensor, each.heading.signal), 0)
        times_seen[device, sensor, each.heading.signal] = nth + 1
        placed.append(replace(each, lane=lanes.setdefault((device, sensor, nth), len(lanes))))
    signals = [each.heading.signal for each in found]
    # A sensor named in a header parts nothing where every signal stands once; a device never shares a recording.
    if any(each.heading.device for each in found):
        return placed
    return placed if len(set(signals)) < len(signals) else [replace(each, lane=0) for each in placed]


def _numbers(cells: Sequence[str]) -> NDArray[np.float64]:
    """Return the numbers among the cells but for zeros, which fit every unit."""
    found = numbers_in(cells)
    if found is None:
        texts = (cell.strip() for cell in cells)
        found = np.array([float(text.replace(",", ".")) for text in texts if _NUMBER.match(text)], np.float64)
    kept: NDArray[np.float64] = found[(found != 0) & np.isfinite(found)]
    return kept


def _told(heading: Heading, said: Said) -> str:
    """Return the unit that the user or the header names."""
    return said_of(said.units, heading.text) or said.units.get(heading.signal, "") or heading.unit


def _unit_with(heading: Heading, told: str, suffix: str) -> str:
    """Return the unit of the cells; raise Refused where the header or the user names another."""
    signal = SIGNALS[heading.signal]
    if told and signal.ucum(told) != signal.ucum(suffix):
        what = f'the column "{heading.text.strip()}" is in {told}, and its cells say "{suffix}"'
        raise Refused("unit-two-readings", what, where="line 1", todo="Mend the header or the cells")
    return suffix


def _unit(heading: Heading, said: Said, cells: Sequence[str]) -> str:
    signal = SIGNALS[heading.signal]
    told = said_of(said.units, heading.text)
    if not told and not heading.unit:
        told = said.units.get(signal.name, "")
    if told:
        if not signal.ucum(told):
            what = f'the option csv.units says that "{heading.text}" is in {told}, which is no unit of {signal.name}'
            raise Refused("bad-option", what, todo=f"Give one of {', '.join((signal.unit, *signal.accepts))}")
        return told
    if heading.remark:
        raise _no_unit(
            heading, f'says "{heading.remark}", which is no unit of {signal.name} that we know', "unit-unknown"
        )
    if heading.unit:
        return heading.unit
    ours = heading.canonical and heading.signal not in _WORDS
    numbers = _numbers(cells)
    if (ours or heading.signal in _ONE_UNIT) and not _looks_odd(heading.signal, numbers, ours):
        return signal.unit
    if heading.signal == "oxygen_saturation" and len(numbers) and ((numbers > 1) & (numbers <= 100)).all():
        # No value can be a fraction; a single one that could makes it uncertain.
        return signal.unit
    raise _no_unit(heading, "does not say its unit" + _example(heading.signal, cells), "unit-not-said")


def _looks_odd(signal: str, numbers: NDArray[np.float64], ours: bool) -> bool:
    """Say whether the first values speak against the canonical unit: a rate in Hz, a fraction, an integer angle."""
    if signal in {"latitude", "longitude"}:
        return 2 * int((np.abs(numbers) > _NO_ANGLE).sum()) > len(numbers)
    plausible = SIGNALS[signal].plausible
    if signal == "oxygen_saturation":
        return len(numbers) > 0 and bool((numbers <= 1).all())
    if ours or "Hz" not in SIGNALS[signal].accepts or plausible is None:
        return False
    return len(numbers) > 0 and bool((numbers < plausible[0] / 2).all())


def _example(signal: str, cells: Sequence[str]) -> str:
    cell = next((cell.strip() for cell in cells if _NUMBER.match(cell.strip()) and float(cell.replace(",", "."))), "")
    if not cell:
        return ""
    if signal == "oxygen_saturation":
        return f": {cell} is a fraction ({float(cell.replace(',', '.')) * 100:.15g} %) or {cell} %"
    return f": it begins with {cell}"


def _no_unit(heading: Heading, what: str, code: str) -> Refused:
    signal = SIGNALS[heading.signal]
    units = {"oxygen_saturation": ("fraction", "%"), "sleep_stage": ("stage",)}.get(signal.name, ())
    first, *others = units or (signal.unit, *signal.accepts)
    name = heading.text.strip()
    rest = f" (or {', '.join(f'={unit}' for unit in others)})" if others else _codes(heading.signal)
    todo = f'Say which it is, as in --option "csv.units={name}={first}"{rest}, or leave it out: "csv.columns={name}=-"'
    if heading.rival:
        what += f", and its name may mean {signal.title} or {SIGNALS[heading.rival].title.lower()}"
        todo += f'; if it is the latter, say "csv.columns={name}={heading.rival}"'
    return Refused(code, f'the column "{name}" {what}', where="line 1", todo=todo)


def _codes(signal: str) -> str:
    codes = ", ".join(f"{code} {word}" for code, word in SIGNALS[signal].codes.items())
    return f" if its codes are {codes}" if codes else ""


def _counting(heading: Heading, said: Said, cells: Sequence[str]) -> str:
    if not is_total(heading.signal):
        return "total"
    told = said_of(said.counting, heading.text)
    if not told and not heading.counting:
        told = said.counting.get(heading.signal) or said.counting.get("", "")
    if told or heading.counting:
        return told or heading.counting
    cell = next((cell.strip() for cell in cells if cell.strip() not in {"", "0"}), "a value")
    name = heading.text.strip()
    what = f'the column "{name}" does not say whether {cell} is a running total, or the count of one interval'
    todo = (
        f'Say which, as in --option "csv.counting={name}=total" (or =increment), or for all columns csv.counting=total'
    )
    raise Refused("counting-not-said", what, where="line 1", todo=todo)
