"""Running totals against the rules written out reading by reading, under any cut into batches."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from vambrace.counters import RunningTotal

Row = tuple[str, float]
STEPS = st.one_of(st.integers(0, 400), st.sampled_from([0, 1, 127, 128, 254, 255, 256]), st.floats(0, 1e6))
ROWS = st.lists(st.tuples(st.sampled_from(["", "walking", "running"]), STEPS.map(float)), max_size=40)
MODULI = st.sampled_from([None, 256, 65536])


def by_hand(rows: list[Row], modulus: int | None) -> tuple[list[float], list[tuple[int, str]]]:
    """Follow the rules of `RunningTotal` one reading at a time."""
    below: dict[str, float] = {}
    high: dict[str, float] = {}
    low: dict[str, bool] = {}
    totals, steps = [], []
    for at, (name, value) in enumerate(rows):
        if name not in high:
            below[name], high[name] = 0.0, value
        elif value < high[name] / 2:
            rolled = modulus is not None and 0 <= value + modulus - high[name] < modulus / 2
            below[name] += modulus if rolled and modulus else high[name]
            high[name] = value
            steps.append((at, "counter_rollover" if rolled else "counter_reset"))
            low[name] = False
        elif value < high[name]:
            if not low.get(name):
                steps.append((at, "counter_drop"))
            low[name] = True
        else:
            high[name], low[name] = value, False
        totals.append(sum(below[each] + high[each] for each in high))
    return totals, steps


def cut(rows: list[Row], places: list[int]) -> list[tuple[int, list[Row]]]:
    edges = [0, *sorted({place for place in places if place <= len(rows)}), len(rows)]
    return [(start, rows[start:end]) for start, end in pairwise(edges)]


@given(ROWS, MODULI, st.lists(st.integers(0, 40), max_size=6))
@settings(max_examples=400, deadline=None, derandomize=True)
def test_any_cut_gives_what_the_rules_give(rows: list[Row], modulus: int | None, places: list[int]) -> None:
    wanted, wanted_steps = by_hand(rows, modulus)
    total = RunningTotal("total", modulus)
    totals: list[float] = []
    steps: list[tuple[int, str]] = []
    for start, part in cut(rows, places):
        names = np.array([name for name, _ in part], np.str_)
        got, happened = total.add(np.array([value for _, value in part]), names)
        totals += got.tolist()
        steps += [(start + step.row, step.kind) for step in happened]
    assert totals == wanted
    assert steps == wanted_steps
    assert all(before <= after for before, after in pairwise(totals))


@given(st.lists(st.floats(0, 1e6), min_size=1, max_size=600), MODULI, st.lists(st.integers(0, 600), max_size=4))
@settings(max_examples=100, deadline=None, derandomize=True)
def test_one_counter_without_names_in_long_batches(values: list[float], modulus: int | None, places: list[int]) -> None:
    rows = [("", value) for value in values]
    total = RunningTotal("total", modulus)
    totals = [each for _, part in cut(rows, places) for each in total.add(np.array([v for _, v in part]))[0].tolist()]
    assert totals == by_hand(rows, modulus)[0]


@given(st.lists(st.floats(0, 1e6), max_size=40), st.lists(st.integers(0, 40), max_size=6))
@settings(max_examples=100, deadline=None, derandomize=True)
def test_increments_add_up_alike_under_any_cut(values: list[float], places: list[int]) -> None:
    rows = [("", value) for value in values]
    total = RunningTotal("increment")
    totals = [each for _, part in cut(rows, places) for each in total.add(np.array([v for _, v in part]))[0].tolist()]
    running, wanted = 0.0, []
    for value in values:
        running += value
        wanted.append(running)
    assert totals == wanted
