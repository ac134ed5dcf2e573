"""Rows that are headers, of this table or another: none of their rows may go on under the wrong names."""

from __future__ import annotations

import pytest

from csv_canonical import canonical
from csv_reading import ok, read
from vambrace.plugin import DamagedFile
from vambrace_plugins.importers.csv import Options

Z = [f"2031-03-04T09:00:0{second}Z" for second in range(4)]
US = 1_930_381_200_000_000
HEAD = f"time,heart_rate,power\n{Z[0]},70,100\n"


@pytest.mark.parametrize(
    "second",
    [
        f"time,stress,battery\n{Z[1]},30,99\n",
        f"Stress,,\ntime,stress,\n{Z[1]},30,\n",
        f"time,power,1\n{Z[1]},99,30\n",
        f"Zeit,Leistung,Puls\n{Z[1]},99,30\n",
        f"[time],power,heart_rate\n{Z[1]},99,30\n",
        f"\ufefftime,stress,battery\n{Z[1]},30,99\n",
        f"lap,lap time,lap power\n{Z[1]},30,99\n",
    ],
)
@pytest.mark.parametrize("many", [0, 30_000])
def test_rows_do_not_go_on_under_the_names_of_another_table(second: str, many: int) -> None:
    rows = "".join(f"2031-03-04T{at // 3600 + 10}:{at // 60 % 60:02d}:{at % 60:02d}Z,71,101\n" for at in range(many))
    result = canonical((HEAD + rows + second).encode())
    assert result.reading is not None
    assert isinstance(result.reading.error, DamagedFile), result.channels
    assert len(result.channels.get((1, "heart_rate"), [])) == many + 1
    line = many + 3 + second.startswith("Stress")
    assert result.reading.error.where in {f"line {line:,}", f"line {line - 1:,}"}
    assert "--salvage" in str(result.reading.error)


@pytest.mark.parametrize(
    "header",
    ["\ufefftime,power,note", "#time,power,note", "*time,power,note", "\ftime,power,note", "time [UTC],power,x"],
)
@pytest.mark.parametrize("many", [0, 30_000])
def test_another_known_header_begins_a_table_whatever_stands_before_it(header: str, many: int) -> None:
    rows = "".join(f"2031-03-04T{at // 3600 + 10}:{at // 60 % 60:02d}:{at % 60:02d}Z,71,\n" for at in range(many))
    text = f"\ufefftime,heart_rate,note\n{Z[0]},70,\n{rows}{header}\n{Z[1]},100,\n"
    result = canonical(text.encode())
    assert not result.code, result.said
    assert len(result.channels.pop((1, "heart_rate"))) == many + 1
    assert result.channels == {(2, "power"): [(US + 1_000_000, 100.0)]}


def test_the_zone_of_the_second_header_holds_for_its_rows() -> None:
    text = f"time,heart_rate\n{Z[0]},70\nTime (UTC+01:00),power\n2031-03-04 10:00:01,100\n"
    result = canonical(text.encode())
    assert not result.code, result.said
    assert result.channels[2, "power"] == [(US + 1_000_000, 100.0)]


def test_a_header_of_two_files_put_together_is_the_same_header() -> None:
    result = ok(f"\ufefftime,heart_rate\n{Z[0]},70\n\ufefftime,heart_rate\n{Z[1]},71\n")
    assert (result.values("heart_rate"), len(result.recordings)) == (["70", "71"], 1)


def test_the_row_of_units_again_is_passed_over_and_another_one_ends_the_rows() -> None:
    first = f"time,heart_rate,speed\n,bpm,km/h\n{Z[0]},71,36\n"
    again = ok(first + f"time,heart_rate,speed\n,bpm,km/h\n{Z[1]},72,36\n")
    assert (again.values("speed"), again.record()) == (["36", "36"], [2, 5])
    other = read(first + f"time,heart_rate,speed\n,bpm,m/s\n{Z[1]},72,36\n")
    assert isinstance(other.error, DamagedFile)
    assert other.error.where == "line 5"
    assert other.values("speed") == ["36"]
    none = ok(first + f"time,heart_rate,speed\n{Z[1]},72,36\n")
    assert none.values("speed") == ["36", "36"]


@pytest.mark.parametrize("many", [1, 30_000])
def test_a_row_of_units_with_a_zone_is_no_header(many: int) -> None:
    rows = "".join(f"2031-03-04 {at // 3600 + 9:02d}:{at // 60 % 60:02d}:{at % 60:02d},71,100\n" for at in range(many))
    result = canonical(f"time,heart_rate,power\nUTC,bpm,W\n{rows}".encode())
    assert not result.code, result.said
    assert [(key, len(rows), rows[0]) for key, rows in result.channels.items()] == [
        ((1, "heart_rate"), many, (US, 71.0)),
        ((1, "power"), many, (US, 100.0)),
    ]


@pytest.mark.parametrize("title", ["ring-B\n", "ring-B,\n", "# device: ring-B\n", "\nring-B,\n\n"])
def test_behind_a_title_the_same_header_begins_another_recording(title: str) -> None:
    result = canonical(f"time,heart_rate\n{Z[0]},70\n{title}time,heart_rate\n{Z[0]},80\n".encode())
    assert result.channels == {(1, "heart_rate"): [(US, 70.0)], (2, "heart_rate"): [(US, 80.0)]}


@pytest.mark.parametrize("row", ["--,--,--", "n/a,n/a,", "Total,,", "mean,71.5,"])
def test_rows_that_are_no_headers_are_rows(row: str) -> None:
    result = canonical(f"{HEAD}{row}\n{Z[1]},72,102\n".encode())
    assert not result.code, result.said
    assert result.channels[1, "heart_rate"] == [(US, 70.0), (US + 1_000_000, 72.0)]


def test_months_with_names_are_no_headers() -> None:
    rows = "".join(f"Mar {day} 2031 09:00:00,71\n" for day in range(1, 29))
    assert len(canonical(f"time (UTC),heart_rate\n{rows}".encode(), Options()).channels[1, "heart_rate"]) == 28


def test_a_word_alone_between_columns_of_one_width_is_damage() -> None:
    lines = "".join(f"2031-03-04T09:{at // 60:02d}:{at % 60:02d}Z                 100\n" for at in range(1200))
    text = f"time                  heart_rate  power\n{lines}2031-03-04T09:59:00Z           72\n"
    result = read(text)
    assert isinstance(result.error, DamagedFile) or result.values("power")[-1] != "72"
