"""Our range, rate of change, spike and flat line tests against IOOS QARTOD's reference package, ioos_qc 3.

Source: IOOS QARTOD manuals as implemented by https://github.com/ioos/ioos_qc (package `ioos-qc`). The small series are
those of its own tests (fixtures/published/qartod_vectors.csv); the long ones are invented.
"""

from __future__ import annotations

import csv
import warnings
from pathlib import Path

import numpy as np
import pytest

from vambrace.batch import NO_END
from vambrace.rules import Finding, Thresholds
from vambrace.rules.inorder import Channel
from vambrace.rules.judging import change_per_s, differences, outside, spike_height

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    qartod = pytest.importorskip("ioos_qc.qartod", reason="ioos-qc, the outside judge, is not installed")

SUSPECT, FAIL = 3, 4
VECTORS = Path(__file__).parents[2] / "fixtures" / "published" / "qartod_vectors.csv"
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
    found = flat_stretches(times, value, 20)
    assert found.count == len(ends)
    assert (found.first_record, found.last_record) == (begins[0] - 20, ends[-1])
    assert found.worst == (ends - begins).max() + 20


def published(case: str) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return times, values and flags of a case of fixtures/published/qartod_vectors.csv."""
    with VECTORS.open(encoding="utf-8", newline="") as file:
        rows = [row for row in csv.DictReader(file) if row["case"] == case]
    every = np.timedelta64(int(rows[0]["every_s"]), "s")
    times = START + np.arange(len(rows)) * every
    return times, np.array([float(row["value"]) for row in rows]), np.array([int(row["flag"]) for row in rows])


def test_the_published_gross_range() -> None:
    _, value, flag = published("gross-range")
    # Valid are 0 to 5, expected are 1 to 4: 4 is what fails, 3 would be suspect.
    assert np.array_equal(outside(value, 0, 5), flag == FAIL)
    assert np.array_equal(outside(value, 1, 4), flag >= SUSPECT)


def test_the_published_rate_of_change() -> None:
    times, value, flag = published("rate-of-change")
    assert np.array_equal(change_per_s(micros(times), differences(value), 0) > 5 / 15 / 60, flag[1:] == SUSPECT)


def test_the_published_spikes() -> None:
    times, value, flag = published("spike-differential")
    height = spike_height(micros(times), differences(value), np.inf)
    assert np.array_equal(height > 0.5, flag[1:-1] >= SUSPECT)
    assert np.array_equal(height > 1, flag[1:-1] == FAIL)


@pytest.mark.parametrize(("flagged", "for_s"), [(SUSPECT, 2700), (FAIL, 4500)])
def test_the_published_flat_lines(flagged: int, for_s: int) -> None:
    times, value, flag = published("flat-line")
    # Their 3000 s are int(3000 / 900) = 3 intervals of 900 s, their 4800 s five; to their tolerance of 0.01 these
    # values are the same that have the same two decimals.
    rows = np.flatnonzero(flag >= flagged)
    begins = rows[np.flatnonzero(np.insert(np.diff(rows) > 1, 0, True))] - for_s // 900
    found = flat_stretches(times, value.round(2), for_s)
    assert (found.count, found.first_record, found.last_record) == (len(begins), begins[0], rows[-1])


def flat_stretches(times: np.ndarray, value: np.ndarray, for_s: int) -> Finding:
    given = {("flat-line", "for_s", "heart_rate"): float(for_s)}
    # Their rows may stand any time apart.
    given |= {("flat-line", "least_n", ""): 2.0, ("flat-line", "within_s", ""): 1e9}
    channel = Channel("r.1", "heart_rate", Thresholds(given))
    channel.add(micros(times), np.full(len(times), NO_END), value, np.arange(len(times)))
    (found,) = [each for each in channel.findings() if each.rule == "flat-line"]
    return found
