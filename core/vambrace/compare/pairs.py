"""Instants of a device beside instants of its reference: nearest within a tolerance, each used at most once."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from vambrace.compare.arrays import SECOND, Marks, Rows, Times, ascending, median_interval

_BLOCK = 1 << 19
"""Samples of the device looked at together: working memory does not grow with the recording."""


class Pairs(NamedTuple):
    """Rows of the device and of the reference that belong together, both ascending, and how many stayed alone."""

    device: Rows
    reference: Rows
    n_unpaired: int
    n_unpaired_reference: int


def default_tolerance(reference: Times) -> int:
    """Return the larger of 1 s and half the reference's median interval, in µs."""
    return max(SECOND, (median_interval(reference) or 0) // 2)


def nearest_pairs(device: Times, reference: Times, tolerance: int | None = None) -> Pairs:
    """Pair instants (µs, ascending), the closest first, none further apart than `tolerance` µs and none twice.

    A sample whose nearest partner is taken may take the next one within the tolerance, but pairs never cross in time:
    the device's rows and the reference's rows of the result both rise. Of two equally near the earlier is taken.
    Record numbers are carried by indexing: `record[pairs.device]`.
    """
    ascending(device, "the device")
    ascending(reference, "the reference")
    allowed = default_tolerance(reference) if tolerance is None else tolerance
    lists = list(_blocks(device, reference, allowed))
    left = np.concatenate([each for each, _ in lists]) if lists else np.empty(0, np.intp)
    right = np.concatenate([each for _, each in lists]) if lists else np.empty(0, np.intp)
    return Pairs(left, right, device.size - left.size, reference.size - right.size)


def _blocks(device: Times, reference: Times, allowed: int) -> list[tuple[Rows, Rows]]:
    """Pair block by block. A block ends at a pair that is certain: nothing pairs across it."""
    found, at, below, size = [], 0, 0, _BLOCK
    while at < device.size:
        stop = min(at + size, device.size)
        below += int(np.searchsorted(reference[below:], device[at] - allowed))
        above = int(np.searchsorted(reference, device[stop - 1] + allowed, "right"))
        mine, theirs = device[at:stop], reference[below:above]
        left, right = _mutual(mine, theirs, allowed)
        if stop < device.size and left.size:
            # What is nearest to a reference sample after the block's end may lie in the next block.
            certain = int(np.searchsorted(theirs[right], mine[-1], "right"))
            if not certain:
                size *= 2
                continue
            left, right = left[:certain], right[:certain]
            mine, theirs, stop = mine[: left[-1] + 1], theirs[: right[-1] + 1], at + int(left[-1]) + 1
        left, right = _filled(mine, theirs, left, right, allowed)
        found.append((left + at, right + below))
        at, below, size = stop, below + (int(right[-1]) + 1 if right.size else 0), _BLOCK
    return found


def _filled(device: Times, reference: Times, left: Rows, right: Rows, allowed: int) -> tuple[Rows, Rows]:
    """Add pairs between those that stand until no free sample has a free partner within the tolerance."""
    while left.size < min(device.size, reference.size):
        more_left, more_right = _between(device, reference, left, right, allowed)
        if not more_left.size:
            break
        left, right = np.sort(np.concatenate([left, more_left])), np.sort(np.concatenate([right, more_right]))
    return left, right


def _mutual(device: Times, reference: Times, allowed: int) -> tuple[Rows, Rows]:
    """Return the pairs of which each is the other's nearest."""
    zeros = np.zeros(device.size, np.intp), np.zeros(reference.size, np.intp)
    return _nearest_both(device, reference, *zeros, allowed)


def _between(device: Times, reference: Times, left: Rows, right: Rows, allowed: int) -> tuple[Rows, Rows]:
    """Return further pairs of samples that are still free, none across a pair that stands."""
    free_left, walls_left = _free(device.size, left)
    free_right, walls_right = _free(reference.size, right)
    rows_left, rows_right = np.flatnonzero(free_left), np.flatnonzero(free_right)
    near = _nearest_both(
        device[rows_left], reference[rows_right], walls_left[rows_left], walls_right[rows_right], allowed
    )
    return rows_left[near[0]], rows_right[near[1]]


def _free(size: int, taken: Rows) -> tuple[Marks, Rows]:
    """Return which rows are free and how many taken ones stand before each."""
    free = np.ones(size, np.bool_)
    free[taken] = False
    return free, np.cumsum(~free)


def _nearest_both(
    device: Times, reference: Times, walls: Rows, reference_walls: Rows, allowed: int
) -> tuple[Rows, Rows]:
    """Return mutual nearest neighbours between the same walls (how many standing pairs lie before a sample)."""
    if not device.size or not reference.size:
        return np.empty(0, np.intp), np.empty(0, np.intp)
    mine = _nearest(device, reference, walls, reference_walls)
    theirs = _nearest(reference, device, reference_walls, walls)
    left = np.flatnonzero(mine >= 0)
    right = mine[left]
    keep = (theirs[right] == left) & (np.abs(device[left] - reference[right]) <= allowed)
    return left[keep], right[keep]


def _nearest(of: Times, among: Times, walls: Rows, other_walls: Rows) -> Rows:
    """Return for each time the row of its nearest among the others between its walls, the earlier of equals, or −1."""
    # `first` is the first at or after the time; of several at one time the first, so that both sides agree.
    far = np.iinfo(np.int64).max
    after = np.searchsorted(among, of)
    # Within a wall-bound stretch the neighbours in time are the neighbours in order, save where times are equal.
    lows = np.searchsorted(other_walls, walls)
    highs = np.searchsorted(other_walls, walls, "right")
    after = np.clip(after, lows, highs)
    before = after - 1
    has_after, has_before = after < highs, before >= lows
    to_after = np.where(has_after, among[np.minimum(after, among.size - 1)] - of, far)
    to_before = np.where(has_before, of - among[np.maximum(before, 0)], far)
    # Of equal earlier times the first is meant as well.
    first_before = np.maximum(np.searchsorted(among, among[np.maximum(before, 0)]), lows)
    chosen = np.where(to_before <= to_after, first_before, after)
    return np.where(has_after | has_before, chosen, -1)
