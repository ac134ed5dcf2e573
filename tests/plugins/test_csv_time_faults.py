"""Times that a table gives in two ways, in a second column or beyond all bounds: refused, and never read wrongly."""

from __future__ import annotations

import pytest

from csv_canonical import Canonical, canonical
from csv_instants import instants
from csv_reading import ok
from vambrace_plugins.importers.csv import Options

Z0 = "2024-03-13T09:00:00Z"
Z1 = "2024-03-13T10:00:00Z"


def read(text: str, zone: str | None = None, **options: object) -> Canonical:
    return canonical(text.encode(), Options(**options), zone)  # type: ignore[arg-type]


def refused(result: Canonical, code: str, *words: str) -> None:
    assert result.code == code, (result.code, result.said, result.channels)
    assert not result.channels
    for word in words:
        assert word in result.said


@pytest.mark.parametrize("header", ["AM/PM", "am_pm", "Meridiem", "half", ""])
def test_am_and_pm_in_a_column_of_their_own_are_not_passed_over(header: str) -> None:
    table = f"date,time (UTC),{header},heart_rate\n2024-03-13,11:59:00,AM,71\n2024-03-13,01:00:00,PM,72\n"
    result = read(table)
    name = header or "column 3"
    refused(result, "time-two-readings", f'"{name}"', "23:59:00", "11:59:00", f"csv.columns={name}=-")
    assert instants(read(table, columns=f"{name}=-")) == ["2024-03-13T11:59:00Z", "2024-03-13T01:00:00Z"]


def test_am_and_pm_beside_times_of_day_without_dates_are_named_before_the_order_of_rows() -> None:
    result = read("time (UTC),ampm,heart_rate\n12:00:00,PM,71\n01:00:00,PM,72\n", date="2024-03-13")
    refused(result, "time-two-readings", "13:00:00", "01:00:00")


def test_a_column_of_am_and_pm_says_nothing_new_where_the_times_have_them() -> None:
    assert instants(read("time (UTC),AM/PM,heart_rate\n2024-03-13 01:00:00 PM,PM,71\n")) == ["2024-03-13T13:00:00Z"]


@pytest.mark.parametrize("second", ["time.1", "time 2", "Time_2", "ring-B time", "power time", "", "device time"])
def test_a_second_time_that_nobody_reads_is_refused(second: str) -> None:
    table = f"time,heart_rate,{second},power\n{Z0},70,{Z1},100\n"
    result = read(table)
    name = second or "column 3"
    refused(result, "time-two-columns", f'"{name}"', '"time"', f"csv.columns={name}=-")
    left = read(table, columns=f"{name}=-")
    assert instants(left) == [Z0]
    assert not ok(table, columns=f"{name}=-").rules()


def test_all_columns_of_second_times_are_named_at_once() -> None:
    table = f"time,heart_rate,time.1,power,time.2,cadence (rpm)\n{Z0},70,{Z1},100,{Z1},90\n"
    result = read(table)
    refused(result, "time-two-columns", "csv.columns=time.1=-; time.2=-")
    assert instants(read(table, columns="time.1=-; time.2=-")) == [Z0]


@pytest.mark.parametrize(
    ("header", "cells"),
    [
        ("created time", [Z1, Z0]),
        ("lap time", ["1", "2"]),
        ("session start time", [Z0] * 3),
        ("moving time", ["0", "1"]),
    ],
)
def test_other_columns_beside_the_time_change_nothing(header: str, cells: list[str]) -> None:
    rows = "".join(f"2024-03-13T09:00:0{at}Z,7{at},{cell}\n" for at, cell in enumerate(cells))
    assert len(instants(read(f"time,heart_rate,{header}\n{rows}"))) == len(cells)


@pytest.mark.parametrize(
    ("header", "time", "cell", "reading"),
    [
        ("ms", "2024-03-13 09:00:00", "125", "2024-03-13 09:00:00.125"),
        ("Millisecond", "2024-03-13T09:00:00Z", "25", "2024-03-13T09:00:00.025Z"),
        ("msec", "13.03.2024 09:00:00", "5", "13.03.2024 09:00:00.005"),
        ("fraction", "2024-03-13 09:00:00", "0.125", "2024-03-13 09:00:00.125"),
        ("milliseconds", "1710320400", "125", "1710320400.125"),
        ("microseconds", "2024-03-13 09:00:00", "125000", "2024-03-13 09:00:00.125000"),
        ("ms", "2024-03-13 09:00:00", "125.0", "2024-03-13 09:00:00.1250"),
        ("ms", "2024-03-13 09:00:00", "25,5", "2024-03-13 09:00:00.0255"),
        ("ns", "2024-03-13 09:00:00", "125000", "2024-03-13 09:00:00.000125000"),
        ("fraction", "2024-03-13 09:00:00", "125", "2024-03-13 09:00:00.125"),
        ("time ms", "2024-03-13 09:00:00", "125", "2024-03-13 09:00:00.125"),
        ("sec", "2024-03-13 09:00", "7", "2024-03-13 09:00:07"),
        ("sec", "2024-03-13 09:00", "7.25", "2024-03-13 09:00:07.25"),
    ],
)
def test_a_column_that_may_finish_the_time_is_not_dropped(header: str, time: str, cell: str, reading: str) -> None:
    cell = f'"{cell}"' if "," in cell else cell
    table = f"time (UTC),{header},heart_rate\n{time},0,70\n{time},{cell},71\n"
    options = {"time": "epoch-s"} if time.isdigit() else {}
    refused(read(table, **options), "time-two-readings", f'"{header}"', reading, f"csv.columns={header}=-")
    assert len(instants(read(table, columns=f"{header}=-", **options))) == 2


@pytest.mark.parametrize(
    ("header", "time", "cells"),
    [
        ("ms", "2024-03-13 09:00:00.125", ["125", "125"]),
        ("ms", "2024-03-13 09:00:00", ["0", "0"]),
        ("ms", "2024-03-13 09:00:00", ["850", "1012"]),
        ("sec", "2024-03-13 09:00:07", ["7", "8"]),
        ("AM/PM", "2024-03-13 09:00:07", ["", ""]),
    ],
)
def test_a_column_that_can_be_no_part_of_the_time_changes_nothing(header: str, time: str, cells: list[str]) -> None:
    rows = "".join(f"{time},{cell},70\n" for cell in cells)
    assert len(instants(read(f"time (UTC),{header},heart_rate\n{rows}"))) == 2


@pytest.mark.parametrize(
    ("cells", "shown"), [(["900", "1305"], "13:05"), (["90000", "130510"], "13:05:10"), (["090000"], "09:00:00")]
)
def test_digits_beside_a_date_may_be_times_of_day(cells: list[str], shown: str) -> None:
    rows = "".join(f"2031-03-04,{cell},70\n" for cell in cells)
    result = canonical(f"date,time,heart_rate\n{rows}".encode(), zone="UTC")
    assert result.code == "time-notation"
    assert f"it may be the time of day {shown}" in result.said
