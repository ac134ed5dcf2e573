"""What is set aside, and for which of its faults."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest

from vambrace import screen
from vambrace.batch import Candidates, Column
from vambrace.errors import Reason
from vambrace.schema import SIGNALS


def column(signal: str, values: Sequence[float | None], garbled: Sequence[int] = ()) -> Candidates:
    value = np.array([np.nan if each is None else each for each in values])
    present = np.array([each is not None for each in values])
    wrong = np.zeros(len(values), bool)
    wrong[list(garbled)] = True
    present |= wrong
    return Candidates(Column(signal, value, SIGNALS[signal].unit), np.where(wrong, np.nan, value), present, wrong)


def judge(*columns: Candidates, time: Sequence[int] = ()) -> list[list[str]]:
    faults = screen.faults(columns, np.array(time or [0] * len(columns[0]), np.uint8))
    return [["" if not each else screen.REASONS[each - 1] for each in fault.tolist()] for fault in faults]


@pytest.mark.parametrize("name", [name for name in SIGNALS if name not in ("latitude", "longitude", "sleep_stage")])
def test_domain_is_inclusive_at_both_ends(name: str) -> None:
    low, high = SIGNALS[name].domain
    values = [low, np.nextafter(low, -np.inf), *([high, np.nextafter(high, np.inf)] if np.isfinite(high) else [])]
    expected = ["", "outside-domain", *(["", "outside-domain"] if np.isfinite(high) else [])]
    assert judge(column(name, values)) == [expected]


def test_absent_values_are_never_set_aside() -> None:
    assert judge(column("heart_rate", [None, 70]), time=[1, 0]) == [["", ""]]


def test_garbled_comes_before_time_and_time_before_domain() -> None:
    faults = judge(column("heart_rate", [None, 9999, 9999], garbled=[0]), time=[1, 2, 0])
    assert faults == [["not-a-number", "time-ambiguous", "outside-domain"]]


def test_a_bad_half_takes_the_other_half_along() -> None:
    latitude, longitude = column("latitude", [99, 10, 10, None]), column("longitude", [5, 5, None, 5])
    first, second = judge(latitude, longitude)
    assert first == ["outside-domain", "", "half-a-fix", ""]
    assert second == ["half-a-fix", "", "", "half-a-fix"]


def test_both_bad_halves_keep_their_own_reason() -> None:
    assert judge(column("latitude", [99]), column("longitude", [200])) == [["outside-domain"], ["outside-domain"]]


def test_a_latitude_without_any_longitude_is_half_a_fix() -> None:
    assert judge(column("latitude", [10])) == [["half-a-fix"]]


def test_unknown_codes_are_named_so() -> None:
    assert judge(column("sleep_stage", [0, 3, 5, 12, 7.5])) == [["", "", "unknown-code", "", "unknown-code"]]


def test_suspect_is_outside_plausible_only() -> None:
    assert screen.suspect("heart_rate", np.array([19.9, 20, 250, 250.1])).tolist() == [True, False, False, True]
    assert screen.suspect("step_count", np.array([1e12])).tolist() == [False]


def test_every_reason_has_a_number() -> None:
    assert sorted(screen.REASONS) == sorted(reason.value for reason in Reason)
    assert [screen.REASONS[screen.number(reason) - 1] for reason in Reason] == [reason.value for reason in Reason]
