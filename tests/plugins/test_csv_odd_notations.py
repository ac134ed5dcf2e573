"""Times as other programs write them: read where they have one reading, else refused with a sentence that helps."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from csv_canonical import Canonical, canonical
from csv_instants import instants, iso, reading_of, sentences
from vambrace_plugins.importers.csv import Options

AT = datetime(2024, 3, 13, 9, 0, 0, tzinfo=UTC)


def text_of(moment: datetime) -> str:
    return iso(round(moment.timestamp() * 1_000_000))


def read(text: str, zone: str | None = None, **options: object) -> Canonical:
    return canonical(text.encode(), Options(**options), zone)  # type: ignore[arg-type]


def refused(result: Canonical, code: str, *words: str) -> None:
    assert (result.code, result.channels) == (code, {}), result.said
    for word in words:
        assert word in result.said


@pytest.mark.parametrize("days", [0, 1, 5, 40])
@pytest.mark.parametrize("shape", ["%a %b %d %H:%M:%S %Y", "%b %d %H:%M:%S %Y", "%a %b %e %H:%M:%S %Y"])
def test_the_form_of_c_has_its_year_last(days: int, shape: str) -> None:
    moments = [AT + timedelta(days=days, seconds=at) for at in range(3)]
    result = reading_of("time (UTC)", [each.strftime(shape) for each in moments])
    assert instants(result) == [text_of(each) for each in moments]
    assert instants(reading_of("time", [moments[0].ctime()], "UTC")) == [text_of(moments[0])]


def test_a_zone_before_the_year_is_kept_where_it_is_utc() -> None:
    assert instants(reading_of("time", ["Wed Mar 13 09:00:00 UTC 2024"], "Europe/Berlin")) == [text_of(AT)]
    assert instants(reading_of("time", ["Wed Mar 13 10:30:00 +0130 2024"])) == [text_of(AT)]
    other = reading_of("time", ["Wed Mar 13 09:00:00 CET 2024"], "Europe/Berlin")
    assert other.code or not other.channels


def test_the_wrong_weekday_before_such_a_time_makes_it_none() -> None:
    result = reading_of("time (UTC)", ["Wed Mar 13 09:00:00 2024", "Wed Mar 14 09:00:00 2024"])
    assert instants(result) == [text_of(AT)]
    assert [each.record for each in result.rejected] == [2]


@pytest.mark.parametrize(("offset", "hours"), [("+0100", 1), ("-0530", -5.5), ("+0000", 0)])
def test_the_form_of_web_logs_is_read(offset: str, hours: float) -> None:
    result = reading_of("time", [f"13/Mar/2024:09:00:00 {offset}"])
    assert instants(result) == [text_of(AT - timedelta(hours=hours))]


@pytest.mark.parametrize(
    "text",
    [
        "20240313_090000",
        "20240313-090000",
        "20240313 090000",
        "20240313_0900",
        "20240313090000000",
        "20240313_090000000",
        "20240313_090000.000",
    ],
)
def test_digits_of_a_date_and_a_clock_may_be_parted(text: str) -> None:
    result = reading_of("time (UTC)", [text])
    assert instants(result) == [text_of(AT)]
    assert any("digits read as a date and a clock" in each for each in sentences(result))


def test_parted_digits_are_no_counts_whatever_the_options_say() -> None:
    result = reading_of("time (UTC)", ["20240313_090000"], start="2024-03-13T09:00:00Z")
    assert instants(result) == [text_of(AT)]


@pytest.mark.parametrize("text", ["2024-03-13 09:00:00:125", "2024-03-13T09:00:00:125Z", "09:00:00:125"])
def test_a_colon_before_a_fraction_is_refused_with_the_way_on(text: str) -> None:
    refused(reading_of("time", [text], "UTC"), "time-notation", f'"{text}"', text.replace(":125", ".125"))


def test_dots_between_hours_and_minutes_beside_a_date_are_refused_with_the_way_on() -> None:
    for clock in ("09.00.00", "10.11.12"):
        result = read(f"date,time (UTC),heart_rate\n2024-03-13,{clock},71\n")
        refused(result, "time-notation", f'"{clock}", a time of day with dots', f'"{clock.replace(".", ":")}"')
    refused(reading_of("time", ["09.00.00"], "UTC", date="2024-03-13"), "time-notation", '"09:00:00"')


@pytest.mark.parametrize("text", ["13.03.2024 09.00.00", "2024-03-13 09.00.00", "2024-03-13T09.00.00"])
def test_dots_in_a_clock_behind_a_date_are_refused_with_the_way_on(text: str) -> None:
    refused(reading_of("time (UTC)", [text]), "time-notation", f'"{text}"', "09:00:00")


def test_hours_and_minutes_with_a_dot_beside_a_date_are_refused() -> None:
    refused(
        read("date,time (UTC),heart_rate\n2024-03-13,09.30,71\n"), "time-notation", "may be a time of day with dots"
    )


def test_hours_behind_a_day_are_no_year() -> None:
    for text in ("Mar 13 09:00:00", "13 Mar 09:00:00"):
        assert reading_of("time (UTC)", [text]).code == "time-notation"


def test_a_mixture_without_any_count_is_none() -> None:
    refused(reading_of("time (UTC)", ["20240313_090000", "soon"]), "time-notation", '"20240313_090000"')


def test_a_first_cell_without_a_time_of_day_does_not_speak_for_all() -> None:
    few = ["13.03.2024", *(f"13.03.2024 09:00:{at:02d}" for at in range(1, 20))]
    result = reading_of("time (UTC)", few)
    assert instants(result) == [text_of(AT + timedelta(seconds=at)) for at in range(1, 20)]
    assert [(each.record, each.reason) for each in result.rejected] == [(1, "no-time")]
    mixed = reading_of("time (UTC)", ["13.03.2024", "13.03.2024 09:00:01"])
    refused(mixed, "time-mixed", '"13.03.2024 09:00:01" and "13.03.2024"')
    refused(reading_of("time (UTC)", ["13.03.2024"]), "time-days-only")


# Day 45364 is 2024-03-13 where day 1 is 1900-01-01 and 1900 counts as a leap year (ECMA-376 part 1, 18.17.4.1);
# the system of 1904 begins 1462 days later.
def test_numbered_days_beside_times_of_day_are_read_once_their_system_is_said() -> None:
    table = "date,time (UTC),heart_rate\n45364,09:00:00,71\n45365,09:00:00,72\n"
    refused(read(table), "time-two-readings", "2024-03-13 (system of 1900)", "2028-03-14 (system of 1904)")
    result = read(table, time="serial-1900")
    assert instants(result) == [text_of(AT), text_of(AT + timedelta(days=1))]
    assert any("dates are days as spreadsheets count them" in each for each in sentences(result))
    other = table.replace("45364", str(45364 - 1462)).replace("45365", str(45365 - 1462))
    assert instants(read(other, time="serial-1904")) == instants(result)


def test_a_fraction_of_the_day_beside_a_date_is_refused() -> None:
    for options in ({}, {"time": "serial-1900"}):
        result = read("date,time (UTC),heart_rate\n45364,0.375,71\n", **options)
        refused(result, "time-notation", '"0.375" beside the date in "date"')


TICKS = 638_459_172_000_000_000  # (AT - 0001-01-01) in units of 100 ns


def test_ticks_since_the_year_1_are_never_nanoseconds_since_1970() -> None:
    begin = datetime(1, 1, 1, tzinfo=UTC)
    assert begin + timedelta(microseconds=TICKS // 10) == AT
    for header in ("timestamp", "timestamp (ns)"):
        result = reading_of(header, [str(TICKS), str(TICKS + 10_000_000)])
        refused(result, "time-two-readings", "1990-03-26 in ns since 1970", "2024-03-13 in 100 ns since the year 1")
    said = reading_of("timestamp", [str(TICKS)], time="epoch-ns")
    assert instants(said) == [text_of(datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=TICKS // 1000))]


def test_nanoseconds_of_today_are_read_as_before() -> None:
    assert instants(reading_of("timestamp", [str(round(AT.timestamp()) * 10**9)])) == [text_of(AT)]


def test_counts_of_100_nanoseconds_since_1601_are_named() -> None:
    refused(reading_of("timestamp", ["133547940000000000"]), "time-unit-not-said", "2024-03-13 in 100 ns since 1601")


def test_a_refusal_of_counts_shows_one_that_is_no_date() -> None:
    dates = [str(1_710_320_400_000 + at) for at in range(8)]
    refused(reading_of("timestamp (ms)", [*dates, "-1", "-2"]), "time-mixed", "1710320400000 is a date in ms, and -1")
    seconds = reading_of("timestamp (ms)", [*dates, "1710320401", "1710320402"])
    refused(seconds, "time-mixed", "1710320400000 is a date in ms, and 1710320401 is one in s")
    refused(reading_of("timestamp (ms)", ["1710320400"]), "time-unit-contradicts", "only in s")


def test_counts_in_two_units_are_refused_with_one_of_each() -> None:
    for cells in (
        ["1710320400", "1710320401000"],
        ["1710320401000", "1710320400"],
        ["0", "1710320400", "1710320401000"],
    ):
        refused(reading_of("timestamp", cells), "time-mixed", "1710320400 is ", "1710320401000 is ")
    refused(reading_of("timestamp", ["0", "1710320400"]), "time-unit-not-said", "(1710320400)", "csv.time=epoch-s")


@pytest.mark.parametrize(("header", "cell"), [("elapsed", "00:00:10"), ("time (s)", "32400")])
def test_a_start_beside_dates_is_not_passed_over(header: str, cell: str) -> None:
    table = f"date,{header},heart_rate\n2024-03-13,{cell},70\n2024-03-14,{cell},71\n"
    start = "2024-03-12T00:00:00Z"
    refused(
        read(table, start=start), "time-two-readings", f'"{cell}"', '"date" says ("2024-03-13")', "csv.columns=date=-"
    )
    assert len(set(instants(read(table, start=start, columns="date=-")))) == 1
