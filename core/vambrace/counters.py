"""Counts per interval and readings of counters to one running total that never falls."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

Floats: TypeAlias = NDArray[np.float64]

_STRETCH = 256
"""Values looked at together, so that a counter which restarts all the time costs no more than many short ones."""


class Step(NamedTuple):
    """Where a counter did not simply rise: the row, `counter_reset`, `counter_rollover` or `counter_drop`, and why.

    `fall` is how much lower the reading is than the highest since the last reset.
    """

    row: int
    kind: str
    text: str
    fall: float


@dataclass(slots=True)
class _Counter:
    """One counter: `below` is what stood before its last reset, `high` its highest reading since, None before any."""

    below: float = 0.0
    high: float | None = None
    falling: bool = False

    @property
    def total(self) -> float:
        """Return the counter's share of the running total."""
        return 0.0 if self.high is None else self.below + self.high


class RunningTotal:
    """Joins one channel, fed in file order; any cut into batches gives the same totals.

    `increment`: the values are added up from 0. `total`: readings of a counter.

    - A reading below half of the highest since the last reset is a reset: the counter began again from 0, so the new
      reading is added to what stood before.
    - With a declared `modulus` it is a roll-over instead, where the counter would then have advanced by less than
      half of the modulus (the comparison of RFC 1982); never guessed without one.
    - A smaller fall is no reset but a row out of order or a corrected count: the total holds until the readings pass
      their former high. The fall is reported once, not at every row that lies below.

    Several named counters are summed; the first known reading of each is added as it stands.
    """

    def __init__(self, counting: Literal["total", "increment"] = "total", modulus: float | None = None) -> None:
        """Start before the first reading; `modulus` is in the unit of the values."""
        self._increments = counting == "increment"
        self._modulus = modulus
        self._sum = 0.0
        self._counters: dict[str, _Counter] = {}

    def add(self, values: Floats, counters: str | NDArray[np.str_] = "") -> tuple[Floats, list[Step]]:
        """Return the running total at each of the values (finite, in file order), and where it was joined.

        `counters` names the counter that each value belongs to, one name for all or one a value.
        """
        if self._increments:
            totals = np.cumsum(np.concatenate(([self._sum], values)))
            self._sum = float(totals[-1])
            return totals[1:], []
        groups = {counters: np.arange(len(values))} if isinstance(counters, str) else _grouped(counters)
        return self._joined(values, groups)

    def _joined(self, values: Floats, groups: dict[str, NDArray[np.intp]]) -> tuple[Floats, list[Step]]:
        for name in groups:
            self._counters.setdefault(name, _Counter())
        total = np.zeros(len(values))
        steps: list[Step] = []
        for name, counter in self._counters.items():
            before = counter.total
            rows = groups.get(name, np.empty(0, np.intp))
            shares = _follow(counter, values[rows], self._modulus, rows, name, steps)
            total += _spread(before, shares, rows, len(values))
        return total, sorted(steps)


def _grouped(counters: NDArray[np.str_]) -> dict[str, NDArray[np.intp]]:
    """Return the rows of each counter, in the order in which the counters appear."""
    names, first, which = np.unique(counters, return_index=True, return_inverse=True)
    return {str(names[at]): np.flatnonzero(which == at) for at in np.argsort(first)}


def _spread(before: float, shares: Floats, rows: NDArray[np.intp], n: int) -> Floats:
    """Return a counter's share at every row: its last known one."""
    if len(rows) == n:
        return shares
    known = np.concatenate(([before], shares))
    return known[np.searchsorted(rows, np.arange(n), side="right")]


def _follow(
    counter: _Counter, values: Floats, modulus: float | None, rows: NDArray[np.intp], name: str, steps: list[Step]
) -> Floats:
    """Return the counter's joined readings, stretch by stretch between resets; note what was joined."""
    shares = np.empty(len(values))
    at, restarted = 0, False
    while at < len(values):
        some = values[at : at + _STRETCH]
        highs = np.maximum.accumulate(some)
        if counter.high is not None:
            highs = np.maximum(highs, counter.high)
        fell = some < highs / 2
        fell[0] &= not restarted
        restarted = bool(fell.any())
        n = int(fell.argmax()) if restarted else len(some)
        _note_drops(counter, some[:n], highs[:n], rows[at:], name, steps)
        shares[at : at + n] = counter.below + highs[:n]
        if n:
            counter.high = float(highs[n - 1])
        at += n
        if restarted:
            steps.append(_restart(counter, float(values[at]), modulus, int(rows[at]), name))
    return shares


def _note_drops(
    counter: _Counter, values: Floats, highs: Floats, rows: NDArray[np.intp], name: str, steps: list[Step]
) -> None:
    """Note the first row of each stretch below the former high."""
    low = values < highs
    begins = low & ~np.concatenate(([counter.falling], low[:-1]))[: len(low)]
    for at in np.flatnonzero(begins):
        fall = f"{_who(name)} fell from {highs[at]:.15g} to {values[at]:.15g}"
        text = f"{fall}, less than by half: the total is held until the counter passes {highs[at]:.15g}"
        steps.append(Step(int(rows[at]), "counter_drop", text, float(highs[at] - values[at])))
    if len(low):
        counter.falling = bool(low[-1])


def _restart(counter: _Counter, value: float, modulus: float | None, row: int, name: str) -> Step:
    """Begin a new stretch at a reading that fell by more than half, and say as what it was taken."""
    high = counter.high or 0.0
    fall = f"{_who(name)} fell from {high:.15g} to {value:.15g}"
    rolled = modulus is not None and 0 <= value + modulus - high < modulus / 2
    if rolled and modulus is not None:
        counter.below += modulus
        step = Step(row, "counter_rollover", f"{fall}: it rolled over at {modulus:.15g}", high - value)
    else:
        counter.below += high
        text = f"{fall}: it began again from 0, added to {counter.below:.15g}"
        step = Step(row, "counter_reset", text, high - value)
    counter.high, counter.falling = value, False
    return step


def _who(name: str) -> str:
    return f"the counter {name}" if name else "the counter"
