"""What headers mean: signals, units, counting, and parts of the time."""

from __future__ import annotations

import pytest

from csv_reading import cells_of, column_of, ok, read
from vambrace import notations, units
from vambrace.plugin import SIGNALS
from vambrace_plugins.importers.csv.vocabulary import of_signal, read_heading

TIME = "2031-03-04T09:00:00Z"


def one(header: str, cell: str = "71", **options: str):
    """The column that a table with one signal hands over."""
    result = ok(f'time,"{header}"\n{TIME},{cell}\n', **options)
    (batch,) = result.batches
    (column,) = batch.columns
    return column


# Header, cell, and what must be handed over: signal, unit, the canonical value of the cell.
USUAL = [
    ("heart_rate", "71", "heart_rate", "/min", 71),
    ("Heart Rate (bpm)", "71", "heart_rate", "bpm", 71),
    ("HR [1/min]", "71", "heart_rate", "1/min", 71),
    ("SpO2 [%]", "97", "oxygen_saturation", "%", 97),
    ("Oxygen saturation (fraction)", "0.97", "oxygen_saturation", "fraction", 97),
    ("heart rate (Hz)", "1.25", "heart_rate", "Hz", 75),
    ("steps per interval", "12", "step_count", "{steps}", 12),
    ("cumulative steps", "12", "step_count", "{steps}", 12),
    ("lat", "37.25", "latitude", "deg", 37.25),
    ("lng", "-27.5", "longitude", "deg", -27.5),
    ("altitude (ft)", "100", "altitude", "ft", 30.48),
    ("Altitude_m", "100", "altitude", "m", 100),
    ("heart_rate_per_min", "71", "heart_rate", "/min", 71),
    ("HeartRate", "71", "heart_rate", "/min", 71),
    ("SpO₂ (%)", "97", "oxygen_saturation", "%", 97),
    ("oxygen_saturation", "97", "oxygen_saturation", "%", 97),
    ("speed (km/h)", "3.6", "speed", "km/h", 1),
    ("Speed m/s", "3.6", "speed", "m/s", 3.6),
    ("speed_m_s", "3.6", "speed", "m/s", 3.6),
    ("RR [ms]", "850", "rr_interval", "ms", 850),
    ("rr interval (s)", "0.85", "rr_interval", "s", 850),
    ("Skin temperature (°C)", "33", "skin_temperature", "°C", 33),
    ("body temperature (°F)", "98.6", "body_temperature", "°F", 37),
    ("respiratory rate (breaths/min)", "14", "respiratory_rate", "breaths/min", 14),
    ("power (W)", "120", "power", "W", 120),
    ("cadence (rpm)", "80", "cadence", "rpm", 80),
    ("energy total (kJ)", "4.184", "energy_expended", "kJ", 1),
    ("total distance (km)", "1.5", "distance", "km", 1500),
    ("distance_m", "1.5", "distance", "m", 1.5),
    ("bpm", "71", "heart_rate", "bpm", 71),
]


@pytest.mark.parametrize(("header", "cell", "signal", "unit", "value"), USUAL)
def test_usual_notations_name_their_signal_and_unit(
    header: str, cell: str, signal: str, unit: str, value: float
) -> None:
    column = one(header, cell)
    assert (column.signal, column.unit, column.field) == (signal, unit, header)
    assert cells_of(column).to_pylist() == [cell]
    how = units.conversion(column.unit, SIGNALS[signal])
    assert how.apply(column.values)[0] == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize("name", SIGNALS)
def test_our_own_names_and_columns_are_known(name: str) -> None:
    assert read_heading(name).signal == name
    heading = read_heading(SIGNALS[name].column)
    assert (heading.signal, heading.canonical) == (name, True)


@pytest.mark.parametrize("name", SIGNALS)
def test_every_word_of_the_schema_is_known_in_any_spelling(name: str) -> None:
    for word in SIGNALS[name].words:
        for spelling in (word, word.upper(), word.title(), word.replace(" ", "_"), word.replace(" ", "-")):
            assert read_heading(spelling).signal == name, spelling


@pytest.mark.parametrize("name", SIGNALS)
def test_every_unit_of_the_core_is_known_in_brackets_and_handed_over_as_one_it_accepts(name: str) -> None:
    signal = SIGNALS[name]
    codes = (signal.unit, *signal.accepts)
    spellings = [*codes, *(word for code in codes for word in notations.SPELLINGS.get(code, ()))]
    spellings += notations.OWN_SPELLINGS.get(name, {})
    for spelling in spellings:
        for header in (f"{name} ({spelling})", f"{signal.words[0]} [{spelling}]"):
            if any(mark in spelling for mark in "[]()") and header.endswith("]"):
                continue
            heading = read_heading(header)
            assert heading.signal == name, header
            expected = signal.ucum(spelling)
            assert signal.ucum(heading.unit) == expected, (header, heading)


