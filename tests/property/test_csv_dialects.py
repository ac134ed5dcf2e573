"""Tables that Python's csv module writes, in every dialect and encoding, cut anywhere: every cell comes back."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from csv_reading import ok, read

NOTES = st.text(st.characters(codec="utf-8", exclude_characters="\x00", exclude_categories=["Cc", "Cs"]), max_size=8)
ODD_NOTES = st.sampled_from(['say "so"', "a,b;c\td", "two\nlines", "a\r\nb", "é°", "", " ", "'"])
SECONDS = st.integers(0, 86_399)
NUMBERS = st.one_of(st.integers(0, 400).map(str), st.decimals(0, 400, places=2).map(str), st.just(""))
ROWS = st.lists(st.tuples(SECONDS, NUMBERS, NUMBERS, st.one_of(NOTES, ODD_NOTES)), min_size=1, max_size=12)
ENCODINGS = st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32"])
QUOTING = st.sampled_from([csv.QUOTE_MINIMAL, csv.QUOTE_ALL, csv.QUOTE_NONNUMERIC])
PIECES = st.lists(st.integers(1, 70), min_size=1, max_size=6)


def written(rows: list[tuple[str, ...]], delimiter: str, end: str, quoting: int) -> str:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter, lineterminator=end, quoting=quoting).writerows(rows)  # type: ignore[arg-type]
    return text.getvalue()


def clock(second: int) -> str:
    return f"2031-03-04T{second // 3600:02d}:{second // 60 % 60:02d}:{second % 60:02d}Z"


@settings(max_examples=100, deadline=None, derandomize=True)
@given(
    rows=ROWS,
    delimiter=st.sampled_from(",;\t|"),
    end=st.sampled_from(["\n", "\r\n", "\r"]),
    encoding=ENCODINGS,
    quoting=QUOTING,
    pieces=PIECES,
)
def test_every_cell_comes_back(
    rows: list[tuple[int, str, str, str]], delimiter: str, end: str, encoding: str, quoting: int, pieces: list[int]
) -> None:
    table = [
        ("time", "heart_rate", "power (W)", "note"),
        *((clock(at), rate, power, note) for at, rate, power, note in rows),
    ]
    if end == "\r":
        # Python 3.11's writer leaves a line end other than its own without quotation marks.
        quoting = csv.QUOTE_ALL
    text = written(table, delimiter, end, quoting)
    # The independent reading of the very same text.
    expected = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))[1:]
    data = text.encode(encoding)
    result = ok(data)
    assert result.record() == list(range(1, len(expected) + 1))
    assert result.times() == [row[0] for row in expected]
    assert result.values("heart_rate") == [row[1] for row in expected]
    assert result.values("power") == [row[2] for row in expected]
    assert result.recordings[1].not_carried == {"note": sum(bool(row[3].strip()) for row in expected)}
    cut = read(data, pieces=pieces)
    assert (cut.seen(), cut.recordings, cut.notes) == (result.seen(), result.recordings, result.notes)


@settings(max_examples=80, deadline=None, derandomize=True)
@given(rows=ROWS, delimiter=st.sampled_from(";\t|"), quoting=QUOTING, pieces=PIECES)
def test_decimal_commas_come_back_as_points(
    rows: list[tuple[int, str, str, str]], delimiter: str, quoting: int, pieces: list[int]
) -> None:
    table = [
        ("time", "heart_rate", "power (W)", "note"),
        *((clock(at), rate.replace(".", ","), power.replace(".", ","), note) for at, rate, power, note in rows),
    ]
    data = written(table, delimiter, "\r\n", quoting).encode()
    result = ok(data, pieces=pieces)
    assert result.values("heart_rate") == [rate for _, rate, _, _ in rows]
    assert result.values("power") == [power for _, _, power, _ in rows]
    recorded = "decimal commas read as decimal points" in result.conversions()
    assert recorded == any("." in cell for row in rows for cell in row[1:3])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(data=st.binary(max_size=400), pieces=PIECES)
def test_any_bytes_end_in_a_typed_error_and_the_same_one_however_they_are_cut(data: bytes, pieces: list[int]) -> None:
    for head in (b"", b"time,heart_rate\n2031-03-04T09:00:00Z,71\n"):
        whole, cut = read(head + data), read(head + data, pieces=pieces)
        assert str(whole.error) == str(cut.error)
        assert whole.seen() == cut.seen()


LONG = ["time;heart_rate;altitude (ft)"] + [
    f"{clock(at % 86_400)};{60 + at % 9};{at % 700},{at % 10}" for at in range(21_000)
]


@pytest.mark.parametrize("size", [997, 65_536, 1 << 20])
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_a_long_table_gives_the_same_batches_however_it_is_cut(size: int, end: str) -> None:
    data = end.join([*LONG, ""]).encode("utf-16")
    whole, cut = read(data), read(data, pieces=[size])
    assert whole.error is None
    assert [list(b.record) for b in whole.batches] == [list(b.record) for b in cut.batches]
    assert whole.seen() == cut.seen()
    assert whole.values("altitude") == [line.split(";")[2].replace(",", ".") for line in LONG[1:]]


@pytest.mark.parametrize("fault", [f'{clock(1)};"71;1\n', f"{clock(1)};71\n{clock(2)};71;1\n", "\x00\n"])
def test_a_fault_is_the_same_however_the_table_is_cut(fault: str) -> None:
    data = ("\n".join(LONG[:12_345]) + "\n" + fault).encode()
    whole, cut = read(data), read(data, pieces=[1009])
    assert whole.error is not None
    assert str(whole.error) == str(cut.error)
    assert whole.error.where == "line 12,346"
    assert whole.seen() == cut.seen()
    assert len(whole.record()) == 12_344
