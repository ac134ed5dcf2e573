"""Cells behind the rows that decisions are made from, which would change the times: refused or set aside alone."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pytest

from csv_canonical import Canonical, canonical
from vambrace_plugins.importers.csv import Options
from vambrace_plugins.importers.csv.rows import ROWS

LATE = ROWS + 300
START = datetime(2024, 3, 13, 9, tzinfo=UTC)


def late(header: str, row: Callable[[datetime], str], odd: str, **options: str) -> Canonical:
    """Read a table of which one row, behind the first block, is another."""
    rows = [row(START + timedelta(seconds=at)) for at in range(LATE + 200)]
    rows[LATE] = odd
    return canonical(("\n".join([header, *rows]) + "\n").encode(), Options(**options), "UTC")


@pytest.mark.parametrize("name", ["AM/PM", "x", ""])
def test_half_days_beside_late_times(name: str) -> None:
    result = late(f"time,{name},heart_rate", lambda time: f"{time:%Y-%m-%d %H:%M:%S},,70", "2024-03-13 11:51:40,PM,71")
    assert result.code == "time-two-readings"
    assert '"2024-03-13 11:51:40"' in result.said


def test_fractions_beside_late_times() -> None:
    result = late("time,millis,heart_rate", lambda time: f"{time:%Y-%m-%d %H:%M:%S},,70", "2024-03-13 11:51:40,250,71")
    assert result.code == "time-two-readings"


@pytest.mark.parametrize("cell", ["1.710E+09", "1.7103307e9"])
def test_late_counts_that_are_rounded(cell: str) -> None:
    result = late("time,heart_rate", lambda time: f"{time.timestamp():.0f},70", f"{cell},71")
    assert result.code == "time-rounded"
    assert f'"{cell}"' in result.said


def test_late_counts_with_all_digits() -> None:
    result = late("time,heart_rate", lambda time: f"{time.timestamp():.0f},70", "1.710330700E+09,71")
    assert result.channels[1, "heart_rate"][LATE] == (1_710_330_700_000_000, 71)


@pytest.mark.parametrize("cell", ["11:51:40 PM", "11:51:40 a.m."])
def test_one_half_day_among_times_of_24_hours_is_set_aside_alone(cell: str) -> None:
    result = late("time,heart_rate", lambda time: f"{time:%H:%M:%S},70", f"{cell},71", date="2024-03-13")
    assert [(each.record, each.reason) for each in result.rejected] == [(LATE + 1, "no-time")]
    assert len(result.channels[1, "heart_rate"]) == LATE + 199


def test_one_time_of_24_hours_among_half_days_is_set_aside_alone() -> None:
    result = late("time,heart_rate", lambda time: f"{time:%I:%M:%S %p},70", "14:51:40,71", date="2024-03-13")
    assert [(each.record, each.reason) for each in result.rejected] == [(LATE + 1, "no-time")]
