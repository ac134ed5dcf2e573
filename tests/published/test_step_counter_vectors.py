"""Step counters against `fixtures/published/step_counter_vectors.csv` (source in its README)."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from vambrace.counters import RunningTotal

TABLE = Path(__file__).parents[2] / "fixtures" / "published" / "step_counter_vectors.csv"
ROWS = list(csv.DictReader(TABLE.read_text("utf-8").splitlines()))
KINDS = {
    "reset (midnight or reboot)": ["counter_reset"],
    "16-bit rollover": ["counter_rollover"],
    "8-bit rollover": ["counter_rollover"],
    "late duplicate": ["counter_drop"],
}


def readings(text: str) -> tuple[np.ndarray, np.ndarray]:
    """Return the readings of a vector and the name of each one's counter; a missing one makes no row."""
    lists = [part.rpartition(":")[::2] for part in text.split(";")]
    parts = [(name.strip(), [each for each in listed.split() if each != "NA"]) for name, listed in lists]
    # Counters that run side by side give their readings in turn.
    longest = max(len(listed) for _, listed in parts)
    turns = [(name, listed[at]) for at in range(longest) for name, listed in parts if at < len(listed)]
    return np.array([float(value) for _, value in turns]), np.array([name for name, _ in turns])


def test_no_vector_is_left_out() -> None:
    assert len(ROWS) == 8
    assert {row["case"] for row in ROWS} >= KINDS.keys()


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["case"])
def test_a_step_counter(row: dict[str, str]) -> None:
    values, names = readings(row["raw_counter"])
    modulus = 2 ** int(row["width_bits"]) if row["width_bits"] else None
    totals, steps = RunningTotal("total", modulus).add(values, names)
    # What stood on a counter at its first reading is no increase.
    before = sum(float(values[names == name][0]) for name in np.unique(names))
    assert totals[-1] - before == float(row["expected_total_increase"])
    assert [step.kind for step in steps] == KINDS.get(row["case"], [])
    assert (np.diff(totals) >= 0).all()
