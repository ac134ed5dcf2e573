"""Counts as times: which unit they have and since when, or both readings where that is uncertain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import cast

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.instants import Instant, Unit
from vambrace_plugins.importers.csv.options import EPOCHS, Said
from vambrace_plugins.importers.csv.scientific import COUNT, SCALE, step_in
from vambrace_plugins.importers.csv.stopwatch import LENGTHS
from vambrace_plugins.importers.csv.timewords import TimeWords

# Plausible dates: 1990 to 2100. A count of seconds before mid-2014 may as well be one since 1989-12-31, as FIT has it.
_FIRST_S, _LAST_S, _SURE_S = 631_152_000, 4_102_444_800, 1_400_000_000
_ENOUGH = 0.9
_DAY_S = 86_400
# Counts of 100 ns since 0001-01-01 and since 1601-01-01, as some systems keep time: Unix seconds of their count 0.
_TICKS = {"the year 1": -62_135_596_800, "1601": -11_644_473_600}


def count(found: Instant, words: TimeWords, header: str, said: Said, cells: Sequence[str]) -> Instant:
    """Return a column of counts: since an epoch, or since a start that the user gives."""
    numbers = [float(cell.replace(",", ".")) for cell in cells if COUNT.match(cell.strip())]
    if not numbers:
        text = next((cell.strip() for cell in cells if cell.strip()), "")
        what = f'the column "{header}" has "{text}" where counts are expected'
        raise Refused("time-notation", what, todo="Write times as 2024-03-01T08:15:30Z, or all of them as counts")
    unit = said.time_unit or words.unit or _unit_by_range(numbers)
    if not unit:
        raise _no_unit(header, numbers)
    if ":" in unit:
        what = f'the option csv.time says {unit}, and the column "{header}" holds counts ({numbers[0]:.15g})'
        raise Refused("time-unit-contradicts", what, todo="Say what they count, as in --option csv.time=elapsed-s")
    step = step_in(header, unit, cells)
    length = unit if unit in LENGTHS else ""
    by_range = not (said.time_unit or words.unit)
    found = replace(found, unit=cast(Unit, "s" if length else unit), by_range=by_range, step=step, length=length)
    if length or _from_start(words, said, unit, numbers):
        return replace(found, epoch_s=start_of(header, said), from_start=True)
    if said.time_kind == "serial":
        return replace(found, epoch_s=said.epoch_s, named_zone="Z" if words.zone == "Z" else "")
    if said.time_kind == "epoch":
        return replace(found, epoch_s=said.epoch_s)
    if words.epoch_s is not None:
        return replace(found, epoch_s=words.epoch_s)
    return replace(found, epoch_s=_unix(header, unit, numbers))


def _from_start(words: TimeWords, said: Said, unit: str, numbers: Sequence[float]) -> bool:
    """Say whether counts are counted from a start: it is said of them, or one is given and they are no dates."""
    if said.time_kind or words.elapsed:
        return said.time_kind == "elapsed" or (words.elapsed and said.time_kind != "epoch")
    dates = sum(_plausible(number / SCALE[unit]) for number in numbers)
    return said.start_s is not None and words.epoch_s is None and dates < _ENOUGH * len(numbers)


def _unit_by_range(numbers: Sequence[float]) -> str:
    """Return the unit in which all counts since 1970 are plausible dates, or "" where there is none."""
    units = {_dated(number) for number in numbers}
    return units.pop() if len(units) == 1 else ""


def _dated(number: float) -> str:
    """Return the only unit in which a count since 1970 is a plausible date, or ""; no number is one in two units."""
    return next((unit for unit, scale in SCALE.items() if _plausible(number / scale)), "")


def _plausible(second: float) -> bool:
    return _FIRST_S <= second <= _LAST_S


def start_of(header: str, said: Said) -> int:
    """Return the instant that the user gives as the start, in Unix seconds; raise Refused where there is none."""
    if said.start_s is None:
        what = f'the times of "{header}" are counted from a start that the file does not give'
        todo = "Say the start, as in --option csv.start=2024-03-01T08:00:00Z"
        raise Refused("no-start", what, where="line 1", todo=todo)
    return said.start_s


def _unix(header: str, unit: str, numbers: list[float]) -> int:
    """Return the Unix epoch for counts whose header says only the unit, where they can be nothing else."""
    seconds = [number / SCALE[unit] for number in numbers]
    plausible = [second for second in seconds if _plausible(second)]
    if len(plausible) < _ENOUGH * len(seconds):
        raise _no_dates(header, unit, numbers)
    ticks = next((number for number in numbers if unit == "ns" and _in_ticks(number)), None)
    if ticks is not None:
        what = f'{ticks:.0f} in the column "{header}" is {_day(ticks / SCALE["ns"])} in ns since 1970'
        todo = (
            "Export it again with times as 2024-03-01T08:15:30Z; if they are ns indeed, say --option csv.time=epoch-ns"
        )
        raise Refused("time-two-readings", f"{what} or {_in_ticks(ticks)}", todo=todo)
    if unit == "s" and plausible and min(plausible) < _SURE_S:
        first = plausible[0]
        readings = f"{_day(first)} (since 1970) or {_day(first + EPOCHS['fit'])} (since 1989-12-31)"
        what = f'{first:.15g} in the column "{header}" is {readings}'
        raise Refused("time-two-readings", what, todo="Say which, as in --option csv.time=epoch-s (or =fit-s)")
    return 0


def _in_ticks(number: float) -> str:
    """Return the date that a count of 100 ns is since an epoch of old, or "" where it is no plausible one."""
    found = ((number / 10_000_000 + zero, since) for since, zero in _TICKS.items())
    return next((f"{_day(second)} in 100 ns since {since}" for second, since in found if _plausible(second)), "")


def _no_dates(header: str, unit: str, numbers: list[float]) -> Refused:
    """Return the refusal of counts of which too many are no dates in their unit."""
    odd = next(number for number in numbers if not _plausible(number / SCALE[unit]))
    right = next((number for number in numbers if _plausible(number / SCALE[unit])), None)
    fitting = _dated(odd)
    if right is not None:
        return _two_kinds(header, right, unit, odd, fitting)
    if fitting:
        what = f'the header "{header}" says {unit}, but {odd:.15g} would be a date only in {fitting}'
        return Refused("time-unit-contradicts", what, todo=f"If so, say --option csv.time=epoch-{fitting}")
    what = f'the times of "{header}" ({odd:.15g}, …) are no dates since 1970; they seem to count from a start'
    todo = f"Say --option csv.time=elapsed-{unit} and the start, as in --option csv.start=2024-03-01T08:00:00Z"
    return Refused("no-start", what, where="line 1", todo=todo)


def _two_kinds(header: str, right: float, unit: str, odd: float, fitting: str) -> Refused:
    other = f"one in {fitting}" if fitting else "none"
    shown = f"{right:.15g} is a date in {unit}, and {odd:.15g} is {other}"
    what = f'the column "{header}" has counts of two kinds: {shown}'
    return Refused("time-mixed", what, todo="Write them all in one unit, or mend the cells that are no times")


def _no_unit(header: str, numbers: list[float]) -> Refused:
    dated = {unit: number for number in reversed(numbers) if (unit := _dated(number))}
    if len(dated) > 1:
        (unit, right), (fitting, odd), *_ = dated.items()
        return _two_kinds(header, right, unit, odd, fitting)
    # A cell that is a date tells more than a first one that is none.
    first = next(iter(dated.values()), numbers[0] if numbers else 0.0)
    if _plausible(first * _DAY_S + EPOCHS["serial-1900"]):
        systems = ("1900", "1904")
        days = (_day(first * _DAY_S + EPOCHS[f"serial-{name}"]) for name in systems)
        readings = " or ".join(f"{day} (system of {name})" for day, name in zip(days, systems, strict=True))
        what = f'{first:.15g} in the column "{header}" may be a day as spreadsheets count them: {readings}'
        todo = "Say which, as in --option csv.time=serial-1900 (or =serial-1904); elapsed-s if it counts from a start"
        return Refused("time-two-readings", what, todo=todo)
    unit = _dated(first)
    shown = [f"{_day(first / SCALE[unit])} in {unit} since 1970"] if unit else []
    shown += [f"{_day(first + EPOCHS['fit'])} in s since 1989-12-31"] if _FIRST_S <= first <= _SURE_S else []
    ticks = _in_ticks(first)
    shown += [ticks] if ticks else []
    readings = " or ".join(shown) or "no date since 1970"
    what = f'the column "{header}" holds counts ({first:.15g}) without their unit: {readings}'
    todo = f"Say what they count, as in --option csv.time=epoch-{unit}"
    if not unit:
        todo = "Export it again with times as 2024-03-01T08:15:30Z. " if ticks else ""
        todo += "If they count from a start, say --option csv.time=elapsed-s and csv.start=2024-03-01T08:00:00Z"
    return Refused("time-unit-not-said", what, where="line 1", todo=todo)


def _day(second: float) -> str:
    return datetime.fromtimestamp(second, UTC).strftime("%Y-%m-%d")
