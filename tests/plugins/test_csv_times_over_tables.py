"""Dates and starts that the user says, over several tables of one file: they go on, or it is said that they do not."""

from __future__ import annotations

import pytest

from csv_canonical import Canonical, canonical
from csv_instants import instants, iso, sentences
from csv_reading import ok
from vambrace_plugins.importers.csv import Options

DATE = "2024-03-13"
START = "2024-03-13T09:00:00Z"


def read(text: str, pieces: tuple[int, ...] = (), **options: object) -> Canonical:
    return canonical(text.encode(), Options(**options), None, pieces)  # type: ignore[arg-type]


def tables(*parts: tuple[str, list[str]]) -> str:
    heads = [
        f"time (UTC),{signal}\n" + "".join(f"{clock},{70 + at}\n" for at, clock in enumerate(clocks))
        for signal, clocks in parts
    ]
    return "".join(heads)


@pytest.mark.parametrize("pieces", [(), (1,), (7, 3)])
def test_the_date_goes_on_into_the_next_table(pieces: tuple[int, ...]) -> None:
    text = tables(
        ("heart_rate", ["22:00", "23:59"]), ("power", ["00:00", "12:00", "23:00"]), ("cadence (rpm)", ["0:30"])
    )
    result = read(text, pieces, date=DATE)
    assert instants(result) == ["2024-03-13T22:00:00Z", "2024-03-13T23:59:00Z"]
    assert instants(result, (2, "power")) == ["2024-03-14T00:00:00Z", "2024-03-14T12:00:00Z", "2024-03-14T23:00:00Z"]
    assert result.reading is not None
    assert any(
        "dates from 2024-03-14 on, as the clock has gone on from that of the table before" in each
        for each in result.reading.conversions[2]
    )
    assert instants(result, (3, "cadence")) == ["2024-03-15T00:30:00Z"]


def test_the_clock_goes_on_without_a_midnight_too() -> None:
    text = tables(("heart_rate", ["22:00", "02:00"]), ("power", ["02:01", "03:00"]))
    result = read(text, date=DATE)
    assert instants(result, (2, "power")) == ["2024-03-14T02:01:00Z", "2024-03-14T03:00:00Z"]
    later = read(tables(("heart_rate", ["09:00"]), ("power", ["10:00"])), date=DATE)
    assert instants(later, (2, "power")) == ["2024-03-13T10:00:00Z"]


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (["09:00", "09:30"], ["09:00", "09:30"]),  # the same while, or a day later
        (["00:00", "12:00", "23:59"], ["00:00", "12:00", "23:59"]),  # the same day, or the next
        (["22:00", "02:00"], ["22:00", "02:00"]),
        (["22:00", "02:00"], ["01:00"]),
    ],
)
def test_a_table_that_may_be_of_two_days_is_refused(first: list[str], second: list[str]) -> None:
    result = read(tables(("heart_rate", first), ("power", second)), date=DATE)
    assert result.code == "time-two-readings"
    assert f'another table begins at "{second[0]}", and the one before ends at "{first[-1]}"' in result.said
    assert "2024-03-14" in result.said
    assert (2, "power") not in result.channels


def test_devices_of_the_next_table_have_the_date_that_has_come() -> None:
    first = "time (UTC),device,heart_rate\n22:00,band-A,70\n22:00,ring-B,71\n23:59,band-A,72\n"
    result = read(first + "time (UTC),device,power\n00:00,band-A,72\n00:00,ring-B,73\n", date=DATE)
    assert not result.code, result.said
    days = {iso(at)[:10] for (_, signal), rows in result.channels.items() for at, _ in rows if signal == "power"}
    assert days == {"2024-03-14"}


AGAIN = "elapsed (s),heart_rate\n0,70\n1,71\n{between}elapsed (s),heart_rate\n{begin},80\n{end},81\n"


