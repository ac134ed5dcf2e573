"""Rows of a long table that have neither a value nor a unit: they contradict nothing, wherever they stand."""

from __future__ import annotations

import pytest

from csv_canonical import canonical
from vambrace_plugins.importers.csv.rows import ROWS


@pytest.mark.parametrize("at", [0, 3, ROWS + 5])
def test_a_row_without_value_and_unit(at: int) -> None:
    rows = [f"2024-03-13T09:00:00Z,speed,{place % 50 + 1},km/h" for place in range(max(at, 5) + 3)]
    rows[at] = "2024-03-13T09:00:00Z,speed,,"
    result = canonical(("\n".join(["time,signal,value,unit", *rows]) + "\n").encode())
    assert not result.code, result.said
    kept = [value for _, value in result.channels[1, "speed"]]
    assert kept == pytest.approx([(place % 50 + 1) / 3.6 for place in range(len(rows)) if place != at])


def test_a_value_without_a_unit_is_still_refused() -> None:
    rows = ["2024-03-13T09:00:00Z,speed,10,km/h", "2024-03-13T09:00:10Z,speed,11,"]
    assert canonical(("\n".join(["time,signal,value,unit", *rows]) + "\n").encode()).code == "unit-two-readings"


@pytest.mark.parametrize(
    ("header", "cells"),
    [
        ("steps (a; b),unit", "7,2024"),
        ("AM; PM,heart_rate", "AM,70"),
    ],
)
def test_ways_on_name_headers_with_semicolons_as_options_write_them(header: str, cells: str) -> None:
    text = f"time,{header}\n2024-03-13 09:00:00,{cells}\n"
    result = canonical(text.encode(), zone="UTC")
    assert result.code
    assert "\\;" in result.said
