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


def test_cells_of_two_units_are_not_stripped() -> None:
    result = ok(table("heart_rate", "60 bpm", "1.1 Hz", "61 bpm"))
    assert result.values("heart_rate") == ["60 bpm", "1.1 Hz", "61 bpm"]


@pytest.mark.parametrize("line", [f"{T[0]},60", "09:00:00,60", "1,2,3", "03/04/2031 09:00,71"])
def test_a_table_without_a_header_is_told_to_get_one(line: str) -> None:
    error = read(f"{line}\n{line}\n").error
    assert error is not None
    assert (error.code, error.status) == ("no-header", "unrecognised")
    assert "names them, such as time,heart_rate" in str(error)
