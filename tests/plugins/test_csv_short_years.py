"""Years of two digits: refused with every date that they could be, read where century and order are said."""

from __future__ import annotations

from datetime import datetime

import pytest

from csv_instants import instants, reading_of, sentences

# Outside check: Python's strptime of the same text with the order that is said.
ORDERS = {"day-first": "%d/%m/%y", "month-first": "%m/%d/%y", "year-first": "%y/%m/%d"}


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("mark", ["/", ".", "-"])
def test_each_order_that_is_said(order: str, mark: str) -> None:
    cells = [f"03{mark}04{mark}05 08:15", f"11{mark}12{mark}10 09:15:30"]
    expected = [datetime.strptime(cell[:8].replace(mark, "/"), ORDERS[order]).date() for cell in cells]
    result = reading_of("time", cells, "UTC", century="20", time=order)
    assert instants(result) == [f"{expected[0]}T08:15:00Z", f"{expected[1]}T09:15:30Z"]
    assert sentences(result) == [
        f"times: dates read {order.replace('-', ' ')}",
        "times: years of two digits are of 2000 to 2099, as csv.century says",
    ]


def test_all_three_readings_are_named() -> None:
    result = reading_of("time", ["03/04/05 08:15"], "UTC")
    assert result.code == "time-two-digit-year"
    for word in ("2005-04-03", "2005-03-04", "2003-04-05", "csv.century=20", "csv.time=day-first", "=year-first"):
        assert word in result.said
    half = reading_of("time", ["03/04/05 08:15"], "UTC", century="20")
    assert half.code == "time-two-digit-year"


def test_the_order_may_stand_in_the_header() -> None:
    assert instants(reading_of("time (dd/mm/yy)", ["03/04/05 08:15"], "UTC", century="20")) == ["2005-04-03T08:15:00Z"]
    result = reading_of("time (dd/mm/yy)", ["03/04/05 08:15"], "UTC")
    assert result.code == "time-two-digit-year"
    assert "csv.time" not in result.said


@pytest.mark.parametrize(
    ("header", "cell", "options", "expected"),
    [
        ("date;time", "1-Mar-24;8:15 PM", {}, "2024-03-01T20:15:00Z"),
        ("date;time", "Mar 24, 24;8:15 PM", {}, "2024-03-24T20:15:00Z"),
        ("time", "24-Mar-01 08:15", {"time": "year-first"}, "2024-03-01T08:15:00Z"),
        ("time", "24-Mar-01 08:15", {"time": "day-first"}, "2001-03-24T08:15:00Z"),
        ("time", "24-Mar-01 08:15", {}, ""),
        ("date;time", "01.03.24;08:15", {"time": "day-first"}, "2024-03-01T08:15:00Z"),
    ],
)
def test_months_by_name_and_dates_in_their_own_column(
    header: str, cell: str, options: dict[str, str], expected: str
) -> None:
    assert reading_of(header, [cell], "UTC", **options).code == "time-two-digit-year"
    result = reading_of(header, [cell], "UTC", century="20", **options)
    assert result.code == ("" if expected else "time-two-digit-year")
    assert not expected or instants(result) == [expected]


def test_years_of_four_digits_stand_beside() -> None:
    cells = ["03/04/05 08:15", "03/04/2005 08:15"]
    assert instants(reading_of("time", cells, "UTC", century="20", time="day-first")) == ["2005-04-03T08:15:00Z"] * 2


def test_an_order_without_short_years_has_no_use() -> None:
    assert reading_of("time", ["03/04/2005 08:15"], "UTC", time="year-first").code == "time-two-readings"
    assert reading_of("time", ["03/04/05 08:15"], "UTC", century="21").code == "bad-option"


@pytest.mark.parametrize(
    ("header", "cell"),
    [
        ("date;time", "1 March 2024;8:15:30"),
        ("date;time", "1st Mar. 2024;08:15:30"),
        ("date;time", "March 1st, 2024;08:15:30 AM"),
        ("date;time", "Fri, 1 Mar 2024;8:15:30 a.m."),
        ("date;time", "01/03/2024;08:15:30 AM"),
        ("time", "Friday, March 1, 2024, 8:15:30 AM"),
        ("time", "1-MAR-2024 08:15:30"),
        ("time", "01/03/2024, 08:15:30"),
        ("time", "1.3.2024, 8:15:30"),
    ],
)
def test_months_by_name_and_halves_of_days_in_one_column_or_two(header: str, cell: str) -> None:
    assert instants(reading_of(header, [cell], "UTC", time="day-first")) == ["2024-03-01T08:15:30Z"]


def test_a_date_on_another_weekday_than_is_written_is_set_aside() -> None:
    """RFC 5322, 3.3: the name of the day must be that of the date. 1 March 2024 was a Friday."""
    cells = ["Fri, 01 Mar 2024 08:15:30 +0100", "Mon, 01 Mar 2024 08:15:30 +0100"]
    result = reading_of("time", cells)
    assert instants(result) == ["2024-03-01T07:15:30Z"]
    assert [(each.reason, each.time_text) for each in result.rejected] == [("no-time", cells[1])]
    assert result.reading is not None
    assert any("another weekday" in sentence for sentence in result.reading.conversions[1])
