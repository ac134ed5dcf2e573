"""Tables with odd times under any options: every row is kept or set aside, or the table is refused; nothing fails."""

from __future__ import annotations

from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from csv_canonical import canonical
from vambrace_plugins.importers.csv import Options

START = "2031-03-04T09:00:00Z"
DATES = [
    "2024-03-01",
    "01/03/2024",
    "13.03.24",
    "1 Mar 2024",
    "Mar 1, 24",
    "Fri, 01 Mar 2024",
    "2024-02-30",
    "31.12.99",
]
CLOCKS = ["10:15", "1:05:07", "23:59:59.5", "00:00", "12:00 PM", "8:15 a.m.", "24:00:00", "99:99", "5 PM", "125:30"]
ZONES = [
    "PST",
    "CET",
    "XYZ",
    "UTC",
    "Z",
    "+02",
    "+02:00",
    "[Europe/Berlin]",
    "Europe/Berlin",
    "Foo/Bar",
    "(UTC)",
    "GMT+1",
]
COUNTS = ["1709280930", "1.7E+12", "1.709280930E+09", "45352.5", "0", "-3", "1e999", "PT1M", "1 days 00:00:01"]
OTHERS = ["", "soon", "é", "[", "20240301T081530", "2026-10-25 02:30:00", "P1DT", "1 days 00:00:01 PT1M"]
CELLS = st.one_of(
    st.sampled_from([*DATES, *CLOCKS, *COUNTS, *OTHERS]),
    st.tuples(st.sampled_from(DATES), st.sampled_from(CLOCKS)).map(" ".join),
    st.tuples(st.sampled_from(CLOCKS), st.sampled_from(ZONES)).map(" ".join),
    st.tuples(st.sampled_from(DATES), st.sampled_from(CLOCKS), st.sampled_from(ZONES)).map(" ".join),
)
HEADERS = [
    *(
        "time",
        "timestamp",
        "elapsed",
        "elapsed (mm:ss)",
        "time (min)",
        "time_utc",
        "time_pst",
        "time (CET/CEST)",
        "date",
    ),
    *(
        "date;time",
        "date (UTC);time (h:mm)",
        "start time;end time",
        "time;timezone",
        "time (dd/mm/yy)",
        "time (Foo/Bar)",
    ),
]
OPTIONS: list[dict[str, Any]] = [
    *({}, {"date": "2031-03-04"}, {"start": START}, {"century": "20"}, {"time": "day-first"}, {"zones": "PST=-08:00"}),
    *({"repeated_hour": "row-order"}, {"columns": "timezone=offset"}, {"time": "serial-1900"}, {"time": "epoch-ms"}),
    *({"time": "year-first", "century": "19"}, {"time": "elapsed-mm:ss", "start": START}, {"time": "elapsed-min"}),
]


@settings(max_examples=300, deadline=None, derandomize=True)
@given(
    header=st.sampled_from(HEADERS),
    often=st.lists(CELLS, min_size=2, max_size=2),
    odd=st.lists(st.tuples(st.integers(0, 11), CELLS), max_size=2),
    options=st.lists(st.sampled_from(OPTIONS), max_size=2),
    zone=st.sampled_from([None, "UTC", "Europe/Berlin"]),
)
def test_every_row_is_kept_or_set_aside_or_the_table_is_refused(
    header: str, often: list[str], odd: list[tuple[int, str]], options: list[dict[str, Any]], zone: str | None
) -> None:
    width = header.count(";") + 1
    rows = [often[:width] for _ in range(12)]
    for at, cell in odd:
        rows[at] = [cell, *rows[at][1:]]
    table = "\n".join([f"{header};heart_rate", *(";".join([*row, "60"]) for row in rows)]) + "\n"
    said = {name: value for one in options for name, value in one.items()}
    result = canonical(table.encode(), Options(**said), zone)
    assert result.code not in {"plugin-fault", "damaged-file"}, f"{result.said}\n{table}{said}"
    if not result.code:
        assert len(result.channels.get((1, "heart_rate"), [])) + len(result.rejected) == len(rows)
