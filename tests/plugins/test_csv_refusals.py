"""What is uncertain is refused, says both readings, and names the option that settles it; and the option does."""

from __future__ import annotations

from dataclasses import dataclass, field

import pytest

from csv_reading import ok, read

T = "2031-03-04T09:00:00Z"


@dataclass
class Case:
    """A table, the code of its refusal, words that its sentence must hold, and the options that settle it.

    `settled` is what the table then gives: a signal with its texts, and its times where they matter.
    """

    table: str
    code: str
    words: tuple[str, ...]
    options: dict[str, object] = field(default_factory=dict)
    signal: str = "heart_rate"
    values: list[str] = field(default_factory=list)
    times: list[str] | None = None


CASES = {
    "a short name that may be a zone": Case(
        "time (EST),heart_rate\n2031-03-04T09:00:00,60\n",
        "zone-word",
        ("EST", "--zone", "csv.columns=time (EST)=time"),
        {"columns": "time (EST)=time"},
        values=["60"],
    ),
    "local in the header, UTC in the cells": Case(
        f"local time,heart_rate\n{T},60\n",
        "zone-two-readings",
        ("local", "UTC", "csv.columns=local time=time"),
        {"columns": "local time=time"},
        values=["60"],
    ),
    "fraction or percent": Case(
        f"time,oxygen saturation\n{T},0.97\n{T},1\n",
        "unit-not-said",
        ("97 %", "0.97 %", "csv.units=oxygen saturation=fraction", "=%"),
        {"units": "oxygen saturation=fraction"},
        "oxygen_saturation",
        ["0.97", "1"],
    ),
    "percent by name, fraction by value": Case(
        f"time,oxygen_saturation\n{T},0.97\n",
        "unit-not-said",
        ("97 %", "csv.units=oxygen_saturation=fraction"),
        {"units": "oxygen_saturation=fraction"},
        "oxygen_saturation",
        ["0.97"],
    ),
    "temperature": Case(
        f"time,skin temperature\n{T},33\n",
        "unit-not-said",
        ("33", "csv.units=skin temperature=Cel", "[degF]"),
        {"units": "skin temperature=Cel"},
        "skin_temperature",
        ["33"],
    ),
    "altitude": Case(
        f"time,altitude\n{T},33\n",
        "unit-not-said",
        ("csv.units=altitude=m", "[ft_i]"),
        {"units": "altitude=ft"},
        "altitude",
        ["33"],
    ),
    "speed": Case(f"time,Speed\n{T},3\n", "unit-not-said", ("m/s", "km/h"), {"units": "speed=km/h"}, "speed", ["3"]),
    "RR interval": Case(
        f"time,RR\n{T},850\n", "unit-not-said", ("ms", "s/1024"), {"units": "RR=s/1024"}, "rr_interval", ["850"]
    ),
    "sleep codes": Case(
        f"time,sleep level\n{T},3\n",
        "unit-not-said",
        ("0 wake", "4 REM", "=stage"),
        {"units": "sleep level=stage"},
        "sleep_stage",
        ["3"],
    ),
    "a rate that looks like Hz": Case(
        f"time,HR\n{T},1.25\n{T},1.3\n", "unit-not-said", ("1.25", "Hz"), {"units": "HR=Hz"}, values=["1.25", "1.3"]
    ),
    "an angle that is none": Case(
        f"time,lat,lng\n{T},444444444,-27\n",
        "unit-not-said",
        ("444444444", "deg", "semicircle"),
        {"units": "lat=semicircles; lng=semicircles"},
        "latitude",
        ["444444444"],
    ),
    "a unit of another quantity": Case(
        f"time,HR (furlongs)\n{T},71\n",
        "unit-unknown",
        ("furlongs", "csv.units=HR (furlongs)=/min"),
        {"units": "HR (furlongs)=bpm"},
        values=["71"],
    ),
    "steps": Case(
        f"time,steps\n{T},113\n",
        "counting-not-said",
        ("running total", "one interval", "113", "csv.counting=steps=total", "=increment"),
        {"counting": "steps=increment"},
        "step_count",
        ["113"],
    ),
    "distance": Case(
        f"time,distance (km)\n{T},1.5\n",
        "counting-not-said",
        ("running total", "csv.counting=total"),
        {"counting": "total"},
        "distance",
        ["1.5"],
    ),
    "day and month": Case(
        "time,heart_rate\n03/04/2024 08:00:00,71\n04/05/2024 8:00,72\n",
        "time-two-readings",
        ("2024-04-03 (day first)", "2024-03-04 (month first)", "csv.time=day-first", "=month-first"),
        {"time": "day-first"},
        values=["71", "72"],
        times=["2024-04-03 08:00:00", "2024-05-04 08:00"],
    ),
    "month first": Case(
        "time,heart_rate\n3-4-2024 08:00:00,71\n",
        "time-two-readings",
        ("day first", "month first"),
        {"time": "month-first"},
        values=["71"],
        times=["2024-03-04 08:00:00"],
    ),
    "day and month in a column of dates": Case(
        "date,time,heart_rate\n03.04.2024,8:00:00,71\n",
        "time-two-readings",
        ("day first", "month first"),
        {"time": "day-first"},
        values=["71"],
        times=["2024-04-03 08:00:00"],
    ),
    "a count without its unit": Case(
        "timestamp,heart_rate\n1078215330,71\n",
        "time-two-readings",
        ("2004-03-02 (since 1970)", "2024-03-01 (since 1989-12-31)", "csv.time=epoch-s", "fit-s"),
        {"time": "fit-s"},
        values=["71"],
        times=["1078215330"],
    ),
    "seconds since 1970 or 1989": Case(
        "timestamp (s),heart_rate\n1078215330,71\n",
        "time-two-readings",
        ("2004-03-02", "2024-03-01", "csv.time=epoch-s", "=fit-s"),
        {"time": "fit-s"},
        values=["71"],
        times=["1078215330"],
    ),
    "a unit that its counts contradict": Case(
        "timestamp (s),heart_rate\n1709280930250,71\n",
        "time-unit-contradicts",
        ("ms", "csv.time=epoch-ms"),
        {"time": "epoch-ms"},
        values=["71"],
        times=["1709280930250"],
    ),
    "elapsed, by its values": Case(
        "time (s),heart_rate\n0,71\n1.5,72\n",
        "no-start",
        ("csv.time=elapsed-s", "csv.start="),
        {"time": "elapsed-s", "start": "2024-03-01T08:00:00Z"},
        values=["71", "72"],
        times=["0", "1.5"],
    ),
    "elapsed, by its header": Case(
        "elapsed time (ms),heart_rate\n0,71\n1500,72\n",
        "no-start",
        ("csv.start=",),
        {"start": "2024-03-01T09:00:00+01:00"},
        values=["71", "72"],
        times=["0", "1500"],
    ),
    "no time": Case(
        f"when,heart_rate\n{T},71\n",
        "no-time-column",
        ("csv.columns=HEADER=time",),
        {"columns": "when=time"},
        values=["71"],
        times=[T],
    ),
    "two times": Case(
        f"time,timestamp,heart_rate\n{T},2031-03-04T10:00:00Z,71\n",
        "time-two-columns",
        ('"time"', '"timestamp"', "csv.columns=timestamp=-"),
        {"columns": "timestamp=-"},
        values=["71"],
        times=[T],
    ),
    "a time of day alone": Case(
        "time,tag,heart_rate\n09:00:00,2031-03-04,71\n",
        "time-without-date",
        ("09:00:00", "csv.columns=HEADER=date"),
        {"columns": "tag=date"},
        values=["71"],
        times=["2031-03-04 09:00:00"],
    ),
    "a day alone": Case(
        "date,at,heart_rate\n2031-03-04,09:00:00,71\n",
        "time-days-only",
        ("2031-03-04", "csv.columns=HEADER=time"),
        {"columns": "at=time"},
        values=["71"],
        times=["2031-03-04 09:00:00"],
    ),
    "a zone beside the time": Case(
        "time,timezone,heart_rate\n2031-03-04 09:00:00,Europe/Berlin,71\n",
        "offset-two-readings",
        ("Europe/Berlin", "csv.columns=timezone=offset", "csv.columns=timezone=-", "--zone UTC"),
        {"columns": "timezone=offset"},
        values=["71"],
        times=["2031-03-04 09:00:00[Europe/Berlin]"],
    ),
    "an offset beside the time": Case(
        "time,utc_offset,heart_rate\n2031-03-04 09:00:00,UTC+0100,71\n2031-03-04 09:00:01,+1,72\n",
        "offset-two-readings",
        ("UTC+0100", "csv.columns=utc_offset=offset"),
        {"columns": "utc_offset=offset"},
        values=["71", "72"],
        times=["2031-03-04 09:00:00[+01:00]", "2031-03-04 09:00:01[+01:00]"],
    ),
    "increments that start": Case(
        f"start time,steps per interval\n{T},12\n",
        "interval-not-said",
        ("csv.interval_s=60",),
        {"interval_s": 60.0},
        "step_count",
        ["12"],
    ),
    "thousands or decimals, comma": Case(
        f"time;power (W)\n{T};1,250\n",
        "decimal-two-readings",
        ("1.250 or 1250", "csv.decimal=comma"),
        {"decimal": "comma"},
        "power",
        ["1.250"],
    ),
    "thousands or decimals, point": Case(
        f"time;power (W)\n{T};1.250\n",
        "decimal-two-readings",
        ("1,250 or 1250", "csv.decimal=dot"),
        {"decimal": "dot"},
        "power",
        ["1.250"],
    ),
    "commas between commas": Case(
        f'time,power (W)\n{T},"120,5"\n',
        "decimal-not-said",
        ("120,5", "csv.decimal=comma"),
        {"decimal": "comma"},
        "power",
        ["120.5"],
    ),
    "both marks": Case(
        f"time;power (W)\n{T};120,5\n{T};120.5\n",
        "decimal-two-marks",
        ("120,5", "120.5", "csv.decimal=dot"),
        {"decimal": "dot"},
        "power",
        ["120,5", "120.5"],
    ),
    "two delimiters": Case(
        f"time,HR;power\n{T},71;120\n", "delimiter-two-readings", ("comma", "semicolon", "csv.delimiter=comma")
    ),
    "several people": Case(
        f"user,time,heart_rate\nP01,{T},71\nP02,{T},72\n",
        "several-people",
        ("P01", "P02", "csv.columns=user=-"),
        {"columns": "user=-"},
        values=["71", "72"],
    ),
    "a header twice": Case(f"time,HR (bpm),HR (bpm)\n{T},71,72\n", "header-twice", ("HR (bpm)", "2 and 3")),
    "years of two digits": Case("time,heart_rate\n03/04/24 08:00,71\n", "time-two-digit-year", ("four digits",)),
    "hours with PM and no minutes": Case(
        "time,heart_rate\n2024-03-04 8 PM,71\n", "time-notation", ("12 hours", "24 hours")
    ),
    "times in words": Case("time,heart_rate\nsoon,71\n", "time-notation", ("soon", "csv.columns=HEADER=time")),
    "times in two ways": Case(f"time,heart_rate\n{T},71\n1930381200,71\n", "time-mixed", (T, "1930381200")),
    "rounded times": Case("time_ms,heart_rate\n1.93038E+12,71\n", "time-rounded", ("1.93038E+12", "all digits")),
    "an option that makes no sense": Case(f"time,heart_rate\n{T},71\n", "bad-option", ("csv.units", "furlongs"), {}),
}
BAD = {"an option that makes no sense": {"units": "heart_rate=furlongs"}}


