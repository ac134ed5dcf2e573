"""What stands in cells: words for "no value", units behind numbers, values where a header should be.

How real tables write them is common practice, no source.
"""

from __future__ import annotations

import pytest

from csv_reading import ok, read
from vambrace_plugins.importers.csv.cells import ABSENT

T = ["2031-03-04T09:00:00Z", "2031-03-04T09:00:01Z", "2031-03-04T09:00:02Z"]


def table(header: str, *cells: str) -> str:
    """Return a table of a time and one column."""
    return f"time;{header}\n" + "".join(f"{time};{cell}\n" for time, cell in zip(T, cells, strict=False))


@pytest.mark.parametrize("word", [*ABSENT, "N/A", "NULL", "None"])
def test_words_for_no_value_are_absent_and_recorded(word: str) -> None:
    result = ok(table("heart_rate", "60", word, "61"))
    assert result.values("heart_rate") == ["60", "", "61"]
    assert f'cells with "{word}" read as absent' in result.conversions()


@pytest.mark.parametrize(
    ("header", "cells", "signal", "unit", "values"),
    [
        ("SpO2", ("98%", "97 %", "n/a"), "oxygen_saturation", "%", ["98", "97", ""]),
        ("pulse", ("72 bpm", "73 bpm", ""), "heart_rate", "bpm", ["72", "73", ""]),
        ("altitude", ("12,5 m", "13,25 m", "-1 m"), "altitude", "m", ["12.5", "13.25", "-1"]),
        ("speed", ("1.5 km/h", "2 km/h", "0 km/h"), "speed", "km/h", ["1.5", "2", "0"]),
        ("heart rate (bpm)", ("72 bpm", "73 bpm", "74 bpm"), "heart_rate", "bpm", ["72", "73", "74"]),
    ],
)
def test_units_behind_every_number_are_the_unit_of_the_column(
    header: str, cells: tuple[str, ...], signal: str, unit: str, values: list[str]
) -> None:
    result = ok(table(header, *cells))
    assert result.values(signal) == values
    (column,) = result.batches[0].columns
    assert column.unit == unit
    assert any(f'unit "{unit}" taken from the cells' in sentence for sentence in result.conversions())


def test_a_header_that_contradicts_its_cells_is_refused() -> None:
    error = read(table("altitude (ft)", "12 m", "13 m")).error
    assert error is not None
    assert error.code == "unit-two-readings"
    assert "ft" in str(error)


@pytest.mark.parametrize(
    ("header", "cells", "words"),
    [
        ("heart_rate", ("60 bpm", "1.1 Hz", "61 bpm"), ('"60 bpm" and "1.1 Hz"', "csv.columns=heart_rate=-")),
        ("SpO2", ("98%", "97", ""), ('"98%"', "97 %, or 97 of another unit", "csv.units=SpO2=%")),
        ("SpO2", ("97", "98 %", ""), ('"98 %"', "97 %, or 97 of another unit", "csv.units=SpO2=%")),
        ("altitude", ("12 m", "1,234.5", "x"), ('"12 m"', "1,234.5", "csv.units=altitude=m")),
        ("altitude (m)", ("12 m", "40 ft", ""), ('"12 m" and "40 ft"', "Mend")),
    ],
)
def test_units_behind_some_numbers_are_refused(header: str, cells: tuple[str, ...], words: tuple[str, ...]) -> None:
    error = read(table(header, *cells)).error
    assert error is not None
    assert error.code == "unit-two-readings"
    for word in words:
        assert word in str(error), str(error)


def test_a_bare_number_has_the_unit_that_the_header_or_the_user_tells() -> None:
    assert ok(table("SpO2 (%)", "98%", "97", "")).values("oxygen_saturation") == ["98", "97", ""]
    assert ok(table("SpO2", "98%", "97", ""), units="SpO2=%").values("oxygen_saturation") == ["98", "97", ""]


def test_a_bare_number_that_comes_late_is_refused_as_an_early_one() -> None:
    late = "time;SpO2\n" + f"{T[0]};98%\n" * 10_000 + f"{T[0]};97\n"
    error = read(late).error
    assert error is not None
    assert error.code == "unit-two-readings"
    assert "csv.units=SpO2=%" in str(error)
    assert ok(late, units="SpO2=%").values("oxygen_saturation")[-1] == "97"


def test_cells_that_are_no_numbers_and_later_cells_of_another_unit_stay_as_they_are() -> None:
    assert ok(table("pulse", "72 bpm", "dry", "73 bpm")).values("heart_rate") == ["72", "dry", "73"]
    assert ok(table("pulse", "72 furlongs", "73 furlongs")).values("heart_rate") == ["72 furlongs", "73 furlongs"]
    late = "time;pulse\n" + f"{T[0]};72 bpm\n" * 10_000 + f"{T[0]};1.1 Hz\n"
    assert ok(late).values("heart_rate")[-1] == "1.1 Hz"


@pytest.mark.parametrize("line", [f"{T[0]},60", "09:00:00,60", "1,2,3", "03/04/2031 09:00,71"])
def test_a_table_without_a_header_is_told_to_get_one(line: str) -> None:
    error = read(f"{line}\n{line}\n").error
    assert error is not None
    assert (error.code, error.status) == ("no-header", "unrecognised")
    assert "names them, such as time,heart_rate" in str(error)
