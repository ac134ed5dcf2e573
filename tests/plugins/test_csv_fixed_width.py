"""Tables whose cells stand below each other, held against pandas' own reader of such tables."""

from __future__ import annotations

import io

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from csv_canonical import canonical
from csv_reading import ok, read
from vambrace.plugin import DamagedFile

TABLE = """\
time                 heart rate   power  note
2031-03-04 09:00:00Z         71   180.5  ok
2031-03-04 09:00:01Z        102     0.75 strap moved a little
2031-03-04 09:00:02Z               12.5
"""
US = 1_930_381_200_000_000


def test_cells_below_their_headers_are_read() -> None:
    result = canonical(TABLE.encode())
    assert not result.code, result.said
    assert result.channels == {
        (1, "heart_rate"): [(US, 71.0), (US + 1_000_000, 102.0)],
        (1, "power"): [(US, 180.5), (US + 1_000_000, 0.75), (US + 2_000_000, 12.5)],
    }
    assert result.reading is not None
    assert "cells parted where the first lines are blank below each other" in result.reading.conversions[1]
    assert result.reading.about[1].not_carried == {"note": 2}


def test_the_cells_are_those_that_pandas_reads() -> None:
    frame = pd.read_fwf(io.StringIO(TABLE), dtype=str, colspecs=[(0, 20), (21, 31), (32, 40), (41, 70)])
    result = ok(TABLE)
    assert result.times() == frame["time"].tolist()
    assert result.values("power") == frame["power"].tolist()
    assert result.values("heart_rate") == frame["heart rate"].fillna("").tolist()


def test_lines_before_the_header_are_passed_over() -> None:
    result = ok("Export of strap-R\n\n" + TABLE)
    assert result.values("heart_rate") == ["71", "102", ""]
    assert ("lines-before-header", "note") in result.rules()


def test_a_line_that_is_cut_otherwise_is_damage_with_its_line() -> None:
    more = "".join(f"2031-03-04 09:{at // 60:02d}:{at % 60:02d}Z         71\n" for at in range(1500))
    result = read(TABLE + more + "2031-03-04 09:59:03Z.........73.......\n")
    assert isinstance(result.error, DamagedFile)
    assert result.error.where == "line 1,505"


def test_longer_cells_than_the_first_ones_reach_into_the_gaps() -> None:
    rows = "".join(f"2031-03-04T09:00:{second:02d}Z    7{second % 10}   5\n" for second in range(10))
    result = ok(f"time                    hr   rr (1/min)\n{rows}2031-03-04T09:00:10Z   101  14\n")
    assert result.values("heart_rate")[-1] == "101"
    assert result.values("respiratory_rate")[-1] == "14"


@pytest.mark.parametrize("text", ["a line  of words\nand  another\n", "time   heart_rate\n", "just  text"])
def test_words_are_no_table(text: str) -> None:
    error = read(text).error
    assert error is not None
    assert error.code in {"no-known-column", "no-header"}


def test_the_option_says_that_cells_stand_below_each_other() -> None:
    text = "time,x               heart_rate\n2031-03-04T09:00:00Z 71\n"
    assert ok(text, delimiter="fixed", columns="time,x=time").values("heart_rate") == ["71"]


@given(
    st.lists(st.tuples(st.integers(20, 300), st.floats(0, 2000).map(lambda x: f"{x:.3f}")), min_size=1, max_size=30),
    st.tuples(st.integers(1, 4), st.integers(1, 4)),
    st.booleans(),
    st.lists(st.integers(1, 60), min_size=1, max_size=5),
)
@settings(deadline=None, derandomize=True, max_examples=150)
def test_any_widths_give_the_exact_rows(
    values: list[tuple[int, str]], gaps: tuple[int, int], right: bool, pieces: list[int]
) -> None:
    names = ["time", "heart_rate", "power"]
    cells = [names, *([f"2031-03-04T09:00:{n:02d}Z", str(rate), power] for n, (rate, power) in enumerate(values))]
    widths = [max(len(row[at]) for row in cells) for at in range(3)]
    put = str.rjust if right else str.ljust
    lines = [
        put(row[0], widths[0]) + " " * gaps[0] + put(row[1], widths[1]) + " " * gaps[1] + put(row[2], widths[2])
        for row in cells
    ]
    result = canonical(("\n".join(lines) + "\n").encode(), pieces=pieces)
    assert not result.code, result.said
    assert [value for _, value in result.channels[1, "heart_rate"]] == [rate for rate, _ in values]
    assert [value for _, value in result.channels[1, "power"]] == [float(power) for _, power in values]
