"""Steps against an observer's count, and steps that were counted where nobody walked.

Counts are running totals since the start of the bout; times µs ascending.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from vambrace.compare.arrays import SECOND, Codes, Floats, Marks, Times, ascending, finite
from vambrace.compare.exact import poisson_ends


class StepErrors(NamedTuple):
    """Device minus reference, in steps and in % of the reference (NaN where that counted 0 or either is unknown)."""

    difference: Floats
    percent: Floats
    absolute_percent: Floats


class Readings(NamedTuple):
    """A running total as it stood at given times: the last reading not later, its age in s; NaN before any."""

    total: Floats
    age: Floats


class FalseSteps(NamedTuple):
    """Steps counted without ambulation: how many in how many minutes, and the rate a minute with its exact interval."""

    steps: int
    minutes: float
    rate: float
    low: float
    high: float


class Recount(NamedTuple):
    """Two counts of one bout: their mean, their difference, and that in % of the mean: the reference's own error."""

    mean: Floats
    difference: Floats
    percent: Floats


def tally_check(times: Times, counts: Floats) -> None:
    """Raise ValueError, with its row, for a tally without a start row of 0, out of order, or that falls."""
    if not times.size:
        raise ValueError("The tally has no row.")
    if counts[0] != 0:
        raise ValueError(f"Row 1 of the tally counts {counts[0]:g}: it must start with a row of 0.")
    for found, what in ((times, "is earlier than"), (counts, "counts fewer than")):
        falls = np.flatnonzero(np.diff(found) < 0)
        if falls.size:
            raise ValueError(f"Row {int(falls[0]) + 2} of the tally {what} the row before it: put the rows in order.")


def step_errors(device: Floats, reference: Floats) -> StepErrors:
    """Return errors of totals, one for each bout or point."""
    difference = device - reference
    percent = np.full(difference.shape, np.nan)
    above = reference > 0
    percent[above] = 100 * difference[above] / reference[above]
    return StepErrors(difference, percent, np.abs(percent))


def total_at(times: Times, total: Floats, points: Times) -> Readings:
    """Return what a running total showed at each point; nothing is interpolated."""
    ascending(times, "the counter")
    finite(total, "the counter")
    at = np.searchsorted(times, points, "right") - 1
    known = at >= 0
    shown, age = np.full(points.size, np.nan), np.full(points.size, np.nan)
    shown[known] = total[at[known]]
    age[known] = (points[known] - times[at[known]]) / SECOND
    return Readings(shown, age)


def running_errors(times: Times, total: Floats, points: Times, counts: Floats) -> StepErrors:
    """Return the error at each logged point of a tally since its start row (whose own error is 0 steps of 0)."""
    tally_check(points, counts)
    shown = total_at(times, total, points).total
    return step_errors(shown - shown[0], counts)


def cadence(points: Times, counts: Floats) -> Floats:
    """Return steps a minute between neighbouring points; NaN where they share a time."""
    minutes = np.diff(points) / (60 * SECOND)
    steps = np.diff(counts)
    rate: Floats = np.full(steps.shape, np.nan)
    rate[minutes > 0] = steps[minutes > 0] / minutes[minutes > 0]
    return rate


def errors_by_rate(errors: Floats, rate: Floats, edges: Floats) -> list[tuple[float, float, int, float, float]]:
    """Return low, high, n, mean signed and mean absolute error of each class [low, high) of cadence or speed."""
    rows = []
    for low, high in pairwise(edges):
        inside = errors[(rate >= low) & (rate < high) & np.isfinite(errors)]
        means = (float(inside.mean()), float(np.abs(inside).mean())) if inside.size else (float("nan"),) * 2
        rows.append((float(low), float(high), int(inside.size), *means))
    return rows


def holds_event(starts: Times, ends: Times, events: Times) -> Marks:
    """Mark bouts [start, end] (µs) within which a gap, reset, roll-over, midnight or firmware change lies."""
    ordered = np.sort(events)
    marks: Marks = np.searchsorted(ordered, starts) < np.searchsorted(ordered, ends, "right")
    return marks


def recounted(first: Floats, second: Floats) -> Recount:
    """Return how far two counts of the same bouts are apart."""
    mean, difference = (first + second) / 2, second - first
    percent = np.full(mean.shape, np.nan)
    percent[mean > 0] = 100 * difference[mean > 0] / mean[mean > 0]
    return Recount(mean, difference, percent)


def false_steps(steps: float, minutes: float) -> FalseSteps:
    """Return steps counted in time without ambulation as a rate a minute, exact Poisson interval (Garwood 1936).

    The interval takes steps as coming one by one; devices count false steps in bursts, so it is a lower bound of the
    uncertainty.
    """
    if minutes <= 0:
        raise ValueError("False steps need time without ambulation: these activities last 0 minutes.")
    if steps < 0 or steps != int(steps):
        raise ValueError(f"{steps:g} is not a number of steps.")
    low, high = poisson_ends(int(steps))
    return FalseSteps(int(steps), minutes, steps / minutes, low / minutes, high / minutes)


def false_steps_by(group: Codes, steps: Floats, minutes: Floats) -> dict[int, FalseSteps]:
    """Return false steps summed over each group (device, activity or placement, as codes)."""
    names, which = np.unique(group, return_inverse=True)
    total, time = (np.bincount(which, weights=each) for each in (steps, minutes))
    return {int(name): false_steps(float(total[i]), float(time[i])) for i, name in enumerate(names)}
