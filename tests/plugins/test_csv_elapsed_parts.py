"""Times since a start with two and with three parts in one column: decided by the order of rows, or refused."""

from __future__ import annotations

from datetime import datetime, timedelta

import pytest

from csv_instants import instants, iso, reading_of, sentences

START = "2024-03-13T09:00:00Z"


def after(*seconds: float) -> list[str]:
    begin = datetime.fromisoformat(START)
    return [iso(round((begin + timedelta(seconds=each)).timestamp() * 1_000_000)) for each in seconds]


def test_minutes_and_seconds_before_hours_are_told_by_the_order_of_rows() -> None:
    result = reading_of("elapsed", ["58:30", "59:59", "1:00:00", "1:00:01"], start=START)
    assert instants(result) == after(3510, 3599, 3600, 3601)
    assert any(
        "two parts read as mm:ss" in each and '"59:59" would be behind "1:00:00"' in each for each in sentences(result)
    )


def test_hours_and_minutes_between_times_with_seconds_are_told_by_the_order_of_rows() -> None:
    result = reading_of("elapsed", ["8:15", "8:15:30", "8:16"], start=START)
    assert instants(result) == after(29700, 29730, 29760)
    assert any("two parts read as hh:mm" in each for each in sentences(result))


@pytest.mark.parametrize(
    "cells",
    [
        ["15:30", "20:00:00"],  # 930 s or 55,800 s, both before 72,000 s
        ["8:15:30", "15:30", "8:16:30", "7:00"],  # out of order in both
        ["15:30", "15:40"],
        ["20:00:00", "15:30"],  # the newest first, or not
    ],
)
def test_times_that_two_readings_leave_in_order_are_refused(cells: list[str]) -> None:
    result = reading_of("elapsed", cells, start=START)
    assert (result.code, result.channels) == ("time-two-readings", {})
    assert "15 min 30 s, or 15 h 30 min" in result.said
    for way in ("elapsed-mm:ss", "elapsed-hh:mm"):
        assert len(instants(reading_of("elapsed", cells, start=START, time=way))) == len(cells)


def test_a_fraction_behind_two_parts_shows_that_they_are_minutes_and_seconds() -> None:
    result = reading_of("elapsed", ["15:30", "15:30.5"], start=START)
    assert instants(result) == after(930, 930.5)
    assert any('"15:30.5" has minutes first' in each for each in sentences(result))


def test_two_parts_far_behind_times_with_three_are_set_aside() -> None:
    cells = [f"{at // 3600}:{at // 60 % 60:02d}:{at % 60:02d}" for at in range(10_000)]
    result = reading_of("elapsed", [*cells, "15:30"], start=START)
    assert len(instants(result)) == 10_000
    assert [(each.record, each.reason) for each in result.rejected] == [(10_001, "no-time")]


def test_signs_and_numbers_beyond_all_bounds_do_no_harm_to_the_decision() -> None:
    result = reading_of("elapsed", ["-0:10", "+58:30", "9999999999:59", "1:00:00"], start=START)
    assert instants(result) == after(-10, 3510, 3600)
    assert len(result.rejected) == 1
    # In the other reading they are hours and minutes, and out of order.
    assert any("two parts read as mm:ss" in each for each in sentences(result))
