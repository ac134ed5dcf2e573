"""Times against `fixtures/published` (sources in its README): zones, texts, declared epochs."""

from __future__ import annotations

import csv
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from vambrace.batch import FAULTS, Times
from vambrace.clock import to_utc

PUBLISHED = Path(__file__).parents[2] / "fixtures" / "published"
FAULT_OF = {"AMBIGUOUS": "time-ambiguous", "NONEXISTENT": "time-nonexistent", "CONFLICT": "time-ambiguous"}


def rows(name: str) -> list[dict[str, str]]:
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def microseconds(text: str) -> int:
    return (datetime.fromisoformat(text.removesuffix("Z")) - datetime(1970, 1, 1)) // timedelta(microseconds=1)


ZONES = rows("time_vectors.csv")
EPOCHS = {
    **{f"epoch {unit}": {"unit": unit} for unit in ("s", "ms", "us", "ns")},
    "FIT s": {"unit": "s", "epoch_s": 631065600},
    "serial 1900": {"unit": "d", "epoch_s": -2209161600},
    "serial 1904": {"unit": "d", "epoch_s": -2082844800},
}
TEXTS = [row for row in rows("datetime_string_vectors.csv") if "/" not in row["text"].partition("[")[0]]
ISO = [row for row in TEXTS if row["zone_or_rule"] not in EPOCHS]
COUNTS = [row for row in TEXTS if row["zone_or_rule"] in EPOCHS]


def test_no_vector_is_left_out() -> None:
    assert (len(ZONES), len(ISO), len(COUNTS)) == (36, 18, 7)
    assert len(rows("datetime_string_vectors.csv")) - len(TEXTS) == 5  # day and month orders: no ISO 8601


@pytest.mark.parametrize("row", ZONES, ids=lambda row: f"{row['local']} {row['zone']}")
def test_a_wall_clock_in_its_zone(row: dict[str, str]) -> None:
    found = to_utc(Times([row["local"]]), row["zone"])
    if row["kind"] == "unique":
        assert (found.fault[0], found.us[0]) == (0, microseconds(row["utc_fold0"]))
    else:
        assert FAULTS[found.fault[0] - 1] == f"time-{row['kind']}"
    assert (found.zone, found.known_by) == (row["zone"], "")


@pytest.mark.parametrize(
    "row", [row for row in ZONES if row["kind"] != "nonexistent"], ids=lambda row: f"{row['local']} {row['zone']}"
)
def test_the_offset_decides_where_it_is_written(row: dict[str, str]) -> None:
    for fold in ("0", "1") if row["kind"] == "ambiguous" else ("0",):
        found = to_utc(Times([f"{row['local']}{row[f'offset_fold{fold}']}"]), None)
        assert (found.fault[0], found.us[0]) == (0, microseconds(row[f"utc_fold{fold}"]))
        tagged = to_utc(Times([f"{row['local']}{row[f'offset_fold{fold}']}[{row['zone']}]"]), None)
        assert (tagged.fault[0], tagged.us[0]) == (0, microseconds(row[f"utc_fold{fold}"]))
        assert (tagged.zone, tagged.known_by) == (row["zone"], "in file")


def test_all_of_a_zone_in_one_column() -> None:
    for zone in sorted({row["zone"] for row in ZONES}):
        own = [row for row in ZONES if row["zone"] == zone]
        found = to_utc(Times([row["local"] for row in own]), zone)
        expected = [0 if row["kind"] == "unique" else 1 + FAULTS.index(f"time-{row['kind']}") for row in own]
        assert found.fault.tolist() == expected
        good = [microseconds(row["utc_fold0"]) for row in own if row["kind"] == "unique"]
        assert found.us[found.fault == 0].tolist() == good


@pytest.mark.parametrize("row", ISO, ids=lambda row: row["text"])
def test_a_text(row: dict[str, str]) -> None:
    found = to_utc(Times([row["text"]]), row["zone_or_rule"] or None)
    if row["expected"] in FAULT_OF:
        assert FAULTS[found.fault[0] - 1] == FAULT_OF[row["expected"]]
    else:
        assert found.fault[0] == 0
        assert found.us[0] == microseconds(row["expected"][:26].removesuffix("Z"))
    assert found.cut == int("7 digits" in row["note"])
    assert found.leap == int("leap second" in row["note"])


@pytest.mark.parametrize("row", COUNTS, ids=lambda row: f"{row['text']} {row['zone_or_rule']}")
def test_a_declared_count(row: dict[str, str]) -> None:
    how: dict[str, Any] = {"basis": "utc", **EPOCHS[row["zone_or_rule"]]}
    found = to_utc(Times([row["text"]], **how), None)
    assert (found.fault[0], found.us[0]) == (0, microseconds(row["expected"]))
    number = np.array([float(row["text"]) if how["unit"] == "d" else int(row["text"])])
    assert to_utc(Times(number, **how), None).us[0] == microseconds(row["expected"])


@pytest.mark.parametrize("row", rows("epoch_offsets.csv"), ids=lambda row: row["epoch"])
def test_an_epoch_is_its_date(row: dict[str, str]) -> None:
    date = "1904-01-01" if "1904" in row["epoch"] else row["epoch"].split()[-1]
    written = to_utc(Times([f"{date}T00:00:00Z"]), None)
    counted = to_utc(Times(np.array([0]), unit="s", basis="utc", epoch_s=int(row["unix_seconds"])), None)
    assert written.us.tolist() == counted.us.tolist() == [int(row["unix_seconds"]) * 1_000_000]
    assert written.fault.tolist() == counted.fault.tolist() == [0]
