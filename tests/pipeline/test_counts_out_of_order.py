"""Counts whose rows do not stand in the order of time: never joined the wrong way round."""

from __future__ import annotations

from pathlib import Path

import pytest

from converted import ledger, samples, table
from vambrace.api import convert

NEWEST_FIRST = [("08:02", 60), ("08:01", 40), ("08:00", 10)]


def _table(folder: Path, header: str, rows: list[tuple[str, int]]) -> Path:
    folder.mkdir()
    lines = [f"time,{header}", *(f"2024-03-01T{time}:00Z,{value}" for time, value in rows)]
    (folder / "counts.csv").write_text("\n".join(lines) + "\n")
    return folder


def _convert(folder: Path, dataset: Path) -> tuple[str, str | None]:
    convert([folder], dataset)
    row = ledger(dataset)["counts.csv"]
    return row["status"], row["reason"]


@pytest.mark.parametrize("header", ["cumulative steps", "steps per interval", "cumulative distance (m)"])
def test_counts_with_the_newest_row_first_are_refused(tmp_path: Path, header: str) -> None:
    status, reason = _convert(_table(tmp_path / "in", header, NEWEST_FIRST), tmp_path / "ds")
    assert status == "rejected"
    assert reason is not None
    assert "record 2" in reason
    assert "Sort its rows by time" in reason


def test_one_counter_row_out_of_order_is_no_reset(tmp_path: Path) -> None:
    rows = [("08:02", 30), ("08:00", 10), ("08:01", 20)]
    status, reason = _convert(_table(tmp_path / "in", "cumulative steps", rows), tmp_path / "ds")
    assert (status, "its time goes back here" in (reason or "")) == ("rejected", True)


def test_a_clock_that_was_set_back_leaves_a_rising_counter_alone(tmp_path: Path) -> None:
    rows = [("08:02", 10), ("08:01", 20), ("08:03", 30)]
    assert _convert(_table(tmp_path / "in", "cumulative steps", rows), tmp_path / "ds")[0] == "converted"
    assert samples(tmp_path / "ds")["value"].to_pylist() == [20.0, 10.0, 30.0]


def test_sorted_as_the_refusal_says_it_converts(tmp_path: Path) -> None:
    folder = _table(tmp_path / "in", "cumulative steps", sorted(NEWEST_FIRST))
    assert _convert(folder, tmp_path / "ds") == ("converted", None)
    assert samples(tmp_path / "ds")["value"].to_pylist() == [10.0, 40.0, 60.0]


def test_other_signals_may_stand_newest_first(tmp_path: Path) -> None:
    folder = _table(tmp_path / "in", "heart rate (bpm)", NEWEST_FIRST)
    assert _convert(folder, tmp_path / "ds") == ("converted", None)
    assert samples(tmp_path / "ds")["value"].to_pylist() == [10.0, 40.0, 60.0]


def test_increments_of_one_instant_are_added_and_that_is_found(tmp_path: Path) -> None:
    rows = [("08:00", 10), ("08:01", 20), ("08:01", 20), ("08:02", 5)]
    _convert(_table(tmp_path / "in", "steps per interval", rows), tmp_path / "ds")
    found = [(row["rule"], row["signal"], row["count"]) for row in table(tmp_path / "ds", "findings")]
    # Few samples stand here, and two at one time: the rules of validation find that too.
    found = [each for each in found if each[0] not in ("duplicate-time", "too-few-samples")]
    assert found == [("counts-at-one-time", "step_count", 1)]
