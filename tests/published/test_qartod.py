"""Our range, rate of change, spike and flat line tests against IOOS QARTOD's reference package, ioos_qc 3.

Source: IOOS QARTOD manuals as implemented by https://github.com/ioos/ioos_qc (package `ioos-qc`). The small series are
those of its own tests (tests/test_qartod.py: spike, rate of change and flat line); the long ones are invented.
"""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from vambrace.batch import NO_END
from vambrace.rules import Thresholds
from vambrace.rules.inorder import Channel
from vambrace.rules.judging import change_per_s, differences, outside, spike_height

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    qartod = pytest.importorskip("ioos_qc.qartod", reason="ioos-qc, the outside judge, is not installed")

GOOD, SUSPECT = 1, 3
START = np.datetime64("2031-03-04T09:00:00")


def walk(seed: int, n: int = 600) -> np.ndarray:
    """Return a series with steps, spikes and stretches that stand still."""
    rng = np.random.default_rng(seed)
    value = np.cumsum(rng.choice([0, 0, 0, 1, -1, 9, -9], n)).astype(float) + 100
    value[rng.integers(5, n - 5, 12)] += rng.choice([-40, 40], 12)
    at = int(rng.integers(50, n - 100))
    value[at : at + 60] = value[at]
    return value


def seconds(n: int, every: int = 1) -> np.ndarray:
    return START + np.arange(n) * np.timedelta64(every, "s")


def micros(times: np.ndarray) -> np.ndarray:
    return times.astype("datetime64[us]").astype(np.int64)


def flags(function: object, *arguments: object, **named: object) -> np.ndarray:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return np.asarray(function(*arguments, **named))  # type: ignore[operator]


@pytest.mark.parametrize("seed", range(8))
def test_gross_range(seed: int) -> None:
    value = walk(seed)
    theirs = flags(qartod.gross_range_test, inp=value, fail_span=[-1e9, 1e9], suspect_span=[90, 120])
    assert np.array_equal(outside(value, 90, 120), theirs == SUSPECT)
    assert (theirs == SUSPECT).any()


@pytest.mark.parametrize("every", [1, 5])
@pytest.mark.parametrize("seed", range(8))
def test_rate_of_change(seed: int, every: int) -> None:
    value, times = walk(seed), seconds(600, every)
    theirs = flags(qartod.rate_of_change_test, inp=value, tinp=times, threshold=5 / every)
    ours = change_per_s(micros(times), differences(value), 0) > 5 / every
    assert np.array_equal(ours, theirs[1:] == SUSPECT)
    assert ours.any()


@pytest.mark.parametrize("seed", range(8))
def test_spike(seed: int) -> None:
    value = walk(seed)
    theirs = flags(qartod.spike_test, inp=value, suspect_threshold=15, fail_threshold=1e9, method="differential")
    ours = spike_height(micros(seconds(600)), differences(value), np.inf) > 15
    assert np.array_equal(ours, theirs[1:-1] == SUSPECT)
    assert ours.any()


@pytest.mark.parametrize("seed", range(8))
def test_flat_line(seed: int) -> None:
    value, times = walk(seed), seconds(600)
    # Theirs flags each row whose last 20 s are flat; the values are whole, so a range below 0.5 is no change at all.
    theirs = flags(
        qartod.flat_line_test, inp=value, tinp=times, suspect_threshold=20, fail_threshold=10**6, tolerance=0.5
    )
    flat = np.flatnonzero(theirs == SUSPECT)
    ends = flat[np.flatnonzero(np.append(np.diff(flat) > 1, True))]
    begins = flat[np.flatnonzero(np.insert(np.diff(flat) > 1, 0, True))]
    channel = Channel(
        "r.1", "heart_rate", Thresholds({("flat-line", "for_s", "heart_rate"): 20, ("flat-line", "least_n", ""): 2})
    )
    channel.add(micros(times), np.full(600, NO_END), value, np.arange(600))
    (found,) = [each for each in channel.findings() if each.rule == "flat-line"]
    assert found.count == len(ends)
    assert (found.first_record, found.last_record) == (begins[0] - 20, ends[-1])
    assert found.worst == (ends - begins).max() + 20


def test_the_small_series_of_the_reference_package() -> None:
    # ioos_qc tests, QartodSpikeTest and QartodRateOfChangeTest.
    spike = np.array([3, 4.99, 5, 6, 8, 6, 6, 6.75, 6, 6, 5.3, 6, 6, 9, 5, 8, 8, 9], float)
    theirs = flags(qartod.spike_test, inp=spike, suspect_threshold=0.5, fail_threshold=1e9, method="differential")
    ours = spike_height(micros(seconds(len(spike))), differences(spike), np.inf) > 0.5
    assert np.array_equal(ours, theirs[1:-1] == SUSPECT)
    change = np.array([2, 10, 2.1, 3, 4, 5, 7, 10, 0, 2, 2.2, 2], float)
    theirs = flags(qartod.rate_of_change_test, inp=change, tinp=seconds(len(change), 5), threshold=0.8)
    ours = change_per_s(micros(seconds(len(change), 5)), differences(change), 0) > 0.8
    assert np.array_equal(ours, theirs[1:] == SUSPECT)
    assert theirs[0] == GOOD
