"""Honest recordings that are not evenly sampled: pauses, stages of every length, rows that stand newest first."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from vambrace.batch import NO_END
from vambrace.rules import Evaluation, Finding

S = 1_000_000
START = 1_748_736_000 * S


def found(signal: str, seconds: Sequence[int], value: Sequence[float], ends: Sequence[int] | None = None) -> list[str]:
    return [each.rule for each in judged(signal, seconds, value, ends)]


def judged(
    signal: str, seconds: Sequence[int], value: Sequence[float], ends: Sequence[int] | None = None
) -> list[Finding]:
    rules = Evaluation()
    time = START + np.array(seconds, np.int64) * S
    until = np.full(len(time), NO_END) if ends is None else START + np.array(ends, np.int64) * S
    rules.in_time_order(("r.1", signal), time, until, np.array(value, float), np.arange(1, len(time) + 1))
    return list(rules.findings())


def test_a_pause_between_equal_values_is_no_flat_line() -> None:
    seconds = [*range(200), *range(7200, 7400)]
    assert found("heart_rate", seconds, [72] * 400) == ["gap"]


def test_equal_values_once_a_minute_are_a_flat_line() -> None:
    assert found("heart_rate", range(0, 3600, 60), [72] * 60) == ["flat-line"]


def test_a_heart_rate_that_equals_the_steps_before_and_after_a_pause_is_not_locked() -> None:
    rules = Evaluation()
    seconds = np.array([*range(20), *range(3600, 3620)])
    rows, value = np.arange(40), np.full(40, 110.0)
    column = (rows, START + seconds * S, value)
    rules.file.side_by_side("r.1", {"heart_rate": column, "cadence": column}, rows, steps=True)
    assert not list(rules.findings())


def test_stages_of_every_length_leave_no_gap() -> None:
    length = [30, 60, 90, 30, 2700, 60, 30, 1200, 30, 60, 90]
    ends = np.cumsum(length)
    assert not found("sleep_stage", (ends - length).tolist(), [2] * 11, ends.tolist())


def test_time_that_no_stage_covers_is_a_gap() -> None:
    start = [0, 30, 60, 90, 120, 150, 180, 210, 1440, 1470]
    (gap,) = judged("sleep_stage", start, [2] * 10, [each + 30 for each in start])
    assert (gap.rule, gap.worst, gap.first_record, gap.last_record) == ("gap", 1200.0, 8, 9)


@pytest.mark.parametrize(("seconds", "severity"), [(range(60, 0, -1), "note"), ([*range(60, 2, -1), 9, 8], "warning")])
def test_rows_that_stand_newest_first_are_worth_a_note(seconds: Sequence[int], severity: str) -> None:
    rules = Evaluation()
    for cut in (slice(0, 7), slice(7, None)):
        time = START + np.array(seconds)[cut] * S
        rules.file.kept("r.1", "heart_rate", time, np.arange(len(time)))
    (back,) = rules.findings()
    assert (back.rule, back.severity) == ("time-goes-back", severity)
    assert ("newest first" in back.message) == (severity == "note")
