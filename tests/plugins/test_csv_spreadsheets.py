"""Tables that a spreadsheet program saved in several locales (fixtures/csv/spreadsheet/save.sh): the rows typed in."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest

from csv_canonical import Rows, canonical
from vambrace_plugins.importers.csv import Options

FOLDER = Path(__file__).parents[2] / "fixtures" / "csv" / "spreadsheet"
INSTANTS = [datetime(2024, 3, 13, 9, 0, 0), datetime(2024, 3, 13, 9, 0, 1), datetime(2024, 3, 14, 21, 15, 30)]
MICROSECONDS = [int(instant.replace(tzinfo=UTC).timestamp()) * 1_000_000 for instant in INSTANTS]
TYPED: dict[str, list[Rows]] = {
    "heart_rate": [list(zip(MICROSECONDS[:2], [71.0, 72.0], strict=True))],
    "power": [list(zip(MICROSECONDS, [180.5, 181.25, 0.75], strict=True))],
}


def test_the_rows_are_those_typed_in() -> None:
    lines = (FOLDER / "typed.csv").read_text(encoding="utf-8").splitlines()[1:]
    assert [line.split(",")[0] for line in lines] == [instant.isoformat(" ") for instant in INSTANTS]
    assert [line.split(",")[1] for line in lines] == ["71", "72", ""]
    assert [float(line.split(",")[2]) for line in lines] == [value for _, value in TYPED["power"][0]]


@pytest.mark.parametrize(
    ("name", "options"),
    [
        ("german.csv", {"encoding": "latin-1", "time": "day-first"}),
        ("french.csv", {"time": "day-first"}),
        ("american.csv", {}),
        ("swedish.tsv", {}),
        ("swiss.csv", {"time": "day-first"}),
        ("automatic.csv", {"decimal": "comma"}),
        ("british.csv", {}),
        ("serial-days.csv", {"time": "serial-1900"}),
    ],
)
def test_the_typed_rows_come_back(name: str, options: dict[str, Any]) -> None:
    result = canonical((FOLDER / name).read_bytes(), Options(**options), zone="UTC")
    assert result.code == "", result.said
    assert result.signals == TYPED
    assert result.rejected == []


def test_a_comma_that_is_both_decimal_mark_and_separator_is_refused_until_said() -> None:
    result = canonical((FOLDER / "automatic.csv").read_bytes(), zone="UTC")
    assert (result.code, result.channels) == ("decimal-not-said", {})
    assert "csv.decimal=comma" in result.said


def test_days_of_a_spreadsheet_are_refused_until_their_system_is_said() -> None:
    result = canonical((FOLDER / "serial-days.csv").read_bytes(), zone="UTC")
    assert (result.code, result.channels) == ("time-two-readings", {})
    assert "2024-03-13 (system of 1900) or 2028-03-14 (system of 1904)" in result.said
