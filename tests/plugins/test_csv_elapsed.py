"""Times since a start: as a stopwatch shows them and as counts, with the start and their meaning said."""

from __future__ import annotations

import math
from datetime import UTC, datetime, timedelta
from fractions import Fraction

import pandas as pd
import pyarrow as pa
import pytest

from csv_instants import instants, iso, reading_of, sentences
from vambrace_plugins.importers.csv.stopwatch import seconds

START = "2031-03-04T10:00:00+01:00"
SINCE = "since 2031-03-04T09:00:00Z, the start that csv.start gives"
AT = datetime(2031, 3, 4, 9, tzinfo=UTC)


def after(*lengths: float) -> list[str]:
    return [(AT + timedelta(seconds=length)).isoformat().replace("+00:00", "Z") for length in lengths]


@pytest.mark.parametrize(
    ("header", "options"),
    [
        ("elapsed time (mm:ss)", {}),
        ("time (m:ss)", {}),
        ("elapsed", {"time": "elapsed-mm:ss"}),
        ("time", {"time": "elapsed-mm:ss"}),
        ("time since start", {"time": "elapsed-mm:ss"}),
    ],
)
def test_minutes_and_seconds_count_from_the_start(header: str, options: dict[str, str]) -> None:
    result = reading_of(header, ["00:00", "9:05", "59:59", "61:01"], start=START, **options)
    assert instants(result) == after(0, 545, 3599, 3661)
    assert sentences(result)[0] == f"times: mm:ss (and h:mm:ss) {SINCE}"


@pytest.mark.parametrize("header", ["elapsed (h:mm)", "elapsed (hh:mm)"])
def test_hours_and_minutes_where_the_header_shows_them(header: str) -> None:
    assert instants(reading_of(header, ["00:00", "09:05", "25:01"], start=START)) == after(0, 32700, 90060)


def test_a_third_part_shows_that_two_are_minutes_and_seconds() -> None:
    cells = ["59:58", "59:59.5", "1:00:00", "1:00:00,25", "100:00:01"]
    assert instants(reading_of("elapsed", cells, start=START)) == after(3598, 3599.5, 3600, 3600.25, 360001)
    assert instants(reading_of("elapsed", ["59:58.5", "59:59.0"], start=START)) == after(3598.5, 3599)


def test_a_start_that_is_given_makes_clocks_without_dates_elapsed_times() -> None:
    assert instants(reading_of("time", ["0:00:01", "0:10:01"], start=START)) == after(1, 601)


def test_the_texts_of_time_differences_are_read_as_pandas_reads_them() -> None:
    """Outside check: pandas.Timedelta of the same texts."""
    cells = ["0 days 00:00:00", "0 days 00:10:15.250000", "1 days 02:03:04", "12:34:56"]
    expected = after(*(pd.Timedelta(cell).total_seconds() for cell in cells))
    assert instants(reading_of("time", cells, start=START)) == expected
    texts = seconds(pa.array(cells), "mm:ss").to_pylist()
    assert [float(text) for text in texts] == [pd.Timedelta(cell).total_seconds() for cell in cells]


def test_what_is_no_stopwatch_time_is_set_aside_as_it_stands() -> None:
    result = reading_of(
        "elapsed (mm:ss)", [*(f"00:{second:02d}" for second in range(60)), "00:61", "soon", ""], start=START
    )
    assert len(instants(result)) == 60
    assert [(each.reason, each.time_text) for each in result.rejected] == [
        ("no-time", "00:61"),
        ("no-time", "soon"),
        ("no-time", ""),
    ]


