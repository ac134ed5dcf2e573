"""Thousands separators: read where nothing else is possible, refused with both readings where something is.

pandas' reader is the outside check wherever the notation can be told to it.
"""

from __future__ import annotations

import io

import pandas as pd
import pytest

from csv_reading import ok, read

T = "2031-03-04T09:00:00Z"
NBSP, NARROW = "\u00a0", "\u202f"


def table(*cells: str, delimiter: str = ";", header: str = "power (W)") -> str:
    """Return a table of a time and one column."""
    quoted = (f'"{cell}"' if delimiter in cell else cell for cell in cells)
    return f"time{delimiter}{header}\n" + "".join(f"{T}{delimiter}{cell}\n" for cell in quoted)


@pytest.mark.parametrize("delimiter", [";", ",", "\t", "|"])
@pytest.mark.parametrize(
    ("cells", "values"),
    [
        (("1,234.5", "1,250", "999", "0.5"), ["1234.5", "1250", "999", "0.5"]),
        (("1.234,5", "1.250", "999", "0,5"), ["1234.5", "1250", "999", "0.5"]),
        (("1,234,567", "-1,250", "12.5"), ["1234567", "-1250", "12.5"]),
        (("1.234.567", "-1.250", "12,5"), ["1234567", "-1250", "12.5"]),
        (("1 234,5", "1 250", "12,5"), ["1234.5", "1250", "12.5"]),
        (("1 234.5", "1 250", "12.5"), ["1234.5", "1250", "12.5"]),
        ((f"1{NBSP}234,567", f"1{NBSP}250", "12,5"), ["1234.567", "1250", "12.5"]),
        ((f"1{NARROW}234{NARROW}567", "", "12"), ["1234567", "", "12"]),
        (("1'234.5", "1'250", "12.5"), ["1234.5", "1250", "12.5"]),
        (("1\u2019234.5", "1\u2019250", "12.5"), ["1234.5", "1250", "12.5"]),
    ],
)
def test_thousands_are_read_where_nothing_else_is_possible(
    cells: tuple[str, ...], values: list[str], delimiter: str
) -> None:
    result = ok(table(*cells, delimiter=delimiter))
    assert result.values("power") == values
    assert any(f'as in "{cells[0]}"' in sentence for sentence in result.conversions())


@pytest.mark.parametrize(
    ("parts", "mark", "cells"),
    [
        (",", ".", ("1,234.5", "1,250", "999", "0.5", "1,234,567.25")),
        (".", ",", ("1.234,5", "1.250", "999", "0,5", "1.234.567,25")),
        (" ", ",", ("1 234,5", "1 250", "999", "0,5")),
        (NBSP, ",", (f"1{NBSP}234,5", f"1{NBSP}250", "999", "0,5")),
        ("'", ".", ("1'234.5", "1'250", "999", "0.5")),
    ],
)
def test_pandas_reads_the_same_numbers_once_it_is_told_the_marks(parts: str, mark: str, cells: tuple[str, ...]) -> None:
    text = table(*cells)
    frame = pd.read_csv(io.StringIO(text), sep=";", thousands=parts, decimal=mark, engine="python")
    assert [float(value) for value in ok(text).values("power")] == frame["power (W)"].tolist()


@pytest.mark.parametrize(
    ("cell", "said", "value"),
    [
        ("1,250", "dot", "1250"),
        ("1,250", "comma", "1.250"),
        ("1.250", "dot", "1.250"),
        ("1.250", "comma", "1250"),
        ("-12,250", "dot", "-12250"),
    ],
)
def test_three_digits_behind_a_mark_have_two_readings_until_the_mark_is_said(cell: str, said: str, value: str) -> None:
    error = read(table(cell)).error
    assert error is not None
    assert error.code == "decimal-two-readings"
    assert f"csv.decimal={said}" in error.todo
    assert value.lstrip("-").replace(".", "")[:4] in str(error)
    result = ok(table(cell), decimal=said)
    assert result.values("power") == [value]
    assert result.conversions() or value == cell


