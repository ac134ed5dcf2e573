"""Both sides averaged over the same windows, with a minimum cover on both sides and nothing interpolated."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from vambrace.compare.arrays import SECOND, Floats, Marks, Rows, Times, ascending, finite, median_interval

MIN_COVER = 0.75
"""Share of a window that each side must cover. Common practice, no source."""


class Side(NamedTuple):
    """One channel: `times` (µs, ascending), `ends` (µs, of samples that cover an interval; None for instants)."""

    times: Times
    ends: Times | None
    values: Floats


class WindowMeans(NamedTuple):
    """One channel over windows: mean (NaN where nothing lies), samples behind it, its first row, share covered."""

    mean: Floats
    n: Rows
    first: Rows
    cover: Floats


class WindowPairs(NamedTuple):
    """Windows that both sides cover (`windows` are their rows), and how many only one side covers."""

    windows: Rows
    device: WindowMeans
    reference: WindowMeans
    n_unpaired: int
    n_unpaired_reference: int


def coverage_cell(times: Times) -> int:
    """Return the larger of 1 s and 1.5 times the channel's median interval, in µs: what one sample stands for."""
    return max(SECOND, round(1.5 * (median_interval(times) or 0)))


def regular_windows(first: int, end: int, width: int) -> tuple[Times, Times]:
    """Return starts and ends (µs) of the whole windows of `width` in [first, end)."""
    if width <= 0:
        raise ValueError(f"A window of {width} µs holds nothing: give a width above 0.")
    starts = np.arange(first, end - width + 1, width, dtype=np.int64)
    return starts, starts + width


def coverage(times: Times, start: int, end: int, cell: int) -> float:
    """Return the share of the cells of [start, end) (µs) that hold at least one sample; NaN for an empty interval."""
    cells = -(-(end - start) // cell)
    inside = times[(times >= start) & (times < end)]
    return np.unique((inside - start) // cell).size / cells if cells > 0 else float("nan")


def window_means(side: Side, starts: Times, ends: Times, cell: int | None = None) -> WindowMeans:
    """Average a channel over windows [start, end) (µs, ascending, not overlapping).

    An instant counts in the window that holds it; a sample over an interval only where it lies wholly inside, so that
    no part of it is guessed. Instants cover a window's cells of `cell` µs (default `coverage_cell`) that hold one;
    intervals cover their own length.
    """
    _proper(side, starts, ends)
    window, inside = _window_of(side, starts, ends)
    rows, which = np.flatnonzero(inside), window[inside]
    n = np.bincount(which, minlength=starts.size)
    total = np.bincount(which, weights=side.values[rows], minlength=starts.size)
    first = np.full(starts.size, -1, np.intp)
    first[which[::-1]] = rows[::-1]
    with np.errstate(invalid="ignore"):
        mean = np.where(n > 0, total / np.maximum(n, 1), np.nan)
    return WindowMeans(mean, n, first, _cover(side, starts, ends, rows, which, cell))


def window_pairs(
    device: Side, reference: Side, starts: Times, ends: Times, min_cover: float = MIN_COVER
) -> WindowPairs:
    """Return the means of both sides over the windows of which each side covers at least `min_cover`."""
    mine, theirs = window_means(device, starts, ends), window_means(reference, starts, ends)
    good, good_reference = mine.cover >= min_cover, theirs.cover >= min_cover
    rows = np.flatnonzero(good & good_reference)
    kept = [WindowMeans(e.mean[rows], e.n[rows], e.first[rows], e.cover[rows]) for e in (mine, theirs)]
    alone = int(np.count_nonzero(good & ~good_reference)), int(np.count_nonzero(good_reference & ~good))
    return WindowPairs(rows, kept[0], kept[1], *alone)


def windows_of(device: Side, reference: Side) -> tuple[Times, Times] | None:
    """Return the windows that the data themselves ask for: the intervals of the side whose samples cover the longer.

    None where both sides are instants. A side that averages over a minute is held against the same minute of the other.
    """
    lengths = [
        0 if side.ends is None or not side.times.size else int(np.median(side.ends - side.times))
        for side in (device, reference)
    ]
    longer = device if lengths[0] >= lengths[1] else reference
    return None if longer.ends is None or max(lengths) == 0 else (longer.times, longer.ends)


def _proper(side: Side, starts: Times, ends: Times) -> None:
    """Raise ValueError for times that fall, windows that overlap and values that are not numbers."""
    ascending(side.times, "a channel")
    ascending(starts, "the windows")
    finite(side.values, "a channel")
    if bool(np.any(ends <= starts)) or bool(np.any(ends[:-1] > starts[1:])):
        raise ValueError("Windows must be longer than 0 and must not overlap: give each time to one window.")


def _window_of(side: Side, starts: Times, ends: Times) -> tuple[Rows, Marks]:
    """Return each sample's window and whether it lies wholly in it."""
    if not starts.size:
        return np.zeros(side.times.size, np.intp), np.zeros(side.times.size, np.bool_)
    window = np.searchsorted(starts, side.times, "right") - 1
    end = ends[np.maximum(window, 0)]
    inside = (window >= 0) & (side.times < end)
    return window, inside if side.ends is None else inside & (side.ends <= end)


def _cover(side: Side, starts: Times, ends: Times, rows: Rows, which: Rows, cell: int | None) -> Floats:
    """Return the share of each window that its samples cover."""
    length = ends - starts
    if side.ends is not None:
        covered = np.bincount(which, weights=(side.ends - side.times)[rows], minlength=starts.size)
        return np.minimum(covered / length, 1.0)
    size = coverage_cell(side.times) if cell is None else cell
    cells = (side.times[rows] - starts[which]) // size
    new = np.ones(rows.size, np.bool_)
    new[1:] = (np.diff(which) != 0) | (np.diff(cells) != 0)
    return np.bincount(which[new], minlength=starts.size) / -(-length // size)
