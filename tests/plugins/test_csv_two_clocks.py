"""Headers and cells that say two clocks of one time: refused, and the way on that is named holds."""

from __future__ import annotations

import pytest

from csv_canonical import canonical
from csv_instants import instants
from vambrace_plugins.importers.csv import Options


@pytest.mark.parametrize(
    ("date", "time", "at"),
    [
        ("date (UTC)", "time (local)", "09:10:00"),
        ("date (local)", "time (UTC)", "09:10:00"),
        ("date (UTC+1)", "time (UTC)", "09:10:00"),
        ("date (UTC)", "time (UTC+1)", "08:10:00"),
    ],
)
def test_dates_of_another_clock_than_the_times(date: str, time: str, at: str) -> None:
    table = f"{date},{time},heart_rate\n2024-03-13,09:10:00,70\n".encode()
    result = canonical(table, Options(), "Asia/Tokyo")
    assert result.code == "zone-two-readings"
    way = f"csv.columns={time}=time"
    assert way in result.said
    told = canonical(table, Options(columns=way.removeprefix("csv.columns=")), "Asia/Tokyo")
    assert instants(told) == [f"2024-03-13T{at}Z"]


def test_dates_and_times_of_one_clock_are_read() -> None:
    for one in ("(UTC)", "(local)"):
        table = f"date {one},time {one},heart_rate\n2024-03-13,09:10:00,70\n".encode()
        at = "09:10:00" if one == "(UTC)" else "00:10:00"
        assert instants(canonical(table, Options(), "Asia/Tokyo")) == [f"2024-03-13T{at}Z"]


@pytest.mark.parametrize("header", ["time (UTC-5)", "time (Europe/Berlin)", "local time"])
def test_zulu_cells_under_a_header_of_another_clock(header: str) -> None:
    table = f"{header},heart_rate\n2024-03-13 09:10:00Z,70\n".encode()
    result = canonical(table)
    assert result.code == "zone-two-readings"
    assert "2024-03-13 09:10:00Z" in result.said
    told = canonical(table, Options(columns=f"{header}=time"))
    assert instants(told) == ["2024-03-13T09:10:00Z"]
