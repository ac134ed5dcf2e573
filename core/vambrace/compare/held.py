"""Values that a device repeats instead of measuring anew."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from vambrace.compare.arrays import SECOND, Floats, Marks, Rows, Times

HELD_SECONDS = 12.0
"""A run of one value at least this long is suspected; as long as the stretches that the clock's search leaves out."""

HELD_MOVED = 5.0
"""Range of the reference, in its unit, that a run must span before it counts as held. Common practice, no source."""


class Runs(NamedTuple):
    """Runs of equal neighbours: their first rows, the row after each, and how long each lasts in µs."""

    first: Rows
    stop: Rows
    lasted: Times


def runs(times: Times, values: Floats, longest_gap: int) -> Runs:
    """Return the runs of one value, cut where neighbours are more than `longest_gap` µs apart."""
    if not times.size:
        return Runs(np.empty(0, np.intp), np.empty(0, np.intp), np.empty(0, np.int64))
    cut = (np.diff(values) != 0) | (np.diff(times) > longest_gap)
    first = np.concatenate([[0], np.flatnonzero(cut) + 1])
    stop = np.concatenate([first[1:], [times.size]])
    return Runs(first, stop, times[stop - 1] - times[first])


def held(
    times: Times, values: Floats, reference: Floats, seconds: float = HELD_SECONDS, moved: float = HELD_MOVED
) -> Marks:
    """Mark pairs whose device value is repeated for at least `seconds` while the reference ranged over `moved` or more.

    The first of a run was measured and is not marked. A value that stays while the reference stays is agreement.
    """
    found = runs(times, values, round(seconds * SECOND))
    marks = np.zeros(times.size, np.bool_)
    if not found.first.size:
        return marks
    ranged = np.maximum.reduceat(reference, found.first) - np.minimum.reduceat(reference, found.first)
    suspect = (found.lasted >= seconds * SECOND) & (ranged >= moved)
    marks[:] = np.repeat(suspect, found.stop - found.first)
    marks[found.first] = False
    return marks


def update_interval(times: Times, values: Floats) -> int | None:
    """Return the median time in µs between changes of value, None where fewer than two changes are seen."""
    changes = times[1:][np.diff(values) != 0]
    return int(np.median(np.diff(changes))) if changes.size > 1 else None
