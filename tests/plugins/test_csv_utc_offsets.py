"""Offsets from UTC behind times, in headers and in columns of their own: read where they are legal, else never."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from csv_canonical import Canonical, canonical
from csv_instants import instants, iso
from vambrace_plugins.importers.csv import Options

CLOCK = "2024-03-13 09:00:00"
# As Python's datetime reckons: the clock less the offset.
LEGAL = [
    ("+05:45", 345),
    ("+0545", 345),
    ("+05", 300),
    ("+5:45", 345),
    ("+5", 300),
    ("-09:30", -570),
    ("−03:30", -210),
    ("+14:00", 840),
    ("-00:00", 0),
]
IMPOSSIBLE = ["+01:75", "+25:00", "+24:00", "+0575", "+99", "UTC+05:60"]
ODD = ["+0130:15", "+01:30:15", "+01:3", "+001", "+530", "+1:5", "+123456"]


def read(text: str, zone: str | None = None, **options: object) -> Canonical:
    return canonical(text.encode(), Options(**options), zone)  # type: ignore[arg-type]


def utc(minutes: float) -> str:
    at = datetime.fromisoformat(CLOCK).replace(tzinfo=UTC) - timedelta(minutes=minutes)
    return iso(round(at.timestamp() * 1_000_000))


@pytest.mark.parametrize(("offset", "minutes"), LEGAL)
def test_legal_offsets_are_read_wherever_they_stand(offset: str, minutes: int) -> None:
    wanted = [utc(minutes)]
    assert instants(read(f"time,heart_rate\n{CLOCK}{offset},70\n")) == wanted
    assert instants(read(f"time ({offset}),heart_rate\n{CLOCK},70\n")) == wanted
    assert instants(read(f"time,tz,heart_rate\n{CLOCK},{offset},70\n", columns="tz=offset")) == wanted


@pytest.mark.parametrize("offset", [*IMPOSSIBLE, *ODD])
def test_times_with_other_offsets_are_set_aside(offset: str) -> None:
    result = read(f"time,heart_rate\n{CLOCK}{offset},70\n{CLOCK}+01:00,71\n", "Europe/Berlin")
    assert instants(result) == [utc(60)]
    assert [(each.record, each.reason) for each in result.rejected] == [(1, "no-time")]


@pytest.mark.parametrize("offset", IMPOSSIBLE)
def test_an_impossible_offset_in_a_header_is_refused(offset: str) -> None:
    table = f"time ({offset}),heart_rate\n{CLOCK},70\n"
    result = read(table)
    assert (result.code, result.channels) == ("zone-word", {})
    assert "no clock is set so" in result.said
    assert instants(read(table, "Asia/Kathmandu", columns=f"time ({offset})=time")) == [utc(345)]


@pytest.mark.parametrize("offset", ODD)
def test_an_odd_offset_in_a_header_is_taken_for_none(offset: str) -> None:
    assert read(f"time ({offset}),heart_rate\n{CLOCK},70\n").code == "no-time-zone"


@pytest.mark.parametrize("offset", ["+01:75", "+25:00", "+0130:15", "UTC+05:60", "+01:3", "soon"])
def test_rows_beside_an_offset_that_is_none_are_set_aside(offset: str) -> None:
    table = f"time,tz,heart_rate\n{CLOCK},{offset},70\n{CLOCK},+01:00,71\n"
    result = read(table, "Europe/Berlin", columns="tz=offset")
    assert instants(result) == [utc(60)]
    assert [(each.record, each.reason) for each in result.rejected] == [(1, "no-time")]


@pytest.mark.parametrize("number", ["-300", "+330", "60", "1", "3600", "+60", "-18000", "+0575"])
def test_numbers_without_a_unit_in_a_column_of_offsets_are_refused(number: str) -> None:
    table = f"time,utc offset,heart_rate\n{CLOCK},+02:00,70\n{CLOCK},{number},71\n"
    result = read(table, columns="utc offset=offset")
    assert (result.code, result.channels) == ("offset-two-readings", {})
    assert f'"{number}"' in result.said
    assert len(instants(read(table, "UTC", columns="utc offset=-"))) == 2


def test_the_readings_of_a_number_stand_side_by_side() -> None:
    result = read(f"time,utc offset,heart_rate\n{CLOCK},-300,70\n", columns="utc offset=offset")
    assert "-05:00 (in minutes)" in result.said
    assert "-03:00 (in hours and minutes)" in result.said


@pytest.mark.parametrize(
    ("header", "cell", "minutes"),
    [
        ("utc offset (min)", "-300", -300),
        ("utc offset [minutes]", "60", 60),
        ("UTC_offset_min", "+05", 5),
        ("tz offset (h)", "5.5", 330),
        ("tz offset (hours)", "-3", -180),
        ("utc offset (s)", "3600", 60),
        ("utc offset", "0", 0),
        ("utc offset", "+5.5", 330),
        ("utc offset (min)", "+05:30", 330),
    ],
)
def test_numbers_in_a_column_of_offsets_count_the_unit_that_its_header_names(
    header: str, cell: str, minutes: int
) -> None:
    table = f"time,{header},heart_rate\n{CLOCK},{cell},70\n"
    assert instants(read(table, columns=f"{header}=offset")) == [utc(minutes)]


@pytest.mark.parametrize("cell", ["-0500", "90", "100000"])
def test_seconds_that_are_no_offset_are_set_aside(cell: str) -> None:
    table = f"time,utc offset (s),heart_rate\n{CLOCK},{cell},70\n{CLOCK},3600,71\n"
    result = read(table, "UTC", columns="utc offset (s)=offset")
    assert instants(result) == [utc(60)]
    assert [(each.record, each.reason) for each in result.rejected] == [(1, "no-time")]


def test_a_unit_in_a_name_without_spaces() -> None:
    text = "localTime,utcOffsetMin,heart_rate\n2024-03-13 09:00:00,60,70\n"
    result = canonical(text.encode(), Options(columns="utcOffsetMin=offset"))
    assert instants(result) == ["2024-03-13T08:00:00Z"]