@pytest.mark.parametrize("name", CASES)
def test_a_refusal_has_a_code_and_says_what_where_and_which_option_settles_it(name: str) -> None:
    case = CASES[name]
    error = read(case.table, **BAD.get(name, {})).error
    assert error is not None
    assert error.code == case.code, str(error)
    assert error.todo
    for word in case.words:
        assert word in str(error), str(error)


@pytest.mark.parametrize("name", [name for name, case in CASES.items() if case.options])
def test_the_option_that_a_refusal_names_settles_it(name: str) -> None:
    case = CASES[name]
    result = ok(case.table, **case.options)
    assert result.values(case.signal) == case.values
    if case.times is not None:
        assert result.times() == case.times


def test_elapsed_times_count_from_the_start_that_is_given() -> None:
    (batch,) = ok("time (s),heart_rate\n0,71\n", time="elapsed-s", start="2024-03-01T09:00:00+01:00").batches
    assert (batch.time.unit, batch.time.basis, batch.time.epoch_s) == ("s", "utc", 1_709_280_000)


def test_fit_seconds_count_from_their_own_epoch() -> None:
    (batch,) = ok("timestamp (s),heart_rate\n1078215330,71\n", time="fit-s").batches
    assert batch.time.epoch_s + 1_078_215_330 == 1_709_280_930


