"""Means over windows and held values; pandas groups the same samples as an independent check."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from vambrace.compare.held import held, runs, update_interval
from vambrace.compare.windows import (
    Side,
    coverage,
    coverage_cell,
    regular_windows,
    window_means,
    window_pairs,
    windows_of,
)

S = 1_000_000


@pytest.mark.parametrize("seed", range(20))
def test_means_and_counts_are_those_of_pandas(seed: int) -> None:
    rng = np.random.default_rng(seed)
    times = np.sort(rng.integers(0, 600 * S, 400))
    values = rng.normal(100, 20, 400)
    starts, ends = regular_windows(30 * S, 600 * S, 45 * S)
    found = window_means(Side(times, None, values), starts, ends)
    frame = pd.DataFrame({"window": (times - 30 * S) // (45 * S), "value": values})
    frame = frame[(times >= 30 * S) & (times < ends[-1])]
    expected = frame.groupby("window")["value"].agg(["mean", "count"]).reindex(range(starts.size))
    np.testing.assert_allclose(found.mean, expected["mean"], rtol=1e-12)
    np.testing.assert_array_equal(found.n, expected["count"].fillna(0))
    assert all(starts[w] <= times[row] < ends[w] for w, row in enumerate(found.first) if row >= 0)


def test_a_minute_mean_is_held_against_the_same_minute_of_the_reference() -> None:
    starts = np.arange(5) * 60 * S
    device = Side(starts, starts + 60 * S, np.array([60.0, 70, 80, 90, 100]))
    seconds = np.arange(240) * S
    reference = Side(seconds, None, np.repeat([61.0, 72, 83, 94], 60))
    windows = windows_of(device, reference)
    assert windows is not None
    found = window_pairs(device, reference, *windows)
    np.testing.assert_array_equal(found.device.mean - found.reference.mean, [-1, -2, -3, -4])
    np.testing.assert_array_equal(found.reference.n, 60)
    assert (found.n_unpaired, found.n_unpaired_reference) == (1, 0)


def test_a_window_that_one_side_hardly_covers_makes_no_pair() -> None:
    full, half = np.arange(120) * S, np.concatenate([np.arange(60), np.arange(60, 80)]) * S
    sides = [Side(t, None, np.ones(t.size)) for t in (half, full)]
    found = window_pairs(*sides, *regular_windows(0, 120 * S, 60 * S))
    assert found.windows.tolist() == [0]
    assert (found.n_unpaired, found.n_unpaired_reference) == (0, 1)


def test_an_interval_that_reaches_out_of_its_window_does_not_count() -> None:
    starts = np.array([0, 50]) * S
    found = window_means(Side(starts, starts + 20 * S, np.array([1.0, 9.0])), *regular_windows(0, 120 * S, 60 * S))
    assert found.n.tolist() == [1, 0]
    assert found.cover.tolist() == pytest.approx([1 / 3, 0])


def test_instants_of_two_channels_ask_for_no_windows() -> None:
    side = Side(np.arange(3) * S, None, np.ones(3))
    assert windows_of(side, side) is None


def test_coverage_is_the_share_of_windows_that_hold_a_sample() -> None:
    times = np.array([0, 1, 2, 3, 10]) * S
    assert coverage_cell(times) == 1.5 * S
    assert coverage(times, 0, 20 * S, S) == 5 / 20
    assert np.isnan(coverage(times, 5, 5, S))


def test_windows_that_overlap_are_refused() -> None:
    side = Side(np.arange(3) * S, None, np.ones(3))
    with pytest.raises(ValueError, match="must not overlap"):
        window_means(side, np.array([0, 1]), np.array([2, 3]))


def test_a_repeated_value_is_held_only_while_the_reference_moves() -> None:
    times = np.arange(60) * S
    device = np.where(times < 30 * S, 80.0, 120.0)
    reference = np.where(times < 30 * S, 80.0, 80.0 + np.arange(60))
    marks = held(times, device, reference)
    assert not marks[:31].any()
    assert marks[31:].all()
    # A gap ends a run: what was not recorded was not held.
    gapped = times + np.where(times >= 40 * S, 60 * S, 0)
    assert runs(gapped, device, 12 * S).first.tolist() == [0, 30, 40]


def test_how_often_a_device_gives_a_new_value() -> None:
    times = np.arange(60) * S
    assert update_interval(times, np.repeat(np.arange(12.0), 5)) == 5 * S
    assert update_interval(times, np.ones(60)) is None
