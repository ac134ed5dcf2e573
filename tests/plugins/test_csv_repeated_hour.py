"""The hour that a clock shows twice: set aside, or told apart by the order of the rows where the option says so."""

from __future__ import annotations

import io
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any, BinaryIO, cast
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from csv_canonical import Canonical
from csv_instants import instants, iso, reading_of, sentences
from csv_reading import Slow
from vambrace.api.inspecting import inspect
from vambrace.clock import to_utc
from vambrace.pipeline.reading import read
from vambrace.plugin import Source, SourceBatch, Times
from vambrace_plugins.importers.csv import CsvImporter, Options
from vambrace_plugins.importers.csv.roworder import RowOrder

ROW_ORDER: dict[str, Any] = {"repeated_hour": "row-order"}
BERLIN = datetime(2026, 10, 25, tzinfo=UTC)


def every(minutes: float, count: int, zone: str, start: datetime = BERLIN) -> tuple[list[str], list[str]]:
    """Return clock times of a zone and the instants they were made from; zoneinfo is the outside source."""
    at = [start + timedelta(minutes=minutes * row) for row in range(count)]
    walls = [f"{each.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M:%S}" for each in at]
    return walls, [each.isoformat().replace("+00:00", "Z") for each in at]


@pytest.mark.parametrize(
    ("zone", "start"),
    [
        ("Europe/Berlin", BERLIN),
        ("America/New_York", datetime(2026, 11, 1, 5, tzinfo=UTC)),
        ("Australia/Lord_Howe", datetime(2026, 4, 4, 14, tzinfo=UTC)),
        ("Africa/Casablanca", datetime(2026, 2, 15, 0, 30, tzinfo=UTC)),
    ],
)
@pytest.mark.parametrize("header", ["time", "time ({zone})"])
def test_both_passes_by_row_order(zone: str, start: datetime, header: str) -> None:
    walls, expected = every(5, 40, zone, start)
    named = "{zone}" in header
    result = reading_of(header.format(zone=zone), walls, None if named else zone, **ROW_ORDER)
    assert instants(result) == expected
    assert not result.rejected
    rows = [row for row, wall in enumerate(walls, 1) if walls.count(wall) == 2]
    first, last, twice = rows[0], rows[-1], len(rows)
    told = [text for text in sentences(result) if "row order" in text]
    assert told == [
        f"times: {twice} rows of the hour that comes twice on {expected[first - 1][:10]} (UTC) told apart by row "
        f"order, as csv.repeated_hour says: rows {first} to {last}, the second pass from row {first + twice // 2}"
    ]


def test_without_the_option_the_rows_are_set_aside() -> None:
    walls, expected = every(5, 40, "Europe/Berlin")
    result = reading_of("time", walls, "Europe/Berlin")
    assert instants(result) == [at for wall, at in zip(walls, expected, strict=True) if walls.count(wall) == 1]
    assert {each.reason for each in result.rejected} == {"time-ambiguous"}
    assert len(result.rejected) == 24


@pytest.mark.parametrize(
    ("walls", "kept", "why"),
    [
        (["01:55", "02:00", "02:30", "03:00"], 2, "does not fall back"),
        (["02:10", "02:40"], 0, "does not fall back"),
        (["02:10", "02:50", "02:05", "02:55", "02:01", "03:00"], 1, "more than once"),
        (["02:20", "02:30", "02:10", "03:00"], 1, "out of order"),
        (["03:10", "02:50", "02:05", "03:00"], 2, "not in the order"),
        (["02:50", "02:05", "01:50"], 1, "not in the order"),
    ],
)
def test_where_the_order_tells_nothing_rows_stay_set_aside_and_that_is_noted(
    walls: list[str], kept: int, why: str
) -> None:
    table = "time,heart_rate\n" + "".join(f"2026-10-25 {wall}:00,60\n" for wall in walls)
    result, notes = with_notes(table, "Europe/Berlin")
    assert len(result.channels.get((1, "heart_rate"), [])) == kept
    assert {each.reason for each in result.rejected} == {"time-ambiguous"}
    assert [why in note for note in notes] == [True], notes


def with_notes(table: str, zone: str | None, pieces: tuple[int, ...] = (7,)) -> tuple[Canonical, list[str]]:
    """Read with the option, and return the notes of what stays in doubt too."""
    data = table.encode()
    source = Source("table.csv", len(data), lambda: cast(BinaryIO, Slow(data, pieces)), Options(**ROW_ORDER))
    result = Canonical()
    result.reading = read(CsvImporter(), source, result, str, zone)
    return result, [message for rule, _, message in source.notes if rule == "repeated-hour"]


def test_each_device_and_signal_has_its_own_order() -> None:
    walls, expected = every(10, 20, "Europe/Berlin")
    rows = [f"{wall},{device},60" for device in ("band-A", "ring-B") for wall in walls]
    result, notes = with_notes("time,device,heart_rate\n" + "\n".join(rows) + "\n", "Europe/Berlin")
    assert notes == []
    assert [instants(result, (number, "heart_rate")) for number in (1, 2)] == [expected, expected]
    long = [f"{wall},{word}" for wall in walls for word in ("heart_rate,60,bpm", "power,9,W")]
    result, notes = with_notes("time,signal,value,unit\n" + "\n".join(long) + "\n", "Europe/Berlin")
    assert notes == []
    assert [instants(result, (1, signal)) for signal in ("heart_rate", "power")] == [expected, expected]