@pytest.mark.parametrize(
    ("cells", "code"),
    [
        (("1,234.5", "12,5"), "decimal-two-marks"),
        (("1.234,5", "12.5"), "decimal-two-marks"),
        (("1,234,567", "12,5"), "decimal-two-marks"),
        (("1.234.567", "1,234,567"), "decimal-two-marks"),
        (("1.234,5", "1,234.5"), "decimal-two-marks"),
        (("1 234,5", "12.5"), "decimal-two-marks"),
        (("1,250", "12.5"), "decimal-two-marks"),
    ],
)
def test_marks_that_contradict_each_other_are_refused(cells: tuple[str, ...], code: str) -> None:
    for order in (cells, cells[::-1]):
        error = read(table(*order)).error
        assert error is not None, order
        assert error.code == code, str(error)
        assert "csv.decimal=" in error.todo


@pytest.mark.parametrize(
    "cell",
    [
        *("1,2345", "12,34.5", "0,123.5", "1,234.567,8", "1 23", "1 2345", "0 123", "1 234'567", "1  234", "1, 234"),
        *("1.23.456", "1234,567.5", "1,234,56", "1,234.5 6", "1 234 ,5"),
    ],
)
def test_what_is_no_group_of_three_is_never_joined(cell: str) -> None:
    result = read(table("1,234.5", cell, "0.5"))
    assert result.error is not None or result.values("power") == ["1234.5", cell, "0.5"]


@pytest.mark.parametrize(
    ("first", "late", "code"),
    [
        ("120", "1.250", "decimal-not-said"),
        ("120", "1,250", "decimal-not-said"),
        ("1,234.5", "12,5", "decimal-two-marks"),
        ("1.234,5", "12.5", "decimal-two-marks"),
        ("12,5", "1.250", "decimal-two-marks"),
    ],
)
def test_what_comes_late_and_contradicts_is_refused(first: str, late: str, code: str) -> None:
    error = read(table(*[first] * 10_000, late)).error
    assert error is not None
    assert error.code == code, str(error)
    assert "csv.decimal=" in error.todo


def test_what_comes_late_and_has_one_reading_is_read() -> None:
    for first, late in (("12.5", "1,234.5"), ("12,5", "1.234,5"), ("12", "1 234"), ("12.5", "1'234"), ("12", "12.5")):
        result = ok(table(*[first] * 10_000, late))
        assert float(result.values("power")[-1]) in {1234.5, 1234, 12.5}
    # Both readings of the first rows are open, and this cell has one; without a decision it is set aside by the core.
    assert ok(table(*["12"] * 10_000, "1.234,5")).values("power")[-1] == "1.234,5"


def test_digits_parted_by_a_space_may_be_several_values() -> None:
    for header, cell, signal in (
        ("RR (ms)", "812 798", "rr_interval"),
        ("HR (bpm)", "60 120", "heart_rate"),
        ("SpO2 (%)", "98 097", "oxygen_saturation"),
    ):
        assert ok(table(cell, "100", header=header)).values(signal) == [cell, "100"]


def test_cells_of_other_columns_decide_nothing() -> None:
    text = f"time;note;power (W)\n{T};1.234,5;12.5\n{T};1,234,567;120\n"
    assert ok(text).values("power") == ["12.5", "120"]
    text = f"time;note;power (W)\n{T};1.234,5;1.250\n"
    error = read(text).error
    assert error is not None
    assert error.code == "decimal-two-readings"


def test_thousands_with_a_unit_behind_them() -> None:
    result = ok(table("1,234.5 m", "12 m", "1,250 m", header="altitude"))
    assert result.values("altitude") == ["1234.5", "12", "1250"]


def test_digits_parted_by_a_space_before_a_unit_may_be_several_values_too() -> None:
    assert ok(table("60 120 bpm", "61 bpm", header="HR")).values("heart_rate") == ["60 120", "61"]
