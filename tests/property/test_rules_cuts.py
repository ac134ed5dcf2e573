"""However a stream is cut into blocks, the rules find the same; and they find what plain lists find."""

from __future__ import annotations

from itertools import pairwise
from statistics import median

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from vambrace.batch import NO_END
from vambrace.rules import Evaluation, Finding, Thresholds, badness
from vambrace.rules.inorder import Channel

START = 1_748_736_000_000_000
SMALL = Thresholds(
    {
        ("flat-line", "for_s", "heart_rate"): 3,
        ("flat-line", "least_n", ""): 3,
        ("flat-line", "within_s", ""): 4,
        ("gap", "least_s", ""): 2,
        ("sampling-irregular", "least_n", ""): 4,
        ("rate-follows-steps", "for_s", ""): 3,
        ("rate-follows-steps", "least_n", ""): 2,
        ("rate-follows-steps", "within_s", ""): 2,
        ("unit-suspect", "least_n", ""): 3,
        ("epoch-misaligned", "epoch_s", "sleep_stage"): 2,
    }
)
ROWS = st.lists(
    st.tuples(st.sampled_from([0, 1, 1, 1, 2, 9]), st.sampled_from([60, 60, 60, 61, 120, 300, 15])),
    min_size=1,
    max_size=40,
)
CUTS = st.lists(st.integers(0, 40), max_size=8)
FIXED = settings(deadline=None, derandomize=True, max_examples=150)