@pytest.mark.parametrize("between", ["", "\n\n", "# next\n\n"])
@pytest.mark.parametrize("pieces", [(), (1,)])
def test_a_count_that_begins_anew_behind_the_header_is_refused(between: str, pieces: tuple[int, ...]) -> None:
    result = read(AGAIN.format(between=between, begin=0, end=1), pieces, start=START)
    if "#" in between:
        # Behind a comment the header begins a table of its own.
        assert ("start-again", "warning") in ok(AGAIN.format(between=between, begin=0, end=1), start=START).rules()
        return
    assert result.code == "no-start"
    assert "the times fall back by 1 s" in result.said


def test_a_count_that_goes_on_behind_the_header_is_read_on() -> None:
    result = read(AGAIN.format(between="", begin=2, end=3), start=START)
    assert instants(result) == [f"2024-03-13T09:00:0{at}Z" for at in range(4)]


def test_a_count_that_begins_anew_far_behind_is_refused_too() -> None:
    rows = "".join(f"{at},70\n" for at in range(70_000))
    result = read(f"elapsed (s),heart_rate\n{rows}elapsed (s),heart_rate\n0,71\n", start=START)
    assert result.code == "no-start"
    assert "fall back by 69,999 s" in result.said


def test_out_of_order_rows_elsewhere_stay_what_they_are() -> None:
    text = "elapsed (s),heart_rate\n5,70\n1,71\nelapsed (s),heart_rate\n6,72\n2,73\n"
    assert len(instants(read(text, start=START))) == 4


def test_another_table_that_counts_from_the_same_start_is_noted() -> None:
    text = "elapsed (s),heart_rate\n0,70\nelapsed (s),power\n0,80\n"
    assert ("start-again", "warning") in ok(text, start=START).rules()
    assert instants(read(text, start=START), (2, "power")) == ["2024-03-13T09:00:00Z"]


def test_a_start_that_is_not_used_is_noted() -> None:
    for text in (f"time,heart_rate\n{START},70\n", "date,time (UTC),heart_rate\n2024-03-13,09:00:00,70\n"):
        assert ok(text, start=START).rules() == [("option-without-use", "note")]
    assert not ok("elapsed (s),heart_rate\n0,70\n", start=START).rules()


TABLE = "time (UTC),heart_rate\n2024-03-13 09:00:00,70\n"


@pytest.mark.parametrize(
    "options",
    [
        {"interval_s": 1e18},
        {"interval_s": 1e-9},
        {"interval_s": float("nan")},
        {"date": "9999-12-31"},
        {"date": "0001-01-01"},
        {"start": "9999-12-31T23:59:59Z"},
        {"start": "0001-01-01T00:00:00+14:00"},
        {"encoding": "punycode"},
        {"encoding": "idna"},
        {"encoding": "raw_unicode_escape"},
        {"encoding": "utf-8\0"},
    ],
)
def test_impossible_options_are_refused_as_such(options: dict[str, object]) -> None:
    result = read(TABLE, **options)
    assert (result.code, result.channels) == ("bad-option", {})


@pytest.mark.parametrize("encoding", ["utf-16", "utf-32"])
def test_an_encoding_without_its_order_of_bytes_is_refused_or_read_rightly(encoding: str) -> None:
    data = TABLE.encode(f"{encoding}-le")
    result = canonical(data, Options(encoding=encoding))
    # Zeros between the letters may show the order.
    assert instants(result) == [START] if not result.code else f"{encoding}-le" in result.said
    assert result.code in {"", "encoding-not-said"}
    assert instants(canonical(data, Options(encoding=f"{encoding}-le"))) == [START]
    assert sentences(canonical(TABLE.encode(encoding), Options(encoding=encoding))) is not None
    assert instants(canonical(TABLE.encode(encoding), Options(encoding=encoding))) == [START]


@pytest.mark.parametrize(
    "name",
    ["delimiter", "decimal", "columns", "units", "time", "start", "date", "century", "zones", "counting", "stamp"],
)
@pytest.mark.parametrize("value", ["\0", "=", ";", "x", "\U0001f600=x", "a" * 5000, "99999999999999999999"])
def test_any_text_as_an_option_is_taken_or_refused_cleanly(name: str, value: str) -> None:
    result = read(TABLE, **{name: value})
    assert result.code in {"", "bad-option", "no-known-column"}, result.said