@pytest.mark.parametrize(
    ("header", "cells", "options", "code", "words"),
    [
        (
            "elapsed",
            ["00:00", "10:15"],
            {"start": START},
            "time-two-readings",
            ("10 min 15 s", "10 h 15 min", "csv.time=elapsed-mm:ss", "=elapsed-hh:mm"),
        ),
        ("elapsed (mm:ss)", ["10:15"], {}, "no-start", ("csv.start=",)),
        ("time", ["125:30"], {}, "no-start", ("csv.start=",)),
        ("elapsed (s)", ["10"], {}, "no-start", ("csv.start=",)),
        (
            "time",
            ["00:10:15"],
            {},
            "time-without-date",
            ("time of day", "since a start", "csv.date=", "csv.start=", "csv.columns=HEADER=date"),
        ),
        ("time", ["00:10:15"], {"start": START, "date": "2031-03-04"}, "bad-option", ("csv.date", "csv.start")),
        ("time (UTC)", ["00:10:15"], {"start": START}, "time-without-date", ("csv.date=",)),
    ],
)
def test_what_is_not_said_is_refused_with_both_readings(
    header: str, cells: list[str], options: dict[str, str], code: str, words: tuple[str, ...]
) -> None:
    result = reading_of(header, cells, **options)
    assert result.code == code, result.said
    assert all(word in result.said for word in words), result.said


@pytest.mark.parametrize(("unit", "cells"), [("s", ["0", "1.5", "3600"]), ("ms", ["0", "1500", "3600000"])])
def test_counts_from_a_start_say_so(unit: str, cells: list[str]) -> None:
    result = reading_of(f"elapsed ({unit})", cells, start=START)
    assert instants(result) == after(0, 1.5, 3600)
    assert sentences(result)[0] == f"times: {unit} {SINCE}"


def test_a_long_recording_is_read_alike_in_all_blocks() -> None:
    cells = [f"{second // 3600}:{second // 60 % 60:02d}:{second % 60:02d}" for second in range(25_000)]
    start = int(AT.timestamp())
    assert instants(reading_of("time", cells, start=START)) == [
        iso((start + second) * 1_000_000) for second in range(25_000)
    ]


@pytest.mark.parametrize(("unit", "size"), [("min", 60), ("minutes", 60), ("h", 3600), ("hours", 3600)])
def test_minutes_and_hours_are_scaled_exactly(unit: str, size: int) -> None:
    """Outside check: Python's fractions of the same texts."""
    cells = ["0", "1", "0.1", "2,25", "+3.000001", "-0.5"]
    result = reading_of(f"elapsed ({unit})", cells, start=START)
    exact = [Fraction(cell.replace(",", ".")) * size * 1_000_000 for cell in cells]
    assert instants(result) == [iso(int(AT.timestamp()) * 1_000_000 + math.floor(each)) for each in exact]
    told = reading_of("time", cells, start=START, time=f"elapsed-{unit[:3] if size == 60 else 'h'}")
    assert instants(told) == instants(result)
    odd = reading_of(f"elapsed ({unit})", [*map(str, range(60)), "1e1x", "soon", ""], start=START)
    assert len(instants(odd)) == 60
    assert {each.reason for each in odd.rejected} == {"no-time"}
    assert len(odd.rejected) == 3


def test_a_start_that_is_given_settles_counts_that_are_no_dates() -> None:
    assert instants(reading_of("time (s)", ["0", "0.04"], start=START)) == after(0, 0.04)
    assert reading_of("time", ["0", "1"], start=START).code == "time-unit-not-said"
    dates = reading_of("timestamp (s)", ["1709280930"], start=START)
    assert instants(dates) == ["2024-03-01T08:15:30Z"]


def test_durations_as_iso_8601_writes_them() -> None:
    cells = ["PT0S", "PT10M15.25S", "PT1H0M1S", "P1DT1S"]
    assert instants(reading_of("elapsed", cells, start=START)) == after(0, 615.25, 3601, 86401)
    assert reading_of("time", cells).code == "no-start"


def test_what_the_header_or_the_option_says_of_elapsed_times_holds_against_other_words() -> None:
    assert reading_of("elapsed (mm:ss)", ["10:15"], date="2031-03-04").code == "no-start"
    assert reading_of("time", ["10", "20"], start=START, time="elapsed-mm:ss").code == "time-unit-contradicts"
