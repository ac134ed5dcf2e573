"""Odd tables of known headers: every one ends in rows or in one of our own errors, and cells are never lost."""

from __future__ import annotations

import csv
import io
from collections import Counter
from typing import Any

from hypothesis import assume, given, settings
from hypothesis import strategies as st

from csv_reading import ReadTable, cells_of, read

HEADERS = st.sampled_from(
    [
        *(
            "time",
            "Time (UTC)",
            "time_ms",
            "timestamp (s)",
            "date",
            "start time",
            "end time",
            "start date",
            "elapsed (s)",
        ),
        *("unix time [us]", "timezone", "utc offset", "Date (dd/mm/yyyy)", "Time (Europe/Berlin)", "date/time"),
        *(
            "heart_rate",
            "HR (Hz)",
            "HR (strap-R) [bpm]",
            "SpO2",
            "SpO2 [%]",
            "steps",
            "steps per interval",
            "lat",
            "lng",
        ),
        *("cumulative steps", "step_count", "altitude", "altitude (ft)", "cadence", "sleep level", "RR", "energy_cal"),
        *("device", "serial", "sensor", "user", "note", "", "x"),
    ]
)
CELLS = st.sampled_from(
    [
        *("", " ", "71", "0", "0.97", "1,5", "1,250", "1.250", "-27.5", "1e400", "NaN", "x", "--", "98%", "١٢"),
        *(
            "2031-03-04T09:00:00Z",
            "2031-03-04 09:00:00",
            "2031-03-04",
            "9:05",
            "09:05:00.5",
            "03/04/2031",
            "3.4.2031 9:05",
        ),
        *("13/04/31", "1930381200", "1930381200000", "1078215330", "45352.34", "1.9E+12", "8:15 PM", "+02:00", "UTC"),
        *("Europe/Berlin", "0000-00-00 00:00", "99/99/9999", "5.", ",5", "+", "20310304", "time"),
    ]
)
OPTIONS = st.fixed_dictionaries(
    {},
    optional={
        "time": st.sampled_from(["day-first", "month-first", "epoch-s", "elapsed-ms", "fit-s"]),
        "start": st.just("2031-03-04T09:00:00Z"),
        "decimal": st.sampled_from(["comma", "dot"]),
        "counting": st.sampled_from(["total", "increment"]),
        "units": st.just("altitude=ft; SpO2=fraction; RR=ms; energy_cal=kcal; sleep level=stage"),
        "columns": st.sampled_from(["x=time", "timezone=offset", "user=-", "x=heart_rate; note=date"]),
        "interval_s": st.just(60.0),
    },
)


TIME_OR_KEY = {"date", "time", "timezone", "utc offset", "device", "serial", "sensor", "date/time"}


@st.composite
def tables(draw: Any) -> list[list[str]]:
    header = draw(st.lists(HEADERS, min_size=1, max_size=6, unique=True))
    alike = draw(st.booleans())
    columns = [draw(CELLS) for _ in header]
    body = [columns if alike else [draw(CELLS) for _ in header] for _ in range(draw(st.integers(0, 5)))]
    return [header, *body]


def handed_over(result: ReadTable) -> Counter[str]:
    """How many cells of each column came back as values, or were counted as not carried."""
    found = Counter(
        column.field
        for batch in result.batches
        for column in batch.columns
        for cell in cells_of(column).to_pylist()
        if cell.strip()
    )
    for about in result.recordings.values():
        found.update(about.not_carried)
    return found


def account(header: list[str], body: list[list[str]], result: ReadTable, options: dict[str, Any]) -> None:
    """Every cell is a value, counted as not carried, or part of what says when or by which device."""
    found = handed_over(result)
    for at, name in enumerate(header):
        cells = sum(bool(row[at].strip()) for row in body)
        # In a signal's column this word says that there is no value.
        said = cells - sum(row[at].strip() == "--" for row in body)
        shown = name or f"column {at + 1}"
        is_time = any(word in name.lower() for word in ("time", "date", "elapsed")) or name in TIME_OR_KEY
        by_option = f"{name}=" in options.get("columns", "")
        assert found[shown] in (cells, said) or ((is_time or by_option) and not found[shown]), (name, found)


def written(table: list[list[str]], delimiter: str) -> str:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter).writerows(table)
    return text.getvalue()


@settings(max_examples=250, deadline=None, derandomize=True)
@given(table=tables(), delimiter=st.sampled_from(",;\t"), options=OPTIONS)
def test_every_odd_table_ends_in_a_typed_error_or_accounts_for_every_cell(
    table: list[list[str]], delimiter: str, options: dict[str, Any]
) -> None:
    header, *body = table
    result = read(written(table, delimiter), **options)
    if result.error is not None:
        assert result.error.todo, str(result.error)
        return
    assume(header not in body)
    account(header, body, result, options)


SURE_HEADERS = st.lists(
    st.sampled_from(
        [
            *("heart_rate", "HR (strap-R) [bpm]", "HR (band-A) [bpm]", "SpO2 [%]", "steps per interval", "lat", "lng"),
            *("cumulative steps", "altitude (ft)", "cadence", "device", "serial", "sensor", "note", "", "mood", "id"),
            *("mean heart rate (bpm)", "utc offset", "end time"),
        ]
    ),
    min_size=1,
    max_size=7,
    unique=True,
)
SURE_CELLS = st.sampled_from(["", " ", "71", "0", "0.97", "-27.5", "1e400", "NaN", "x", "--", "1.2.3", "+", "UTC"])
NO_SIGNAL = {"device", "serial", "sensor", "note", "", "mood", "id", "utc offset", "end time"}
SURE_TIMES = st.sampled_from(["2031-03-04T09:00:00Z", "2031-03-04 9:00:00+01:00", "", "2031-02-30T00:00:00Z"])


@settings(max_examples=200, deadline=None, derandomize=True)
@given(data=st.data(), header=SURE_HEADERS, rows=st.integers(0, 6), delimiter=st.sampled_from(",\t"))
def test_a_table_that_leaves_no_question_is_read_and_accounts_for_every_cell(
    data: st.DataObject, header: list[str], rows: int, delimiter: str
) -> None:
    assume(not set(header) <= NO_SIGNAL)
    full = ["time", *header]
    body = [
        [data.draw(SURE_TIMES), *(data.draw(SURE_TIMES if name == "end time" else SURE_CELLS) for name in header)]
        for _ in range(rows)
    ]
    result = read(written([full, *body], delimiter))
    assert result.error is None, str(result.error)
    account(full, body, result, {})
    numbers = {name: [row[at] for row in body] for at, name in enumerate(full)}
    single = len(result.recordings) == 1
    for batch in result.batches:
        for column in batch.columns:
            expected = [numbers[column.field][int(record) - 1] for record in batch.record]
            # A word for "no value" is handed over as an empty cell.
            bare = ["" if text == "--" else text.strip() for text in expected]
            assert [text.strip() for text in cells_of(column).to_pylist()] == bare
            # A row without a single cell is no row.
            assert not single or len(batch) == sum(any(map(str.strip, row)) for row in body)
