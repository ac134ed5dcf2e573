"""A thousand tables in random legal notations, cut anywhere: the exact rows."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

from csv_canonical import Rows, canonical
from vambrace_plugins.importers.csv import Options

FIRST = datetime(2031, 3, 14, tzinfo=UTC)
Write = Callable[[datetime], list[str]]


def _pattern(*patterns: str) -> Write:
    return lambda at: [at.strftime(pattern) for pattern in patterns]


def _offset(at: datetime) -> list[str]:
    return [at.astimezone(timezone(timedelta(hours=-5, minutes=-30))).isoformat()]


def _count(per_second: int) -> Write:
    return lambda at: [str(int(at.timestamp()) * per_second)]


def _pacific(at: datetime) -> list[str]:
    return [at.astimezone(timezone(timedelta(hours=-8))).strftime("%Y-%m-%d %H:%M:%S")]


# Headers, what writes an instant under them, and what is said by option.
NOTATIONS: list[tuple[list[str], Write, dict[str, Any]]] = [
    (["time"], _pattern("%Y-%m-%dT%H:%M:%SZ"), {}),
    (["Time (UTC)"], _pattern("%Y-%m-%d %H:%M:%S"), {}),
    (["time"], _offset, {}),
    (["unix time [s]"], _count(1), {}),
    (["unix time [ms]"], _count(1000), {}),
    (["timestamp"], _count(1_000_000), {"time": "epoch-us"}),
    (["date", "time (UTC)"], _pattern("%Y-%m-%d", "%H:%M:%S"), {}),
    (["time (UTC)"], _pattern("%d.%m.%Y %H:%M:%S"), {"time": "day-first"}),
    (["time (UTC)"], _pattern("%m/%d/%Y %H:%M:%S"), {"time": "month-first"}),
    (["time (UTC)"], _pattern("%Y/%m/%d %H:%M:%S"), {}),
    (["time"], _pattern("%Y-%m-%d %H:%M:%S +0000"), {}),
    (["time"], _pattern("%a, %d %b %Y %I:%M:%S %p UTC"), {}),
    (["date", "time"], _pattern("%B %d, %Y", "%H:%M:%S (UTC)"), {}),
    (["time"], _pattern("%d.%m.%y %H:%M:%S Z"), {"time": "day-first", "century": "20"}),
    (["time_pst"], _pacific, {"zones": "PST=-08:00"}),
    (["elapsed"], lambda at: [str(at - FIRST)], {"start": "2031-03-14T00:00:00Z"}),
]
POWER = st.one_of(st.none(), st.integers(0, 40_000).map(lambda hundredths: hundredths / 100))
RATE = st.one_of(st.none(), st.integers(30, 220).map(float))
ROWS = st.lists(st.tuples(st.integers(0, 86_399), RATE, POWER), min_size=1, max_size=8)


@settings(max_examples=1000, deadline=None, derandomize=True)
@given(
    rows=ROWS,
    notation=st.sampled_from(NOTATIONS),
    dialect=st.tuples(st.sampled_from(",;\t|"), st.sampled_from(["\n", "\r\n"]), st.sampled_from(".,"), st.booleans()),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-32"]),
    pieces=st.lists(st.integers(1, 90), min_size=1, max_size=4),
)
def test_a_table_in_any_legal_notation_gives_its_exact_rows(
    rows: list[tuple[int, float | None, float | None]],
    notation: tuple[list[str], Write, dict[str, Any]],
    dialect: tuple[str, str, str, bool],
    encoding: str,
    pieces: list[int],
) -> None:
    heads, write, options = notation
    delimiter, end, mark, quoted = dialect
    text = io.StringIO(newline="")
    quoting = csv.QUOTE_ALL if quoted else csv.QUOTE_MINIMAL
    writer = csv.writer(text, delimiter=delimiter, lineterminator=end, quoting=quoting)  # type: ignore[arg-type]
    writer.writerow([*heads, "heart_rate", "power [W]"])
    wanted: dict[str, Rows] = {"heart_rate": [], "power": []}
    for second, rate, power in rows:
        at = FIRST + timedelta(seconds=second)
        shown = "" if power is None else f"{power:.2f}".replace(".", mark)
        writer.writerow([*write(at), "" if rate is None else str(int(rate)), shown])
        for signal, value in (("heart_rate", rate), ("power", power)):
            if value is not None:
                wanted[signal].append((int(at.timestamp()) * 1_000_000, value))
    said = Options(**options, delimiter=delimiter, decimal=mark)
    result = canonical(text.getvalue().encode(encoding), said, pieces=pieces)
    assert result.code == "", result.said
    assert result.rejected == []
    assert {signal: result.channels.get((1, signal), []) for signal in wanted} == wanted
