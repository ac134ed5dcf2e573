"""Rows that are no measurements: before the header, under it, between tables and at the end."""

from __future__ import annotations

import pytest

from csv_canonical import canonical
from csv_reading import ReadTable, ok, read

T = "2031-03-04T09:00:00Z"
U = "2031-03-04T09:00:01Z"
TABLE = f"time,heart_rate\n{T},70\n{U},71\n"


def notes(result: ReadTable) -> dict[str, str]:
    return {rule: text for rule, _, text in result.notes}


@pytest.mark.parametrize(
    "before",
    [
        "Start time,2031-03-04 09:00:00\n",
        "Date,2031-03-04\nUser,x\n",
        "Date;2031-03-04\n",
        "Time zone,UTC\nUser,x\n",
        "Max heart rate,190\nAge,30\n",
        "Heart rate,71\n\n",
        "Duration,00:10:00\nAverage heart rate,70.5\n",
    ],
)
def test_a_word_and_its_value_before_the_header_are_passed_over(before: str) -> None:
    result = ok(before + TABLE)
    assert result.values("heart_rate") == ["70", "71"]
    assert before.splitlines()[0] in notes(result)["lines-before-header"]


def test_a_table_whose_times_are_not_known_is_not_passed_over() -> None:
    error = read(f"moment,heart_rate,power\n{T},70,100\n\n" + TABLE).error
    assert error is not None
    assert error.code == "no-time-column"
    ok(f"moment,heart_rate,power\n{T},70,100\n\n" + TABLE, columns="moment=time")


def test_a_column_with_a_number_for_a_name_changes_nothing() -> None:
    assert ok(f"time,heart_rate,0\n{T},70,5\n").values("heart_rate") == ["70"]


def test_a_header_of_one_known_word_is_still_the_header_where_no_other_follows() -> None:
    assert ok(f"time,qqq\n{T},70\n", columns="qqq=heart_rate").values("heart_rate") == ["70"]
    error = read(f"time,qqq\n{T},70\n").error
    assert error is not None
    assert error.code == "no-known-column"
    assert ok(f"time,signal,value\n{T},heart_rate,70\n").values("heart_rate") == ["70"]


@pytest.mark.parametrize(
    "text",
    [
        "| time | heart_rate | power |\n|---|---|---|\n| {T} | 71 | 100 |\n| {U} | 72 | 101 |\n",
        "| time | heart_rate | power |\n|:----|:-----:|----:|\n| {T} | 71 | 100 |\n| {U} | 72 | 101 |\n",
        "time | heart_rate | power\n---- | --- | ---\n{T} | 71 | 100\n{U} | 72 | 101\n",
        "        time         | heart_rate | power \n---------------------+------------+------\n"
        " {T} | 71 | 100 \n {U} | 72 | 101 \n",
        "time                  heart_rate  power\n--------------------  ----------  -----\n"
        "{T}          71    100\n{U}          72    101\n",
        "time;heart_rate;power\n====;====;====\n{T};71;100\n{U};72;101\n",
        "time;heart_rate;power\n;bpm;W\n---;---;---\n{T};71;100\n{U};72;101\n",
        "time;heart_rate;power\n---;---;---\n;bpm;W\n{T};71;100\n{U};72;101\n",
    ],
)
@pytest.mark.parametrize("sizes", [[], [1], [50, 7]])
def test_a_line_drawn_under_the_header_is_passed_over_and_said(text: str, sizes: list[int]) -> None:
    result = read(text.format(T=T, U=U), sizes)
    assert result.error is None, str(result.error)
    assert [float(value) for value in result.values("heart_rate")] == [71, 72]
    assert [float(value) for value in result.values("power")] == [100, 101]
    assert not result.rejected
    assert result.notes[("rule-lines", "note", notes(result)["rule-lines"])] == 1


def test_dashes_between_rows_are_no_line() -> None:
    result = ok(f"{TABLE}{T},--\n{U},---\n")
    assert "rule-lines" not in notes(result)
    assert result.values("heart_rate")[:2] == ["70", "71"]


@pytest.mark.parametrize(
    "text",
    [
        "time,spo2\n\n" + TABLE,
        "time,altitude,speed\n" + TABLE,
        TABLE + "\ntime,spo2,altitude\n",
        TABLE + "\ntime,spo2\n\ntime,altitude\n",
        "time,signal,value\n" + TABLE,
        TABLE + "time,signal,value\n",
    ],
)
def test_a_header_without_rows_refuses_no_other_table(text: str) -> None:
    result = ok(text)
    numbers = {batch.recording for batch in result.batches}
    assert [value for number in numbers for value in result.values("heart_rate", number)] == ["70", "71"]
    assert "a header without rows" in notes(result)["empty-table"]
    assert set(result.recordings) == {1}


@pytest.mark.parametrize("mark", [",", ";"])
@pytest.mark.parametrize("word", ["Average", "Total", "Mean HR", "sum", "MAX"])
def test_a_row_that_sums_up_is_set_aside_and_said(word: str, mark: str) -> None:
    text = TABLE.replace(",", mark) + f"{word}{mark}71\n"
    assert f'summary ("{word} 71")' in notes(ok(text))["summary-rows"]
    result = canonical(text.encode())
    assert [value for _, value in result.channels[1, "heart_rate"]] == [70, 71]
    assert [(each.reason, each.record) for each in result.rejected] == [("no-time", 3)]


@pytest.mark.parametrize(
    ("row", "said"),
    [
        ("Total,,6", 'looks like a summary ("Total 6")'),
        ("Average", 'looks like a summary ("Average")'),
        ("Stress", 'looks like a title or a note ("Stress")'),
        ("made by us, version 3, all rights", 'looks like a title or a note ("made by us version 3 all rights")'),
    ],
)
def test_a_row_that_does_not_fit_is_refused_with_what_it_looks_like(row: str, said: str) -> None:
    error = read(f"{TABLE}{row}\n\nmore\n").error
    assert error is not None
    assert said in str(error)
    assert "Take it out" in error.todo
    assert "--salvage" in error.todo


def test_a_row_of_other_cells_is_no_note() -> None:
    error = read(f"time;power\n{T};100\n{T};100;5\n").error
    assert error is not None
    assert "looks like" not in str(error)


def test_the_header_of_an_unknown_table_is_refused_with_a_way_on() -> None:
    error = read(f"{TABLE}event,note\nlap,good\n{U},72\n").error
    assert error is not None
    assert "into a file of their own" in error.todo
