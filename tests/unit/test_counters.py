"""Running totals: what is joined, what is held, and what is said of it."""

from __future__ import annotations

import numpy as np
import pytest

from vambrace.counters import RunningTotal


def joined(values: list[float], counters: str | list[str] = "", modulus: float | None = None) -> list[float]:
    names = counters if isinstance(counters, str) else np.array(counters)
    return RunningTotal("total", modulus).add(np.array(values, float), names)[0].tolist()


def happened(
    values: list[float], counters: str | list[str] = "", modulus: float | None = None
) -> list[tuple[int, str]]:
    names = counters if isinstance(counters, str) else np.array(counters)
    return [(step.row, step.kind) for step in RunningTotal("total", modulus).add(np.array(values, float), names)[1]]


def test_increments_are_added_up_from_zero() -> None:
    total = RunningTotal("increment")
    assert total.add(np.array([3.0, 0.0, 4.0]))[0].tolist() == [3, 3, 7]
    assert total.add(np.array([]))[0].tolist() == []
    assert total.add(np.array([5.0]))[0].tolist() == [12]


def test_a_rising_counter_stays_as_it_is() -> None:
    readings = [4000.1, 4000.3, 4000.3, 4123.7]
    assert joined(readings) == readings
    assert happened(readings) == []


def test_a_fall_by_more_than_half_is_a_reset() -> None:
    assert joined([100, 40, 60]) == [100, 140, 160]
    assert happened([100, 40, 60]) == [(1, "counter_reset")]


def test_a_reset_to_zero_and_several_of_them() -> None:
    assert joined([10, 0, 0, 10, 4, 1]) == [10, 10, 10, 20, 24, 25]
    assert happened([10, 0, 0, 10, 4, 1]) == [(1, "counter_reset"), (4, "counter_reset"), (5, "counter_reset")]


def test_a_fall_to_exactly_half_is_no_reset() -> None:
    assert joined([100, 50, 99, 101]) == [100, 100, 100, 101]
    assert happened([100, 50, 99, 101]) == [(1, "counter_drop")]


def test_each_fall_below_the_former_high_is_said_once() -> None:
    readings = [100, 90, 95, 100, 99, 120, 110]
    assert joined(readings) == [100, 100, 100, 100, 100, 120, 120]
    assert happened(readings) == [(1, "counter_drop"), (4, "counter_drop"), (6, "counter_drop")]


def test_a_reset_is_measured_against_the_high_not_the_last_reading() -> None:
    assert happened([100, 60, 49]) == [(1, "counter_drop"), (2, "counter_reset")]
    assert joined([100, 60, 49]) == [100, 100, 149]


def test_a_roll_over_only_with_a_declared_modulus() -> None:
    assert joined([65500, 20], modulus=65536) == [65500, 65556]
    assert happened([65500, 20], modulus=65536) == [(1, "counter_rollover")]
    assert joined([65500, 20]) == [65500, 65520]
    assert happened([65500, 20]) == [(1, "counter_reset")]


@pytest.mark.parametrize(
    ("readings", "kind", "last"),
    [
        ([200, 100], "counter_drop", 200),  # through the roll-over it would be 156 more, no less than half
        ([200, 30], "counter_rollover", 286),
        ([100, 10], "counter_reset", 110),  # 166 more
        ([250, 240], "counter_drop", 250),
        ([300, 20], "counter_reset", 320),  # beyond the modulus: it cannot have rolled over there
    ],
)
def test_with_a_modulus_the_shorter_way_is_taken(readings: list[float], kind: str, last: float) -> None:
    assert happened(readings, modulus=256) == [(1, kind)]
    assert joined(readings, modulus=256)[-1] == last


def test_named_counters_are_summed_and_each_begins_as_it_stands() -> None:
    names = ["walking", "running", "walking", "running", "walking"]
    assert joined([100, 40, 150, 60, 160], names) == [100, 140, 190, 210, 220]


def test_named_counters_reset_on_their_own() -> None:
    names = ["walking", "running", "walking", "running"]
    total = RunningTotal()
    totals, steps = total.add(np.array([100.0, 40, 10, 50]), np.array(names))
    assert totals.tolist() == [100, 140, 150, 160]
    assert [(step.row, step.kind) for step in steps] == [(2, "counter_reset")]
    assert "the counter walking fell from 100 to 10" in steps[0].text


def test_a_counter_that_is_silent_in_a_batch_still_counts() -> None:
    total = RunningTotal()
    total.add(np.array([100.0]), "walking")
    assert total.add(np.array([7.0, 8.0]), "running")[0].tolist() == [107, 108]
    assert total.add(np.array([110.0]), "walking")[0].tolist() == [118]


def test_what_is_said_names_the_numbers() -> None:
    reset, rolled, fell = (
        RunningTotal("total", modulus).add(np.array(values, float))[1][0].text
        for values, modulus in (([120, 30], None), ([65530, 20], 65536), ([100.5, 90.25], None))
    )
    assert reset == "the counter fell from 120 to 30: it began again from 0, added to 120"
    assert rolled == "the counter fell from 65530 to 20: it rolled over at 65536"
    assert fell.startswith("the counter fell from 100.5 to 90.25, less than by half: the total is held")


def test_a_counter_that_restarts_at_every_second_reading() -> None:
    totals, steps = RunningTotal().add(np.tile([5.0, 2.0], 5000))
    assert [step.row for step in steps] == list(range(1, 10000, 2))
    # 5 at first, then 2 after each restart and 3 more before the next.
    assert totals[-1] == 5 + 5000 * 2 + 4999 * 3


def test_readings_below_zero_which_no_counter_has_do_not_hang() -> None:
    assert len(joined([5, -1, -2, -1, 3])) == 5
