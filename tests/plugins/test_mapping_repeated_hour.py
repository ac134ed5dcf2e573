"""The hour that a clock shows twice in an export that a mapping explains: told apart by the order of the rows."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from mapped import export

MAPPING = """
name = "band"
[recognise]
header = ["when", "pulse"]
[source]
kind = "{kind}"
{records}
[time]
column = "when"
{said}
[[signals]]
field = "pulse"
signal = "heart_rate"
unit = "bpm"
"""
# zoneinfo is the outside source of what a clock in Berlin showed.
INSTANTS = [datetime(2026, 10, 25, tzinfo=UTC) + timedelta(minutes=10 * row) for row in range(16)]
CLOCKS = [f"{each.astimezone(ZoneInfo('Europe/Berlin')):%Y-%m-%dT%H:%M:%S}" for each in INSTANTS]
TABLE = "when,pulse\n" + "".join(f"{clock},{60 + row}\n" for row, clock in enumerate(CLOCKS))
DOCUMENT = json.dumps({"rows": [{"when": clock, "pulse": 60 + row} for row, clock in enumerate(CLOCKS)]})


@pytest.mark.parametrize(("kind", "data"), [("csv", TABLE), ("json", DOCUMENT)])
def test_a_mapping_says_that_the_order_of_rows_parts_the_hour(kind: str, data: str) -> None:
    records = 'records = "rows[]"' if kind == "json" else ""
    silent = export(MAPPING.format(kind=kind, records=records, said=""), data.encode(), zone="Europe/Berlin")
    assert {each.reason for each in silent.rejected} == {"time-ambiguous"}
    assert len(silent.rejected) == 12
    said = MAPPING.format(kind=kind, records=records, said='repeated_hour = "row-order"')
    told = export(said, data.encode(), zone="Europe/Berlin")
    assert not told.rejected
    expected = [(int(each.timestamp()) * 1_000_000, 60.0 + row) for row, each in enumerate(INSTANTS)]
    assert told.values[1, "heart_rate"] == expected
    assert [text for text in told.conversions[1] if "told apart by row order, as the mapping says" in text]


def test_another_word_for_it_is_refused_with_its_line() -> None:
    with pytest.raises(Exception, match=r"band.toml, line 10.*repeated_hour"):
        export(MAPPING.format(kind="csv", records="", said='repeated_hour = "first"'), TABLE.encode())
