"""Random numbers with thousands parted in every usual way: the exact numbers, as pandas reads them, or a refusal."""

from __future__ import annotations

import io
from decimal import Decimal

import pandas as pd
from hypothesis import given, settings
from hypothesis import strategies as st

from csv_reading import read

T = "2031-03-04T09:00:00Z"
NUMBERS = st.lists(
    st.decimals(-9_999_999, 99_999_999, places=2) | st.integers(-9_999, 99_999_999).map(Decimal), min_size=1, max_size=8
)
MARKS = st.sampled_from(
    [(",", "."), (".", ","), (" ", ","), ("\u00a0", ","), ("\u202f", ","), ("'", "."), ("\u2019", ".")]
)
REFUSALS = {"decimal-two-readings", "decimal-not-said", "decimal-two-marks"}


def written(number: Decimal, parts: str, mark: str) -> str:
    """Return a number as Python's format groups it, with other marks."""
    return f"{number:,f}".replace(",", "\0").replace(".", mark).replace("\0", parts)


def table(cells: list[str], delimiter: str) -> str:
    return f"time{delimiter}power (W)\n" + "".join(f'{T}{delimiter}"{cell}"\n' for cell in cells)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(numbers=NUMBERS, marks=MARKS, delimiter=st.sampled_from(",;\t|"))
def test_no_number_is_another_number(numbers: list[Decimal], marks: tuple[str, str], delimiter: str) -> None:
    parts, mark = marks
    text = table([written(number, parts, mark) for number in numbers], delimiter)
    frame = pd.read_csv(io.StringIO(text), sep=delimiter, thousands=parts, decimal=mark, engine="python")
    assert frame["power (W)"].astype(float).tolist() == [float(number) for number in numbers]
    result = read(text)
    if result.error is None:
        cells = text.splitlines()[1:]
        if parts == "." and delimiter != ";" and not any(cell.count(".") > 1 or "," in cell[22:] for cell in cells):
            # Where no semicolon shows that commas stand before decimals, a point does, as in most tables: no source.
            numbers = [number / 1000 if abs(number) >= 1000 else number for number in numbers]
        assert [Decimal(value) for value in result.values("power")] == numbers
        return
    assert result.error.code in REFUSALS
    # The option that the refusal names settles it.
    said = {",": "comma", ".": "dot"}[mark]
    assert f"csv.decimal={said}" in result.error.todo
    settled = read(text, decimal=said)
    assert settled.error is None, str(settled.error)
    assert [Decimal(value) for value in settled.values("power")] == numbers


@settings(max_examples=150, deadline=None, derandomize=True)
@given(cells=st.lists(st.from_regex(r"[+-]?[0-9]{1,4}([ ,.'][0-9]{1,4}){0,3}", fullmatch=True), min_size=1, max_size=4))
def test_a_cell_is_read_exactly_refused_or_left_as_it_is(cells: list[str]) -> None:
    result = read(table(cells, ";"))
    if result.error is not None:
        assert result.error.code in REFUSALS
        return
    for cell, value in zip(cells, result.values("power"), strict=True):
        digits = "".join(letter for letter in cell if letter.isdigit())
        assert value == cell or "".join(letter for letter in value if letter.isdigit()) == digits
