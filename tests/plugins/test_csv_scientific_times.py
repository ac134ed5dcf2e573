"""Counts in scientific notation: read where their digits reach the second, refused where they are lost."""

from __future__ import annotations

from decimal import Decimal

import pytest

from csv_instants import instants, iso, reading_of, sentences

EPOCHS = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}


@pytest.mark.parametrize(
    ("unit", "cells", "step"),
    [
        ("s", ["1.709280930E+09", "1.709280931E+09"], "1 s"),
        ("s", ["1.70928093025e9", "1.709280931e9"], "0.01 s"),
        ("ms", ["1.709280930E+12", "1.709280931E+12"], "1 s"),
        ("ms", ["1.70928093025E+12", "1.709280931E+12"], "0.01 s"),
        ("us", ["1.70928093025E+15"], "0.01 s"),
        ("ns", ["1,709280930E+18"], "1 s"),
        # The longest shows how many digits are written; the other ends in zeros.
        ("ms", ["1.7092809E+12", "1.709280931E+12"], "1 s"),
    ],
)
def test_digits_that_reach_the_second(unit: str, cells: list[str], step: str) -> None:
    """Outside check: decimal arithmetic of the same texts."""
    result = reading_of(f"timestamp ({unit})", cells)
    exact = [Decimal(cell.replace(",", ".")) / EPOCHS[unit] * 1_000_000 for cell in cells]
    assert instants(result) == [iso(int(each)) for each in exact]
    assert f"times: counts in scientific notation, with digits to {step}" in sentences(result)


@pytest.mark.parametrize(
    ("header", "cells", "lost"),
    [
        ("timestamp (ms)", ["1.7725E+12"], "100,000 s"),
        ("timestamp", ["1.7725E+12", "1.77251E+12"], "10,000 s"),
        ("timestamp (s)", ["1.70928093E+09"], "10 s"),
        ("timestamp (ns)", ["1.70928E+18"], "10,000 s"),
    ],
)
def test_digits_that_are_lost(header: str, cells: list[str], lost: str) -> None:
    result = reading_of(header, cells)
    assert result.code == "time-rounded"
    assert all(word in result.said for word in (cells[-1], lost, "lost", "all digits")), result.said


def test_days_and_elapsed_seconds() -> None:
    days = reading_of("time", ["4.53523441E+04"], "UTC", time="serial-1900")
    assert days.code == "time-rounded"
    days = reading_of("time", ["4.5352344097E+04"], "UTC", time="serial-1900")
    assert instants(days) == ["2024-03-01T08:15:29.981000Z"]
    start = "2031-03-04T09:00:00Z"
    assert instants(reading_of("elapsed (s)", ["1.25E-01", "1.5E+00"], start=start)) == [
        "2031-03-04T09:00:00.125000Z",
        "2031-03-04T09:00:01.500000Z",
    ]
    assert reading_of("elapsed (s)", ["1.5E+02"], start=start).code == "time-rounded"


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        (["20240301081530", "20240301235959"], ["2024-03-01T08:15:30Z", "2024-03-01T23:59:59Z"]),
        (["20240301081530.25"], ["2024-03-01T08:15:30.250000Z"]),
        (["202403010815"], ["2024-03-01T08:15:00Z"]),
    ],
)
def test_digits_that_are_a_date_and_a_clock(cells: list[str], expected: list[str]) -> None:
    result = reading_of("time (UTC)", cells)
    assert instants(result) == expected
    assert "times: digits read as a date and a clock, as they are a date in no unit since 1970" in sentences(result)


def test_digits_that_are_said_to_be_counts_are_no_dates() -> None:
    start = "2031-03-04T09:00:00Z"
    assert instants(reading_of("elapsed (ns)", ["20240301081530"], start=start)) == ["2031-03-04T14:37:20.301081Z"]
    assert reading_of("time", ["20240301081530"], start=start).code == "time-unit-not-said"
    assert reading_of("time", ["20240301081530", "20249999999999", "20250000000000"]).code == "time-unit-not-said"
    assert reading_of("timestamp (ms)", ["1709280930250"]).code == ""
