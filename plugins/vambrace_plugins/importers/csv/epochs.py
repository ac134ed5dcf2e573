"""Counts as times: which unit they have and since when, or both readings where that is uncertain."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from typing import cast

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.instants import Instant, Unit
from vambrace_plugins.importers.csv.options import Said
from vambrace_plugins.importers.csv.timewords import TimeWords

_SCALE = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}
# Plausible dates: 1990 to 2100. A count of seconds before mid-2014 may as well be one since 1989-12-31, as FIT has it.
_FIRST_S, _LAST_S, _SURE_S, _FIT_S = 631_152_000, 4_102_444_800, 1_400_000_000, 631_065_600
_ENOUGH = 0.9
# Days from the spreadsheet's day 0 to 1970, and the day numbers of 1990 to 2100 in the system of 1900.
_SERIALS = (("1900", 25_569), ("1904", 24_107))
_FIRST_DAY, _LAST_DAY = 32_874, 73_051


def count(found: Instant, words: TimeWords, header: str, said: Said, cells: Sequence[str]) -> Instant:
    """Return a column of counts: since an epoch, or since a start that the user gives."""
    if any("e" in cell.lower() for cell in cells):
        cell = next(cell.strip() for cell in cells if "e" in cell.lower())
        what = f'the times of "{header}" are rounded ("{cell}"), as a spreadsheet shows long numbers'
        raise Refused("time-rounded", what, todo="Export it again with all digits, or as text")
    numbers = [float(cell.replace(",", ".")) for cell in cells if _is_count(cell)]
    unit = said.time_unit or words.unit or _unit_by_range(numbers)
    if not unit:
        raise _no_unit(header, numbers)
    found = replace(found, unit=cast(Unit, unit), by_range=not (said.time_unit or words.unit))
    if said.time_kind == "elapsed" or (words.elapsed and said.time_kind != "epoch"):
        return replace(found, epoch_s=_start(header, unit, said))
    if said.time_kind == "serial":
        return replace(found, epoch_s=said.epoch_s, named_zone="Z" if words.zone == "Z" else "")
    if said.time_kind == "epoch":
        return replace(found, epoch_s=said.epoch_s)
    if words.epoch_s is not None:
        return replace(found, epoch_s=words.epoch_s)
    return replace(found, epoch_s=_unix(header, unit, numbers))


def _unit_by_range(numbers: Sequence[float]) -> str:
    """Return the only unit in which counts since 1970 are plausible dates, or "" where there is none."""
    fitting = [
        unit for unit, scale in _SCALE.items() if all(_FIRST_S <= number / scale <= _LAST_S for number in numbers)
    ]
    return fitting[0] if len(fitting) == 1 else ""


def _is_count(cell: str) -> bool:
    return cell.strip().replace(",", ".").replace(".", "", 1).lstrip("+-").isdecimal()


def _start(header: str, unit: str, said: Said) -> int:
    if said.start_s is None:
        what = f'the times of "{header}" are counted from a start that the file does not give'
        todo = "Say the start, as in --option csv.start=2024-03-01T08:00:00Z"
        raise Refused("no-start", what, where="line 1", todo=todo)
    return said.start_s


def _unix(header: str, unit: str, numbers: list[float]) -> int:
    """Return the Unix epoch for counts whose header says only the unit, where they can be nothing else."""
    seconds = [number / _SCALE[unit] for number in numbers]
    plausible = [second for second in seconds if _FIRST_S <= second <= _LAST_S]
    if len(plausible) < _ENOUGH * len(seconds):
        return _refuse_count(header, unit, numbers)
    if unit == "s" and plausible and min(plausible) < _SURE_S:
        first = plausible[0]
        readings = f"{_day(first)} (since 1970) or {_day(first + _FIT_S)} (since 1989-12-31)"
        what = f'{first:.15g} in the column "{header}" is {readings}'
        raise Refused("time-two-readings", what, todo="Say which, as in --option csv.time=epoch-s (or =fit-s)")
    return 0


def _refuse_count(header: str, unit: str, numbers: list[float]) -> int:
    first = numbers[0]
    fitting = [other for other in _SCALE if _FIRST_S <= first / _SCALE[other] <= _LAST_S]
    if fitting:
        what = f'the header "{header}" says {unit}, but {first:.15g} would be a date only in {fitting[0]}'
        raise Refused("time-unit-contradicts", what, todo=f"If so, say --option csv.time=epoch-{fitting[0]}")
    what = f'the times of "{header}" ({first:.15g}, …) are no dates since 1970; they seem to count from a start'
    todo = f"Say --option csv.time=elapsed-{unit} and the start, as in --option csv.start=2024-03-01T08:00:00Z"
    raise Refused("no-start", what, where="line 1", todo=todo)


def _no_unit(header: str, numbers: list[float]) -> Refused:
    first = numbers[0] if numbers else 0.0
    if _FIRST_DAY <= first <= _LAST_DAY:
        readings = " or ".join(f"{_day((first - since) * 86_400)} (system of {name})" for name, since in _SERIALS)
        what = f'{first:.15g} in the column "{header}" may be a day as spreadsheets count them: {readings}'
        todo = "Say which, as in --option csv.time=serial-1900 (or =serial-1904); elapsed-s if it counts from a start"
        return Refused("time-two-readings", what, todo=todo)
    dated = [(unit, first / scale) for unit, scale in _SCALE.items() if _FIRST_S <= first / scale <= _LAST_S]
    shown = [f"{_day(second)} in {unit} since 1970" for unit, second in dated]
    shown += [f"{_day(first + _FIT_S)} in s since 1989-12-31"] if _FIRST_S <= first <= _SURE_S else []
    readings = " or ".join(shown) or "no date since 1970"
    what = f'the column "{header}" holds counts ({first:.15g}) without their unit: {readings}'
    unit = dated[0][0] if dated else "s"
    todo = f"Say what they count, as in --option csv.time=epoch-{unit}"
    if not dated:
        todo = "If they count from a start, say --option csv.time=elapsed-s and csv.start=2024-03-01T08:00:00Z"
    return Refused("time-unit-not-said", what, where="line 1", todo=todo)


def _day(second: float) -> str:
    return datetime.fromtimestamp(second, UTC).strftime("%Y-%m-%d")