def test_an_interval_that_is_given_stands_in_the_batch() -> None:
    (batch,) = ok(f"time,heart_rate\n{T},71\n", interval_s=60.0, stamp="middle").batches
    assert (batch.interval_s, batch.stamp) == (60.0, "middle")


def test_counts_per_interval_without_a_word_are_taken_to_stand_at_its_end_and_that_is_recorded() -> None:
    result = ok(f"time,steps per interval\n{T},12\n")
    assert result.batches[0].stamp == "end"
    assert "steps per interval: each time taken as the end of its interval" in result.conversions()


@pytest.mark.parametrize(
    "options",
    [
        {"delimiter": "x"},
        {"decimal": ";"},
        {"encoding": "utf-seven"},
        {"encoding": "base64"},
        {"columns": "heart_rate"},
        {"columns": "x=pulse"},
        {"time": "american"},
        {"start": "2024-03-01T08:00:00"},
        {"start": "yesterday"},
        {"counting": "sometimes"},
        {"stamp": "begin"},
        {"stamp": "start"},
        {"interval_s": 0.0},
        {"interval_s": float("nan")},
    ],
)
def test_options_that_make_no_sense_are_refused_with_what_makes_some(options: dict[str, object]) -> None:
    error = read(f"time,heart_rate\n{T},71\n", **options).error
    assert error is not None
    assert error.code in {"bad-option", "interval-not-said"}
    assert error.todo


def test_an_option_that_names_no_column_is_noted() -> None:
    result = ok(f"time,heart_rate\n{T},71\n", columns="pulse rate=heart_rate", units="altitude=ft")
    assert result.rules() == [("option-without-use", "note")]


def test_a_table_without_a_known_column_is_unrecognised_and_names_its_columns() -> None:
    for table in ("1,2,3\n4,5,6\n", "Strap was dry until 09:02.\n", f"time,mood\n{T},good\n", "\n \n"):
        error = read(table).error
        assert error is not None
        assert error.status == "unrecognised"
    assert '"mood"' in str(read(f"time,mood\n{T},good\n").error)


def test_other_refusals_are_rejections() -> None:
    error = read("heart_rate,cadence\n70,80\n").error
    assert error is not None
    assert error.status == "rejected"


def test_what_is_certain_by_its_values_is_not_refused() -> None:
    result = ok(f"time,SpO2\n{T},97\n{T},\n{T},0\n")
    assert result.values("oxygen_saturation") == ["97", "", "0"]
    assert result.conversions() == ('oxygen_saturation: the header "SpO2" gives no unit, taken as %',)
    assert ok("timestamp (s),heart_rate\n1709280930,71\n").batches[0].time.epoch_s == 0
