"""Every row of the published time vectors, read through the importer as a file's rows (sources in their README)."""

from __future__ import annotations

import csv
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from csv_instants import instants, iso, reading_of, sentences

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


TEXTS = rows("datetime_string_vectors.csv")
ZONES = rows("time_vectors.csv")
TWICE = [row for row in ZONES if row["kind"] == "ambiguous" and row["utc_fold0"] >= "1990"]
EPOCHS = rows("epoch_offsets.csv")
# What the vectors' own column says of a count or an order, as the user of a file says it.
OPTIONS: dict[str, dict[str, str]] = {
    **{f"epoch {unit}": {"time": f"epoch-{unit}"} for unit in ("s", "ms", "us", "ns")},
    "FIT s": {"time": "fit-s"},
    "serial 1900": {"time": "serial-1900"},
    "serial 1904": {"time": "serial-1904"},
    "UTC (MDY)": {"time": "month-first"},
}


ROW_ORDER: dict[str, Any] = {"repeated_hour": "row-order"}
# The core sets instants before 1990 aside, whatever they are written as.
EARLY = "1990"


def zone_of(row: dict[str, str]) -> str | None:
    rule = row["zone_or_rule"]
    if "/" in rule:
        return rule
    return "UTC" if rule.startswith(("UTC", "serial")) else None


def utc(text: str) -> str:
    """Return an expected instant to the microsecond, cut off as a parser of microseconds does."""
    return datetime.fromisoformat(text[:26].removesuffix("Z")).isoformat() + "Z"


def test_all_vectors_are_here() -> None:
    assert (len(TEXTS), len(ZONES), len(EPOCHS)) == (30, 36, 8)


@pytest.mark.parametrize("row", TEXTS, ids=lambda row: f"{row['text']} {row['zone_or_rule']}")
def test_each_date_time(row: dict[str, str]) -> None:
    result = reading_of("time", [row["text"]], zone_of(row), **OPTIONS.get(row["zone_or_rule"], {}))
    if row["expected"] in {"CONFLICT", "NONEXISTENT"} or (
        row["expected"] == "AMBIGUOUS" and "/" in row["zone_or_rule"]
    ):
        reason = "time-nonexistent" if row["expected"] == "NONEXISTENT" else "time-ambiguous"
        assert [each.reason for each in result.rejected] == [reason]
        assert not result.channels
    elif row["expected"] == "AMBIGUOUS":
        assert result.code == "time-two-readings"
    else:
        assert instants(result) == [utc(row["expected"])]


@pytest.mark.parametrize("unit", ["s", "ms", "us", "ns"])
def test_counts_whose_header_says_no_unit_are_read_by_their_range(unit: str) -> None:
    (row,) = (row for row in TEXTS if row["zone_or_rule"] == f"epoch {unit}")
    result = reading_of("timestamp", [row["text"]])
    assert instants(result) == [utc(row["expected"])]
    assert any(f"only in {unit} are they dates" in text for text in sentences(result))


def test_seconds_of_fit_are_never_taken_for_others_by_their_digits() -> None:
    (row,) = (row for row in TEXTS if row["zone_or_rule"] == "FIT s")
    result = reading_of("timestamp", [row["text"]])
    assert result.code == "time-two-readings"
    assert "2004-03-02" in result.said
    assert "2024-03-01" in result.said


@pytest.mark.parametrize("row", ZONES, ids=lambda row: f"{row['local']} {row['zone']}")
@pytest.mark.parametrize("how", ["--zone", "header", "behind", "brackets"])
def test_each_wall_clock_in_its_zone(row: dict[str, str], how: str) -> None:
    header = f"time ({row['zone']})" if how == "header" else "time"
    behind = {"behind": f" {row['zone']}", "brackets": f"[{row['zone']}]"}.get(how, "")
    result = reading_of(header, [row["local"] + behind], row["zone"] if how == "--zone" else None)
    early = row["kind"] == "unique" and row["utc_fold0"] < EARLY
    if row["kind"] == "unique" and not early:
        assert instants(result) == [row["utc_fold0"]]
    else:
        assert [each.reason for each in result.rejected] == ["time-implausible" if early else f"time-{row['kind']}"]


@pytest.mark.parametrize(
    "row", [row for row in ZONES if row["kind"] != "nonexistent"], ids=lambda row: f"{row['local']} {row['zone']}"
)
@pytest.mark.parametrize("blank", ["", " "])
@pytest.mark.parametrize("named", [False, True])
def test_each_wall_clock_with_its_offset(row: dict[str, str], blank: str, named: bool) -> None:
    for fold in ("0", "1") if row["kind"] == "ambiguous" else ("0",):
        tag = f"[{row['zone']}]" if named else ""
        result = reading_of("time", [f"{row['local']}{blank}{row[f'offset_fold{fold}']}{tag}"])
        expected = row[f"utc_fold{fold}"]
        if expected < EARLY:
            assert [each.reason for each in result.rejected] == ["time-implausible"]
        else:
            assert instants(result) == [expected]


@pytest.mark.parametrize("row", TWICE, ids=lambda row: f"{row['local']} {row['zone']}")
def test_each_repeated_time_is_told_by_row_order(row: dict[str, str]) -> None:
    """The vector's own time in both passes; between them the last second of the first and the first of the second."""
    width = datetime.fromisoformat(row["utc_fold1"]) - datetime.fromisoformat(row["utc_fold0"])
    last = datetime.fromisoformat(row["local"]).replace(minute=59, second=59)
    first = last + timedelta(seconds=1) - width
    result = reading_of("time", [row["local"], f"{last}", f"{first}", row["local"]], row["zone"], **ROW_ORDER)
    found = instants(result)
    assert (found[0], found[-1], len(found)) == (row["utc_fold0"], row["utc_fold1"], 4)


@pytest.mark.parametrize("row", EPOCHS, ids=lambda row: row["epoch"])
def test_each_epoch_in_a_header(row: dict[str, str]) -> None:
    """A count of seconds whose header names the epoch's date: 2024-03-01T08:15:30Z is 1709280930 of Unix time."""
    count = 1_709_280_930 - int(row["unix_seconds"])
    if "spreadsheet" in row["epoch"]:
        option = "serial-1904" if "1904" in row["epoch"] else "serial-1900"
        result = reading_of("time", [f"{count / 86_400:.10f}"], "UTC", time=option)
        assert instants(result)[0][:19] in {"2024-03-01T08:15:30", "2024-03-01T08:15:29"}
        return
    result = reading_of(f"time (s since {row['epoch'].split()[-1]})", [str(count)])
    assert instants(result) == ["2024-03-01T08:15:30Z"]
    assert sentences(result)[0] == f"times: s since {iso(int(row['unix_seconds']) * 1_000_000)}"