def columns(rows: list[tuple[int, int]]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    time = START + np.cumsum([step for step, _ in rows]) * 1_000_000
    return time.astype(np.int64), np.array([value for _, value in rows], float), np.arange(1, len(rows) + 1)


def pieces(n: int, cuts: list[int]) -> list[slice]:
    ends = sorted({0, n, *(cut for cut in cuts if cut < n)})
    return [slice(*pair) for pair in pairwise(ends)]


def in_order(signal: str, rows: list[tuple[int, int]], cuts: list[int], lasting: int | None) -> list[Finding]:
    time, value, record = columns(rows)
    ends = np.full(len(time), NO_END) if lasting is None else time + lasting * 1_000_000
    channel = Channel("r.1", signal, SMALL)
    for cut in pieces(len(rows), cuts):
        channel.add(time[cut], ends[cut], value[cut], record[cut])
    return sorted(channel.findings(), key=badness)


@FIXED
@given(ROWS, CUTS, st.sampled_from(["heart_rate", "sleep_stage", "longitude"]), st.sampled_from([None, 1, 3]))
def test_sorted_rows_cut_anywhere(
    rows: list[tuple[int, int]], cuts: list[int], signal: str, lasting: int | None
) -> None:
    assert in_order(signal, rows, cuts, lasting) == in_order(signal, rows, [], lasting)


@FIXED
@given(ROWS, CUTS, st.lists(st.sampled_from([None, 0, 1, 3, 12]), min_size=40, max_size=40))
def test_gaps_are_what_nothing_covers(rows: list[tuple[int, int]], cuts: list[int], lasting: list[int | None]) -> None:
    time, value, record = columns(rows)
    ends = np.array([NO_END if s is None else t + s * 1_000_000 for t, s in zip(time.tolist(), lasting, strict=False)])
    channel = Channel("r.1", "step_count", SMALL)
    for cut in pieces(len(rows), cuts):
        channel.add(time[cut], ends[cut], value[cut], record[cut])
    found = {each.rule: each for each in channel.findings()}
    covered = np.maximum.accumulate(np.maximum(time, ends))
    bare = ((time[1:] - covered[:-1]) / 1e6).tolist()
    steps = [each for each in (np.diff(time) / 1e6).tolist() if each]
    gaps = [each for each in bare if each > max(3 * median(steps or [0]), 2)]
    assert count(found, "gap") == len(gaps)
    assert not gaps or found["gap"].worst == max(gaps)


@FIXED
@given(ROWS, CUTS)
def test_sorted_rows_as_plain_lists(rows: list[tuple[int, int]], cuts: list[int]) -> None:
    found = {each.rule: each for each in in_order("heart_rate", rows, cuts, None)}
    time, value, _ = (column.tolist() for column in columns(rows))
    steps = [(b - a) / 1e6 for a, b in pairwise(time)]
    assert count(found, "duplicate-time") == steps.count(0)
    odd = [each for each in value if not 20 <= each <= 250]
    assert count(found, "outside-plausible") == len(odd)
    fast = [abs(b - a) / length for (a, b), length in zip(pairwise(value), steps, strict=True) if length]
    assert count(found, "rate-of-change") == sum(each > 30 for each in fast)
    if "rate-of-change" in found:
        assert found["rate-of-change"].worst == max(fast)
    real = [each for each in steps if each]
    gaps = [each for each in real if each > max(3 * median(real), 2)]
    assert count(found, "gap") == len(gaps)
    if gaps:
        assert found["gap"].worst == max(gaps)
    spikes = [
        at
        for at in range(1, len(value) - 1)
        if min(abs(value[at] - value[at - 1]), abs(value[at] - value[at + 1])) > 30
        and (value[at] - value[at - 1]) * (value[at] - value[at + 1]) > 0
        and max(steps[at - 1], steps[at]) <= 10
    ]
    assert count(found, "spike") == len(spikes)
    if spikes:
        assert (found["spike"].first_record, found["spike"].last_record) == (spikes[0] + 1, spikes[-1] + 1)
    assert count(found, "flat-line") == len(flat(time, value))


def flat(time: list[int], value: list[float]) -> list[int]:
    apart = [value[at] != value[at - 1] or time[at] - time[at - 1] > 4_000_000 for at in range(1, len(value))]
    begins = [0, *(at for at, other in enumerate(apart, 1) if other), len(value)]
    return [a for a, b in pairwise(begins) if b - a >= 3 and time[b - 1] - time[a] >= 3_000_000]


def count(found: dict[str, Finding], rule: str) -> int:
    return found[rule].count if rule in found else 0


@FIXED
@given(st.lists(st.tuples(st.integers(-2, 3), st.sampled_from([0.5, 0.9, 1.0, 98]), st.booleans()), max_size=30), CUTS)
def test_rows_in_file_order_cut_anywhere(rows: list[tuple[int, float, bool]], cuts: list[int]) -> None:
    assert as_filed(rows, cuts) == as_filed(rows, [])


def as_filed(rows: list[tuple[int, float, bool]], cuts: list[int]) -> list[Finding]:
    evaluation = Evaluation(SMALL)
    time = (START + np.cumsum([step for step, _, _ in rows]) * 1_000_000).astype(np.int64)
    value = np.array([value for _, value, _ in rows])
    equal = np.array([same for _, _, same in rows], bool)
    record = np.arange(1, len(rows) + 1)
    for cut in pieces(len(rows), cuts):
        t, r, v = time[cut], record[cut], value[cut]
        if not len(t):
            continue
        evaluation.file.given("r.1", "oxygen_saturation", v, t, r)
        evaluation.file.kept("r.1", "oxygen_saturation", t, r)
        at, heart = np.arange(len(t)), np.full(len(t), 150.0)
        beside = {"heart_rate": (at, t, heart), "cadence": (at, t, np.where(equal[cut], 151.0, 90.0))}
        evaluation.file.side_by_side("r.1", beside, r, steps=True)
        low = v < 1
        if low.any():
            evaluation.file.set_aside("r.1", "oxygen_saturation", "outside-domain", t[low], r[low], v[low])
    found = sorted(evaluation.findings(), key=badness)
    back = sum(step < 0 for step, _, _ in rows[1:])
    assert sum(each.count for each in found if each.rule == "time-goes-back") == back
    low = sum(value < 1 for _, value, _ in rows)
    assert sum(each.count for each in found if each.rule == "outside-domain") == low
    return found
