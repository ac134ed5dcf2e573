"""Times of day without dates: the first date is said, and a day passes where the clock falls over midnight."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pyarrow as pa
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from csv_canonical import canonical
from csv_instants import instants, iso, reading_of, sentences
from vambrace_plugins.importers.csv import Options
from vambrace_plugins.importers.csv.blocks import Block
from vambrace_plugins.importers.csv.dayclock import DayClock
from vambrace_plugins.importers.csv.layout import headings
from vambrace_plugins.importers.csv.options import check

DATE = "2031-03-04"


def test_the_date_goes_on_where_the_clock_falls_over_midnight() -> None:
    result = reading_of("time", ["22:00", "23:59:59.5", "00:00:00", "12:00", "23:00:00", "0:01"], "UTC", date=DATE)
    assert instants(result) == [
        "2031-03-04T22:00:00Z",
        "2031-03-04T23:59:59.500000Z",
        "2031-03-05T00:00:00Z",
        "2031-03-05T12:00:00Z",
        "2031-03-05T23:00:00Z",
        "2031-03-06T00:01:00Z",
    ]
    assert sentences(result) == [
        "times: dates from 2031-03-04 on, as csv.date says; the clock falls by more than half a day 2 times, and the "
        "date goes on by one (row 3, 6)"
    ]


@pytest.mark.parametrize(
    ("cells", "zone"),
    [
        (["11:59:58 PM", "12:00:01 AM"], "Europe/Berlin"),
        (["23:59:58 Europe/Berlin", "00:00:01 Europe/Berlin"], None),
        (["23:59:58+01:00", "00:00:01+01:00"], None),
        (["23:59:58+01", "00:00:01+01"], None),
        (["23:59:58[Europe/Berlin]", "00:00:01[Europe/Berlin]"], None),
        (["11:59:58 PM UTC+1", "12:00:01 AM UTC+1"], None),
        (["23:59:58", "00:00:01"], "Europe/Berlin"),
    ],
)
def test_clocks_in_any_notation_and_zone(cells: list[str], zone: str | None) -> None:
    """Outside check: zoneinfo gives the instants."""
    berlin = [datetime(2031, 3, 4, 23, 59, 58), datetime(2031, 3, 5, 0, 0, 1)]
    expected = [each.replace(tzinfo=ZoneInfo("Europe/Berlin")).astimezone(UTC) for each in berlin]
    found = instants(reading_of("time", cells, zone, date=DATE))
    assert found == [each.isoformat().replace("+00:00", "Z") for each in expected]


def test_without_midnight_only_the_date_is_recorded() -> None:
    result = reading_of("time (UTC)", ["08:00", "08:00", "20:00"], date=DATE)
    assert instants(result) == ["2031-03-04T08:00:00Z", "2031-03-04T08:00:00Z", "2031-03-04T20:00:00Z"]
    assert sentences(result) == ["times: dates from 2031-03-04 on, as csv.date says"]


@pytest.mark.parametrize(
    ("cells", "row", "words"),
    [
        (["10:00:05", "10:00:04"], 2, ('falls from "10:00:05" to "10:00:04"', "out of order", "a day lies between")),
        (["20:00", "08:00"], 2, ("falls",)),
        (["23:59:59", "00:00:00", "23:59:58"], 3, ("rises", "almost a whole day")),
    ],
)
def test_any_other_fall_is_refused(cells: list[str], row: int, words: tuple[str, ...]) -> None:
    result = reading_of("time", cells, "UTC", date=DATE)
    assert result.code == "time-two-readings"
    assert all(word in result.said for word in (f"row {row}", "Sort its rows", *words)), result.said


def test_half_a_day_exactly_is_no_midnight() -> None:
    assert reading_of("time", ["12:00:01", "00:00:01"], "UTC", date=DATE).code == "time-two-readings"
    assert instants(reading_of("time", ["12:00:02", "00:00:01"], "UTC", date=DATE))[1] == "2031-03-05T00:00:01Z"


def test_cells_without_a_time_decide_nothing_and_stay_as_they_are() -> None:
    cells = [f"23:{minute:02d}" for minute in range(60)] + ["", "late", "00:00"]
    result = reading_of("time", cells, "UTC", date=DATE)
    assert instants(result)[-1] == "2031-03-05T00:00:00Z"
    assert [(each.reason, each.time_text) for each in result.rejected] == [("no-time", ""), ("no-time", "late")]


def test_times_are_shown_as_the_file_writes_them() -> None:
    rows = ["23:59,band-A,60", "23:59,ring-B,61", "0:01,band-A,many", "0:01,ring-B,62"]
    text = "time,device,heart_rate\n" + "".join(f"{row}\n" for row in rows)
    result = canonical(text.encode(), Options(date=DATE), "UTC")
    assert [(each.record, each.found, each.time_text) for each in result.rejected] == [(3, "many", "0:01")]


def test_an_end_before_its_start_is_on_the_next_day() -> None:
    rows = "start time,end time,steps per interval\n23:58,23:59,5\n23:59,00:00,6\n00:00,00:01,7\n"
    result = canonical(rows.encode(), Options(date=DATE), "UTC")
    expected = ["2031-03-04T23:59:00Z", "2031-03-05T00:00:00Z", "2031-03-05T00:01:00Z"]
    assert instants(result, (1, "step_count")) == expected
    assert "times: an end before its start taken as on the next day" in sentences(result)


def test_a_date_that_is_not_needed_is_noted_and_one_that_is_none_refused() -> None:
    result = reading_of("time", ["2031-03-04T09:00:00Z"], date="2031-03-09")
    assert instants(result) == ["2031-03-04T09:00:00Z"]
    assert reading_of("time", ["09:00:00"], date="yesterday").code == "bad-option"


DEVICES = ("device", "band-A", "ring-B")


@pytest.mark.parametrize("order", ["interleaved", "grouped", "grouped over midnight"])
def test_rows_of_several_devices_agree_on_their_dates_or_are_refused(order: str) -> None:
    clocks = (
        ["22:00", "23:00", "23:59", "00:01"] if "midnight" in order or order == "interleaved" else ["08:00", "09:00"]
    )
    rows = [(clock, device) for clock in clocks for device in DEVICES[1:]]
    if order != "interleaved":
        rows.sort(key=lambda row: row[1])
    text = "time,device,heart_rate\n" + "".join(f"{clock},{device},60\n" for clock, device in rows)
    result = canonical(text.encode(), Options(date=DATE), "UTC")
    if order == "grouped over midnight":
        assert result.code == "time-two-readings"
        assert all(word in result.said for word in ("2031-03-05", "2031-03-04", '"ring-B"', "Split the file"))
        return
    last = "2031-03-05T00:01:00Z" if order == "interleaved" else "2031-03-04T09:00:00Z"
    assert [instants(result, (number, "heart_rate"))[-1] for number in (1, 2)] == [last, last]


def test_a_sparse_device_that_would_lag_a_day_behind_is_refused() -> None:
    rows = ["23:00,ring-B", "23:50,band-A", "00:10,band-A", "23:30,band-A", "23:31,ring-B"]
    text = "time,device,heart_rate\n" + "".join(f"{row},60\n" for row in rows)
    assert canonical(text.encode(), Options(date=DATE), "UTC").code == "time-two-readings"


def test_long_tables_count_their_days_over_all_signals() -> None:
    rows = [f"{clock},{word}" for clock in ("23:58", "0:01") for word in ("heart_rate,60,bpm", "power,9,W")]
    result = canonical(("time,signal,value,unit\n" + "\n".join(rows) + "\n").encode(), Options(date=DATE), "UTC")
    for signal in ("heart_rate", "power"):
        assert instants(result, (1, signal)) == ["2031-03-04T23:58:00Z", "2031-03-05T00:01:00Z"]


def test_days_are_counted_through_all_blocks() -> None:
    """Outside check: the instants are made with datetime, and only then written without their dates."""
    first = datetime(2031, 3, 4, 20, tzinfo=UTC)
    expected = [first + timedelta(seconds=11 * row) for row in range(55_000)]
    result = reading_of("time", [f"{each:%H:%M:%S}" for each in expected], "UTC", date=DATE)
    assert instants(result) == [iso(int(each.timestamp()) * 1_000_000) for each in expected]
    days = (expected[-1].date() - first.date()).days
    assert f"{days} times" in sentences(result)[0]
    assert sentences(result)[0].endswith("…)")


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.integers(0, 12 * 3600 - 1), min_size=1, max_size=40), st.lists(st.integers(0, 40), max_size=6))
def test_dates_do_not_depend_on_where_the_blocks_are_cut(steps: list[int], cuts: list[int]) -> None:
    """A day passes by the rule wherever steps of less than half a day lead over midnight."""
    at = [datetime(2031, 3, 4, 6) + timedelta(seconds=int(step)) for step in np.cumsum(steps)]
    cells = [f"{each:%H:%M:%S}" for each in at]
    heads = headings(["time", "heart_rate"], check(Options(date=DATE)))
    whole = Block.of_rows(range(1, len(cells) + 1), [[cell, "60"] for cell in cells], 2)
    edges = sorted({0, len(cells), *(min(cut, len(cells)) for cut in cuts)})
    parts = [
        Block(whole.records[begin:end], [column.slice(begin, end - begin) for column in whole.columns])
        for begin, end in pairwise(edges)
    ]
    clock = DayClock(heads, check(Options(date=DATE)), [])
    found = [text for block in clock.blocks(iter(parts)) for text in block.columns[0].to_pylist()]
    days = (at[0].date() - date(2031, 3, 4)).days
    assert found == [f"{each - timedelta(days=days):%Y-%m-%d %H:%M:%S}" for each in at]
    assert all(isinstance(block.columns[0], pa.Array) for block in parts)
