"""A matrix of dialects: encoding, byte order mark, line end, delimiter, decimal mark, time notation and shape.

Each table is written from the same canonical rows by Python's csv module and strftime, and must give these rows
exactly, or the refusal that `expected` names. By default every pair of levels is read at least once, and 2,000
combinations more; VAMBRACE_FULL_MATRIX=1 reads them all.
"""

from __future__ import annotations

import csv
import io
import os
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta, timezone
from itertools import combinations, product
from typing import Any, NamedTuple
from zoneinfo import ZoneInfo

import pytest

from csv_canonical import Rows, canonical
from vambrace_plugins.importers.csv import Options

# Multiples of 108 s, so that a spreadsheet's serial day has five decimals; a day above 12; one after noon.
INSTANTS = [datetime(2024, 3, 13, 9, 0, tzinfo=UTC) + timedelta(seconds=108 * step) for step in (0, 1, 2, 401)]
RATES = [71.0, 72.0, 70.0, 99.0]
POWERS = [180.5, 0.75, 181.25, 12.5]
START = "2024-03-13T08:00:00Z"
NOTE = "é"


@dataclass(frozen=True)
class Notation:
    """One way to write instants: headers, the cells of one instant, and what the file cannot say of itself."""

    headers: tuple[str, ...]
    cells: Callable[[datetime], tuple[str, ...]]
    options: dict[str, Any] = field(default_factory=dict)
    zone: str | None = None
    decimals: bool = False


def _as(pattern: str) -> Callable[[datetime], tuple[str, ...]]:
    return lambda instant: (instant.strftime(pattern),)


def _count(per_second: int) -> Callable[[datetime], tuple[str, ...]]:
    return lambda instant: (str(int(instant.timestamp()) * per_second),)


def _date_and_clock(instant: datetime) -> tuple[str, ...]:
    return instant.strftime("%Y-%m-%d"), instant.strftime("%H:%M:%S")


def _offset(instant: datetime) -> tuple[str, ...]:
    return (instant.astimezone(timezone(timedelta(hours=2))).isoformat(),)


def _berlin(instant: datetime) -> tuple[str, ...]:
    return (instant.astimezone(ZoneInfo("Europe/Berlin")).strftime("%Y-%m-%dT%H:%M:%S"),)


def _serial(instant: datetime) -> tuple[str, ...]:
    """Return days since 1899-12-30, as spreadsheets count them."""
    return (str((instant - datetime(1899, 12, 30, tzinfo=UTC)) / timedelta(days=1)),)


