"""Pairing by nearest instant: the rule against a slow list of all pairs, and its memory."""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vambrace.compare import pairs as module
from vambrace.compare.pairs import default_tolerance, nearest_pairs

S = 1_000_000


def slow(device: list[int], reference: list[int], allowed: int) -> list[tuple[int, int]]:
    """Take the closest pair of all, then the next that crosses none: every pair is looked at."""
    order = sorted(
        (abs(d - r), min(d, r), max(d, r), i, j) for i, d in enumerate(device) for j, r in enumerate(reference)
    )
    taken: list[tuple[int, int]] = []
    for gap, _, _, i, j in order:
        if gap <= allowed and all((i < a) == (j < b) and i != a and j != b for a, b in taken):
            taken.append((i, j))
    return sorted(taken)


times = st.lists(st.integers(0, 60), max_size=14).map(sorted)


@settings(deadline=None, derandomize=True, max_examples=300)
@given(times, times, st.integers(0, 8), st.sampled_from([3, 5, 1 << 19]))
def test_the_pairs_of_a_list_of_all_pairs(device: list[int], reference: list[int], allowed: int, block: int) -> None:
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(module, "_BLOCK", block)
        found = nearest_pairs(np.array(device, np.int64), np.array(reference, np.int64), allowed)
    expected = slow(device, reference, allowed)
    assert len(expected) == found.device.size
    # Equal distances may be settled in another order; the distances themselves may not differ.
    gaps = sorted(abs(device[i] - reference[j]) for i, j in zip(found.device, found.reference, strict=True))
    assert gaps == sorted(abs(device[i] - reference[j]) for i, j in expected)
    assert all(np.diff(found.device) > 0)
    assert all(np.diff(found.reference) > 0)
    assert found.n_unpaired == len(device) - len(expected)
    assert found.n_unpaired_reference == len(reference) - len(expected)


def test_the_default_tolerance_is_the_larger_of_a_second_and_half_the_reference_interval() -> None:
    assert default_tolerance(np.arange(10) * S) == S
    assert default_tolerance(np.arange(10) * 60 * S) == 30 * S
    assert default_tolerance(np.array([5], np.int64)) == S


def test_a_sample_whose_nearest_partner_is_taken_takes_the_next_within_the_tolerance() -> None:
    shake = np.random.default_rng(3).integers(-90_000, 90_000, 5_000)
    device, reference = np.arange(5_000) * S + S // 2 + shake, np.arange(5_000) * S
    first, _ = module._mutual(device, reference, S)
    found = nearest_pairs(device, reference)
    # Only so many have each other as the nearest: half a second off is the worst case, and the rest is counted.
    assert first.size < 4_000 < 4_300 < found.device.size
    assert np.abs(device[found.device] - reference[found.reference]).max() <= S


def test_times_that_fall_are_refused_with_their_row() -> None:
    with pytest.raises(ValueError, match="the device fall at row 2"):
        nearest_pairs(np.array([0, 5, 4]), np.array([0]))


def test_working_memory_does_not_grow_with_the_recording() -> None:
    def peak(n: int) -> int:
        a, b = np.arange(n, dtype=np.int64) * S + 300_000, np.arange(n, dtype=np.int64) * S
        tracemalloc.start()
        try:
            nearest_pairs(a, b)
            return tracemalloc.get_traced_memory()[1] - 4 * a.nbytes
        finally:
            tracemalloc.stop()

    peak(1_000)
    # The pairs themselves (two lists of rows, kept once in blocks and once joined) are taken off.
    assert peak(2_400_000) < 1.3 * peak(1_200_000)