def test_starts_and_ends_of_intervals_have_their_own_order() -> None:
    walls, expected = every(10, 21, "Europe/Berlin")
    rows = [f"{begin},{end},60" for begin, end in pairwise(walls)]
    result, notes = with_notes("start time,end time,heart_rate\n" + "\n".join(rows) + "\n", "Europe/Berlin")
    assert (instants(result), notes, result.rejected) == (expected[:-1], [], [])


def test_days_of_a_spreadsheet_and_offsets_in_the_cells() -> None:
    walls, expected = every(15, 16, "Europe/Berlin")
    days = [(datetime.fromisoformat(wall) - datetime(1899, 12, 30)) / timedelta(days=1) for wall in walls]
    options = {"time": "serial-1900", **ROW_ORDER}
    assert instants(reading_of("time", [f"{day:.9f}" for day in days], "Europe/Berlin", **options)) == expected
    berlin = [datetime.fromisoformat(at).astimezone(ZoneInfo("Europe/Berlin")).isoformat() for at in expected]
    assert instants(reading_of("time", berlin, **ROW_ORDER)) == expected


def test_an_option_that_makes_no_sense_is_refused_and_no_zone_is_asked_for() -> None:
    assert reading_of("time", ["2026-10-25 02:30:00"], "UTC", repeated_hour="first").code == "bad-option"
    assert reading_of("time", ["2026-10-25 02:30:00"], None, **ROW_ORDER).code == "no-time-zone"
    utc = reading_of("time", ["2026-10-25 02:30:00Z", "2026-10-25 02:00:00Z"], None, **ROW_ORDER)
    assert instants(utc) == ["2026-10-25T02:30:00Z", "2026-10-25T02:00:00Z"]


def test_a_long_file_is_read_alike_through_all_blocks() -> None:
    walls, expected = every(0.2, 27_000, "Europe/Berlin", BERLIN - timedelta(hours=50))
    result = reading_of("time", walls, "Europe/Berlin", **ROW_ORDER)
    assert (instants(result), result.rejected) == (expected, [])


def test_what_breaks_off_is_raised_once_and_the_rows_before_it_are_read() -> None:
    walls, expected = every(10, 20, "Europe/Berlin")
    table = "time,heart_rate\n" + "".join(f"{wall},60\n" for wall in walls) + "1,2,3\n" + f"{walls[0]},60\n"
    result, _ = with_notes(table, "Europe/Berlin")
    assert result.code == "damaged-file"
    assert [iso(at) for at, _ in result.channels[1, "heart_rate"]] == expected


@settings(max_examples=60, deadline=None, derandomize=True)
@given(st.lists(st.integers(1, 2000), min_size=2, max_size=40), st.lists(st.integers(0, 40), max_size=4))
def test_no_instant_is_ever_wrong_and_none_depends_on_the_cuts(steps: list[int], cuts: list[int]) -> None:
    """Rows in the order of time, at any distance: an instant is the true one, or its row is set aside."""
    at = [BERLIN - timedelta(hours=1) + timedelta(seconds=int(step)) for step in np.cumsum(steps)]
    walls = [f"{each.astimezone(ZoneInfo('Europe/Berlin')):%Y-%m-%d %H:%M:%S}" for each in at]
    batch = SourceBatch(np.arange(len(walls)), Times(walls), (), 1)
    found = []
    for edges in ([0, len(walls)], sorted({0, len(walls), *(min(cut, len(walls)) for cut in cuts)})):
        parts = [
            replace(batch, record=batch.record[begin:end], time=Times(walls[begin:end]))
            for begin, end in pairwise(edges)
        ]
        order = RowOrder(Source("a.csv", 0, io.BytesIO, zone="Europe/Berlin"))
        for part in parts:
            order.survey(part)
        told = [to_utc(order.told(part).time, "Europe/Berlin") for part in parts]
        found.append((np.concatenate([one.us for one in told]), np.concatenate([one.fault for one in told])))
    (us, fault), (cut_us, cut_fault) = found
    assert us.tolist() == cut_us.tolist()
    assert fault.tolist() == cut_fault.tolist()
    true = np.array([int(each.timestamp()) * 1_000_000 for each in at])
    assert (us[fault == 0] == true[fault == 0]).all()


def test_values_that_are_set_aside_name_the_option_and_it_works(tmp_path: Path) -> None:
    walls, _ = every(10, 20, "Europe/Berlin")
    path = tmp_path / "night.csv"
    path.write_text("time,heart_rate\n" + "".join(f"{wall},60\n" for wall in walls))
    (before,) = inspect([path], zone="Europe/Berlin")
    (finding,) = [each for each in before.findings if each["rule"] == "time-ambiguous"]
    assert (finding["count"], finding["severity"]) == (12, "warning")
    assert "--option csv.repeated_hour=row-order" in finding["message"]
    (after,) = inspect([path], zone="Europe/Berlin", options={"csv": {"repeated_hour": "row-order"}})
    assert (after.rows_kept, after.rows_set_aside, after.findings) == (20, 0, ())
