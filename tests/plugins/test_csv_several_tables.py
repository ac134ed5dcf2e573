"""Several tables in one file, the header standing again, and lines of comment between the rows."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from csv_canonical import canonical
from csv_reading import ok, read
from vambrace.plugin import DamagedFile

T = [f"2031-03-04T09:00:0{second}Z" for second in range(10)]
US = 1_930_381_200_000_000


def test_each_table_is_read_by_its_own_header_into_recordings_of_its_own() -> None:
    text = f"time,heart_rate\n{T[0]},71\n{T[1]},72\n\nPower of band-A\ntime,power,cadence\n{T[0]},180,80\n"
    result = canonical(text.encode())
    assert not result.code, result.said
    assert result.channels == {
        (1, "heart_rate"): [(US, 71.0), (US + 1_000_000, 72.0)],
        (2, "power"): [(US, 180.0)],
        (2, "cadence"): [(US, 80.0)],
    }
    # Rows are numbered through the file; its first header has the number 0.
    assert ok(text).record(2) == [6]
    assert ("lines-before-header", "note", '1 lines before the header are passed over: "Power of band-A"') in ok(
        text
    ).notes


@pytest.mark.parametrize(
    "between",
    ["", "\n", "\n\n\n", "Speed\n", "\nSpeed,,\n\n", "# Speed\n", "Speed,second part\n\n"],
)
def test_what_stands_between_two_tables_is_passed_over(between: str) -> None:
    text = f"time,heart_rate,note\n{T[0]},71,ok\n{between}time,speed (m/s),note\n{T[1]},2.5,\n"
    result = canonical(text.encode())
    assert result.channels == {(1, "heart_rate"): [(US, 71.0)], (2, "speed"): [(US + 1_000_000, 2.5)]}
    assert not result.rejected


def test_columns_that_change_places_are_read_by_the_nearer_header() -> None:
    text = f"time,heart_rate,power\n{T[0]},71,180\ntime,power,heart_rate\n{T[1]},181,72\n"
    result = canonical(text.encode())
    assert result.signals == {
        "heart_rate": [[(US, 71.0)], [(US + 1_000_000, 72.0)]],
        "power": [[(US, 180.0)], [(US + 1_000_000, 181.0)]],
    }


def test_a_second_table_far_behind_the_first_rows_is_found() -> None:
    n = 70_000
    rows = "".join(f"{1_930_381_200 + at},{60 + at % 90}\n" for at in range(n))
    text = f"time (s),heart_rate\n{rows}timestamp (s),power\n1930381200,180\n1930381201,181\n"
    result = canonical(text.encode())
    assert len(result.channels[1, "heart_rate"]) == n
    assert result.channels[2, "power"] == [(US, 180.0), (US + 1_000_000, 181.0)]


def test_a_wide_and_a_long_table_stand_in_one_file() -> None:
    text = f"time,heart_rate\n{T[0]},71\n\ntime,signal,value,unit\n{T[0]},power,180,W\n{T[1]},mood,3,\n"
    result = canonical(text.encode())
    assert result.channels == {(1, "heart_rate"): [(US, 71.0)], (2, "power"): [(US, 180.0)]}


def test_the_same_header_again_goes_on_with_the_same_recording() -> None:
    result = ok(f"time,heart_rate\n{T[0]},71\n\ntime,heart_rate\n{T[1]},72\n")
    assert (result.record(), result.values("heart_rate")) == ([1, 4], ["71", "72"])
    assert ("header-again", "note") in result.rules()


def test_rows_of_another_width_without_a_header_are_damage_as_before() -> None:
    result = read(f"time,heart_rate\n{T[0]},71\n\nmean,sd,n\n71,2,1\n")
    assert isinstance(result.error, DamagedFile)
    assert result.error.where == "line 4"


def test_lines_of_comment_between_rows_are_passed_over_and_counted() -> None:
    result = ok(f"time,heart_rate,note\n{T[0]},71,\n# strap moved\n{T[1]},72,\n# end, of, it, all\n")
    assert (result.record(), result.values("heart_rate")) == ([1, 3], ["71", "72"])
    assert ("comment-lines", "note") in result.rules()


def test_rows_without_cells_that_the_header_leaves_empty_are_whole() -> None:
    assert ok(f"time,heart_rate,\n{T[0]},71\n{T[1]},72\n").values("heart_rate") == ["71", "72"]


PIECES = st.lists(st.integers(1, 40), min_size=1, max_size=12)
PARTS = st.lists(
    st.sampled_from(
        [
            f"time,heart_rate\n{T[0]},71\n{T[1]},72\n",
            f"time,power,cadence\n{T[0]},180,80\n",
            f"time,signal,value,unit\n{T[0]},power,180,W\n",
            "\n",
            "A title\n",
            "# a comment\n",
            f'time,heart_rate,"a ""note""\nof two lines"\n{T[2]},73,"x\ny"\n',
        ]
    ),
    max_size=6,
)


@given(PARTS, PIECES, st.sampled_from(["\n", "\r\n", "\r"]))
@settings(deadline=None, derandomize=True, max_examples=150)
def test_tables_are_the_same_wherever_the_bytes_are_cut(parts: list[str], pieces: list[int], end: str) -> None:
    data = "".join([f"time,heart_rate\n{T[0]},71\n", *parts]).replace("\n", end).encode()
    whole, cut = canonical(data), canonical(data, pieces=pieces)
    assert (whole.channels, whole.rejected, whole.said) == (cut.channels, cut.rejected, cut.said)