def test_the_small_calorie_is_never_taken_for_the_large_one() -> None:
    assert one("energy total (Cal)").unit == "Cal"
    assert one("energy total (cal)").unit == "cal"
    # Where case is lost, neither is taken.
    assert read("time,energy_total_cal\n" + f"{TIME},71\n").error.code == "unit-unknown"  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("header", "statistic"),
    [("mean heart rate (bpm)", "mean"), ("Heart Rate Max (bpm)", "max"), ("HR (min) [bpm]", "min"), ("HR", "instant")],
)
def test_statistics(header: str, statistic: str) -> None:
    assert one(header).statistic == statistic


@pytest.mark.parametrize(
    ("header", "counting"),
    [
        ("steps per interval", "increment"),
        ("Steps (increment)", "increment"),
        ("delta steps", "increment"),
        ("cumulative steps", "total"),
        ("total steps", "total"),
        ("Steps [total]", "total"),
        ("step_count_steps", "total"),
        ("energy per interval (kcal)", "increment"),
    ],
)
def test_counting(header: str, counting: str) -> None:
    assert one(header).counting == counting


@pytest.mark.parametrize(
    ("header", "counts"),
    [("cadence", "unknown"), ("cadence (spm)", "steps"), ("cadence [rpm]", "revolutions"), ("step rate", "steps")],
)
def test_what_a_cadence_counts(header: str, counts: str) -> None:
    assert one(header).counts == counts


@pytest.mark.parametrize(
    "header", ["note", "", "resting heart rate", "steps per minute", "temperature (°C)", "heart", "hrv", "id", "lap"]
)
def test_what_is_not_certain_is_no_signal(header: str) -> None:
    heading = read_heading(header)
    assert not heading.known


@pytest.mark.parametrize(
    ("header", "cell", "unit", "epoch_s", "basis"),
    [
        ("time_ms", "1930381200000", "ms", 0, "utc"),
        ("timestamp (s)", "1930381200.25", "s", 0, "utc"),
        ("unix time [us]", "1930381200000000", "us", 0, "utc"),
        ("epoch_ns", "1930381200000000000", "ns", 0, "utc"),
        ("unix time (s)", "5", "s", 0, "utc"),
        ("seconds since 1989-12-31", "1299315600", "s", 631_065_600, "utc"),
        ("time", "2031-03-04 09:00:00", "iso8601", 0, "text"),
        ("Time (UTC)", "2031-03-04 09:00:00", "iso8601", 0, "utc"),
        ("timestamp_utc", "2031-03-04 09:00:00", "iso8601", 0, "utc"),
    ],
)
def test_times_by_their_header(header: str, cell: str, unit: str, epoch_s: int, basis: str) -> None:
    (batch,) = ok(f"{header},heart_rate\n{cell},71\n").batches
    assert (batch.time.unit, batch.time.epoch_s, batch.time.basis) == (unit, epoch_s, basis)
    assert batch.time.values.to_pylist() == [cell]  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("header", "cell", "handed"),
    [
        ("Time (+02:00)", "2031-03-04 09:00:00", "2031-03-04 09:00:00[+02:00]"),
        ("Time (Europe/Berlin)", "2031-03-04 09:00:00", "2031-03-04 09:00:00[Europe/Berlin]"),
        ("time", "2031-03-04 9:00", "2031-03-04 09:00"),
        ("time", "2031/3/4 9:00:00", "2031-03-04 09:00:00"),
        ("time", "2031-03-04 09:00:00 UTC", "2031-03-04 09:00:00Z"),
        ("time", "2031-03-04 09:00:00 +0200", "2031-03-04 09:00:00 +0200"),
        ("time", "20310304T090000Z", "20310304T090000Z"),
        ("Date (dd/mm/yyyy hh:mm)", "03/04/2031 9:05", "2031-04-03 09:05"),
        ("Time (mm/dd/yyyy)", "3/4/2031 09:05", "2031-03-04 09:05"),
    ],
)
def test_times_in_usual_notation_become_iso(header: str, cell: str, handed: str) -> None:
    assert ok(f"{header},heart_rate\n{cell},71\n").times() == [handed]


def test_what_a_header_says_beyond_its_unit_names_the_sensor() -> None:
    (batch,) = ok(f"time,HR (strap-R) [1/min]\n{TIME},71\n").batches
    assert column_of(batch, "heart_rate").sensor == "strap-R"


def test_a_unit_that_everyone_uses_is_recorded_where_the_header_gives_none() -> None:
    assert ok(f"time,HR\n{TIME},71\n").conversions() == ('heart_rate: the header "HR" gives no unit, taken as /min',)
    assert ok(f"time,heart_rate\n{TIME},71\n").conversions() == ()


def test_a_column_that_the_user_names_keeps_what_its_header_says_of_the_unit() -> None:
    assert of_signal("Puls (bpm)", "heart_rate").unit == "bpm"
    assert one("Puls (Hz)", columns="Puls (Hz)=heart_rate").unit == "Hz"
