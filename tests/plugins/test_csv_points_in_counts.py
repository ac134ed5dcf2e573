"""A point before three digits: decimals where something shows it, thousands never by guess."""

from __future__ import annotations

import pytest

from csv_reading import ok, read

T = "2031-03-04T09:00:00Z"


def table(header: str, *cells: str, delimiter: str) -> str:
    rows = "".join(f"{T}{delimiter}{cell}\n" for cell in cells)
    return f"time{delimiter}{header}\n{rows}"


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("header", ["step_count", "steps", "distance [m]"])
@pytest.mark.parametrize("cells", [("1.100", "1.101"), ("987", "1.003"), ("", "12.500")])
def test_whole_numbers_with_a_point_before_three_digits_have_two_readings(
    header: str, cells: tuple[str, ...], delimiter: str
) -> None:
    text = table(header, *cells, delimiter=delimiter)
    error = read(text, counting="total").error
    assert error is not None
    assert error.code == "decimal-two-readings"
    assert next(cell for cell in cells if "." in cell).replace(".", "") in str(error)
    signal = "distance" if "distance" in header else "step_count"
    assert ok(text, counting="total", decimal="dot").values(signal)[-1] in {cells[-1], cells[-1].rstrip("0")}
    assert ok(text, counting="total", decimal="comma").values(signal)[-1] == cells[-1].replace(".", "")


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("size", [[1 << 20], [997], [13, 70_000]])
def test_a_late_count_with_such_a_point_is_refused_wherever_the_text_is_cut(delimiter: str, size: list[int]) -> None:
    text = table("step_count", *["900"] * 11_000, "1.003", delimiter=delimiter)
    error = read(text, size, counting="total").error
    assert error is not None
    assert error.code == "decimal-not-said"
    assert '"1.003"' in str(error)


@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
@pytest.mark.parametrize("cell", ["0.500", "12.25", "0.125", "1.5", "1000.125"])
def test_one_cell_that_can_only_be_decimals_decides_for_the_table(cell: str, delimiter: str) -> None:
    text = table("distance [m]", cell, "1.100", delimiter=delimiter)
    assert [float(text) for text in ok(text, counting="total").values("distance")] == [float(cell), 1.1]


@pytest.mark.parametrize("delimiter", [",", "\t", "|"])
@pytest.mark.parametrize(
    ("header", "cell"), [("speed [m/s]", "3.125"), ("heart_rate", "70.000"), ("altitude [m]", "123.456")]
)
def test_what_would_be_too_large_with_thousands_is_read_as_decimals(header: str, cell: str, delimiter: str) -> None:
    result = ok(table(header, cell, delimiter=delimiter))
    (column,) = result.batches[0].columns
    assert [float(value) for value in column.values] == [float(cell)]


@pytest.mark.parametrize("delimiter", ["\t", "|"])
def test_a_value_that_may_be_either_is_refused_where_commas_may_be_decimal_marks(delimiter: str) -> None:
    error = read(table("altitude [m]", "1.555", delimiter=delimiter)).error
    assert error is not None
    assert error.code == "decimal-two-readings"
    assert ok(table("altitude [m]", "1.555", delimiter=",")).values("altitude") == ["1.555"]