def _elapsed(instant: datetime) -> tuple[str, ...]:
    return (str((instant - datetime.fromisoformat(START)) // timedelta(seconds=1)),)


def _stopwatch(instant: datetime) -> tuple[str, ...]:
    return (str(instant - datetime.fromisoformat(START)),)


def _behind(pattern: str, zone: str) -> Callable[[datetime], tuple[str, ...]]:
    return lambda instant: (instant.astimezone(ZoneInfo(zone)).strftime(pattern),)


UTC_TIME = ("time (UTC)",)
NOTATIONS = {
    "iso-z": Notation(("time",), _as("%Y-%m-%dT%H:%M:%SZ")),
    "iso-offset": Notation(("time",), _offset),
    "iso-local": Notation(("time",), _berlin, zone="Europe/Berlin"),
    "blank-utc": Notation(UTC_TIME, _as("%Y-%m-%d %H:%M:%S")),
    "epoch-s": Notation(("timestamp",), _count(1)),
    "epoch-ms": Notation(("timestamp",), _count(1000)),
    "epoch-us": Notation(("timestamp",), _count(1_000_000)),
    "day-first": Notation(UTC_TIME, _as("%d/%m/%Y %H:%M:%S")),
    "month-first": Notation(UTC_TIME, _as("%m/%d/%Y %H:%M:%S")),
    "half-days": Notation(UTC_TIME, _as("%m/%d/%Y %I:%M:%S %p")),
    "month-name": Notation(UTC_TIME, _as("%d %b %Y %H:%M:%S")),
    "two-columns": Notation(("date", "time (UTC)"), _date_and_clock),
    "serial": Notation(UTC_TIME, _serial, {"time": "serial-1900"}, decimals=True),
    "stopwatch": Notation(("elapsed",), _stopwatch, {"start": START}),
    "clock": Notation(UTC_TIME, _as("%H:%M:%S"), {"date": "2024-03-13"}),
    "place-behind": Notation(("time",), _behind("%Y-%m-%d %H:%M:%S Europe/Berlin", "Europe/Berlin")),
    "word-behind": Notation(
        ("time",),
        _behind("%d.%m.%Y %I:%M:%S %p %Z", "America/Los_Angeles"),
        {"zones": "PDT=-07:00", "time": "day-first"},
    ),
    "short-year": Notation(UTC_TIME, _as("%m/%d/%y %H:%M:%S"), {"century": "20", "time": "month-first"}),
    "elapsed": Notation(("elapsed (s)",), _elapsed, {"start": START, "time": "elapsed-s"}),
}
# What no byte shows has to be said.
ENCODINGS = {
    "utf-8": "",
    "utf-16-le": "",
    "utf-16-be": "",
    "utf-32-le": "utf-32-le",
    "utf-32-be": "utf-32-be",
    "latin-1": "latin-1",
    "cp1252": "cp1252",
    "mac-roman": "mac-roman",
}
SHAPES = ("wide", "long", "devices", "units-row", "preamble")


class Case(NamedTuple):
    """One place in the matrix."""

    encoding: str
    bom: bool
    end: str
    delimiter: str
    decimal: str
    notation: str
    shape: str


AXES: tuple[tuple[Any, ...], ...] = (
    tuple(ENCODINGS),
    (False, True),
    ("\n", "\r\n", "\r"),
    (",", ";", "\t", "|"),
    (".", ","),
    tuple(NOTATIONS),
    SHAPES,
)


def exists(case: Case) -> bool:
    """Return whether there is such a file: only encodings of Unicode have a byte order mark."""
    return not case.bom or case.encoding.startswith("utf")


def expected(case: Case) -> str:
    """Return the code of the refusal to expect, or an empty text.

    A comma before decimals in a table of commas may as well be a separator that was quoted for another reason: the
    user has to say it. A day of five digits before its comma has no other reading.
    """
    return "decimal-not-said" if case.shape != "devices" and case.decimal == case.delimiter == "," else ""


def wanted(shape: str) -> dict[str, list[Rows]]:
    """Return the canonical rows by signal, recording by recording."""
    instants = [int(instant.timestamp()) * 1_000_000 for instant in INSTANTS]
    rates = list(zip(instants, RATES, strict=True))
    if shape == "devices":
        return {"heart_rate": [rates, [(at, rate + 1) for at, rate in rates]]}
    return {"heart_rate": [rates], "power": [list(zip(instants, POWERS, strict=True))]}


def table(case: Case) -> list[list[str]]:
    """Return the cells of the table, header and all."""
    notation = NOTATIONS[case.notation]
    heads = list(notation.headers)
    stamps = [[_mark(cell, case, notation.decimals) for cell in notation.cells(at)] for at in INSTANTS]
    values = [[str(int(rate)), _mark(str(power), case, True)] for rate, power in zip(RATES, POWERS, strict=True)]
    if case.shape == "long":
        rows = [[*heads, "signal", "value", "unit", "note"]]
        for stamp, (rate, power) in zip(stamps, values, strict=True):
            rows += [[*stamp, "heart_rate", rate, "bpm", NOTE], [*stamp, "power", power, "W", NOTE]]
        return rows
    if case.shape == "devices":
        rows = [[*heads, "band-A heart rate [bpm]", "ring-B heart rate [bpm]", "note"]]
        pairs = [[str(int(rate)), str(int(rate) + 1)] for rate in RATES]
        return rows + [[*stamp, *pair, NOTE] for stamp, pair in zip(stamps, pairs, strict=True)]
    named = ["heart_rate", "power"] if case.shape == "units-row" else ["heart_rate [bpm]", "power [W]"]
    rows = [[*heads, *named, "note"]]
    if case.shape == "units-row":
        rows.append([*("" for _ in heads), "bpm", "W", ""])
    if case.shape == "preamble":
        rows = [["Exported for a study"], ["Second line of three"], [], *rows]
    return rows + [[*stamp, *pair, NOTE] for stamp, pair in zip(stamps, values, strict=True)]


def _mark(cell: str, case: Case, decimals: bool) -> str:
    return cell.replace(".", case.decimal) if decimals else cell


def written(case: Case) -> bytes:
    """Return the bytes of the file."""
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=case.delimiter, lineterminator=case.end).writerows(table(case))
    return (("\ufeff" if case.bom else "") + text.getvalue()).encode(case.encoding)


def fault(case: Case) -> str:
    """Return what is wrong with the reading of one place of the matrix, or an empty text."""
    notation = NOTATIONS[case.notation]
    options = dict(notation.options)
    if not case.bom and ENCODINGS[case.encoding]:
        options["encoding"] = ENCODINGS[case.encoding]
    result = canonical(written(case), Options(**options), notation.zone)
    if result.code != expected(case):
        return f"{case}: {result.said or 'not refused'}"
    if result.code:
        return "" if not result.channels else f"{case}: rows before the refusal"
    aside = [(each.signal, each.record, each.reason) for each in result.rejected]
    right = result.signals == wanted(case.shape) and not aside
    return "" if right else f"{case}: {result.signals} {result.rejected}"


def everything() -> list[Case]:
    """Return all places of the matrix."""
    return [case for case in map(Case._make, product(*AXES)) if exists(case)]


def _pairs(case: Case) -> set[tuple[int, Any, int, Any]]:
    return {(i, case[i], j, case[j]) for i, j in combinations(range(len(AXES)), 2)}


def chosen(all_of_it: list[Case]) -> Iterator[Case]:
    """Yield, in a seeded random order, 2,000 places and then those with a pair of levels not met before."""
    order = random.Random(4).sample(all_of_it, len(all_of_it))
    met: set[tuple[int, Any, int, Any]] = set()
    for number, case in enumerate(order):
        pairs = _pairs(case)
        if number < 2000 or not pairs <= met:
            met |= pairs
            yield case


@pytest.fixture(scope="module")
def cases() -> list[Case]:
    """Return the places to read."""
    found = everything()
    return found if os.environ.get("VAMBRACE_FULL_MATRIX") else list(chosen(found))


def test_every_pair_of_levels_is_read(cases: list[Case]) -> None:
    wanted_pairs = set().union(*map(_pairs, everything()))
    assert len(wanted_pairs) > 400
    assert set().union(*map(_pairs, cases)) == wanted_pairs
    assert len(cases) >= 2000


@pytest.mark.parametrize("shape", SHAPES)
def test_each_dialect_gives_the_exact_rows_or_the_refusal_that_is_due(shape: str, cases: list[Case]) -> None:
    faults = [found for case in cases if case.shape == shape and (found := fault(case))]
    assert not faults, f"{len(faults)} faults, such as:\n" + "\n".join(faults[:5])
