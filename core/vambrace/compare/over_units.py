"""Intervals over participants, or over the sessions of one participant: the unit is what was drawn at random."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from vambrace.compare.agreement import Z
from vambrace.compare.arrays import Codes, Floats
from vambrace.compare.intervals import STATISTICS, Ends, Intervals, nothing, refuse
from vambrace.compare.one_session import SessionRow, chi_square_ends, mover, t_point

LEAST_UNITS = 3
LEAST_FOR_SPREAD = 5
"""Fewer give an SD interval as wide as the SD, and limits' intervals wider than the limits."""

_OUTLYING, _MAD, _SKEWED, _SKEW_NEEDS = 3.5, 1.4826, 1.0, 8


class _Parts(NamedTuple):
    """Components of one difference's variance: value, weight, and interval of each; total and its ends."""

    total: float
    ends: Ends
    df: float


def pooled_intervals(participant: Codes, sessions: Sequence[SessionRow]) -> Intervals:
    """Return intervals for several sessions: the participant is the unit, or the session of the only participant.

    `participant` holds a code for each session. Three participants or more: people like these; one participant with
    three sessions or more: this person; two of either: no interval.
    """
    k = np.unique(participant).size
    if k == 1:
        unit = "session (this participant only)"
        if len(sessions) < LEAST_UNITS:
            return nothing(unit, len(sessions), f"one participant with fewer than {LEAST_UNITS} sessions")
        return over_units(np.arange(len(sessions)), sessions, unit)
    if k < LEAST_UNITS:
        return nothing("participant", k, f"fewer than {LEAST_UNITS} participants")
    return over_units(participant, sessions, "participant")


def over_units(unit: Codes, sessions: Sequence[SessionRow], name: str) -> Intervals:
    """Return 95 % intervals with `name` as the unit, `unit` a code for each session, three units at least.

    Bias: Student's t on unit means. SD and limits: components of variance between units, between sessions and within
    sessions, joined by MOVER (Zou 2013; the joining of three components is this project's, held by simulation).
    MAE and MAPE: t on the log scale. r and CCC: t on artanh. A unit with more sessions does not count more.
    """
    _, which, counted = np.unique(unit, return_inverse=True, return_counts=True)
    k, count = counted.size, counted.astype(np.float64)
    bias = _column(sessions, "bias")
    means = _unit_means(bias, which, count)
    centre, half = _t(means)
    ends: dict[str, Ends] = {"bias": (centre - half, centre + half)}
    estimates: dict[str, float] = {"bias": centre}
    refused: dict[str, str] = {}
    companions: dict[str, Ends] = {}
    parts = _variance(sessions, which, count, means)
    sd = math.sqrt(parts.total)
    estimates |= {"sd_difference": sd, "loa_lower": centre - Z * sd, "loa_upper": centre + Z * sd}
    reason = spread_refusal(means, name)
    if reason is None:
        ends |= _spread_ends((centre, half), sd, parts.ends)
        satterthwaite = chi_square_ends(parts.total, parts.df)
        companions = {
            f"{key} (Satterthwaite)": value for key, value in _spread_ends((centre, half), sd, satterthwaite).items()
        }
    else:
        refused |= refuse(("sd_difference", "loa_lower", "loa_upper"), reason)
    for key in ("mae", "mape", "pearson_r", "ccc"):
        values = _unit_means(_transformed(_column(sessions, key), key), which, count)
        if not np.isfinite(values).all() or (key in ("mae", "mape") and not values.mean() > 0):
            refused[key] = _not_told(key, values, name)
            continue
        estimates[key], ends[key] = _back(*_t(values), key)
    return Intervals(name, k, {s: ends[s] for s in STATISTICS if s in ends}, refused, estimates, float(k), companions)


def spread_refusal(means: Floats, name: str) -> str | None:
    """Return why the SD and the limits of these unit biases get no interval, None where they do.

    Limits of ±1.96 SD are a normal-theory figure. The thresholds are this project's. Measured over 20,000 draws of 6,
    10 and 20 unit means each: withheld for 15, 15 and 11 % of normal biases, for 20, 36 and 43 % of skewed ones and
    for 21, 41 and 47 % where one in eight is far off. It is a warning, not a proof of normality.
    """
    k = means.size
    if k < LEAST_FOR_SPREAD:
        return f"fewer than {LEAST_FOR_SPREAD} {_word(name)}s"
    off = np.abs(means - np.median(means))
    c = means - means.mean()
    spread = float(np.mean(c * c))
    skew = float(np.mean(c**3)) / spread**1.5 if spread > 0 else 0.0
    far = float(off.max()) > _OUTLYING * _MAD * float(np.median(off)) > 0
    if far or (k >= _SKEW_NEEDS and abs(skew) > _SKEWED):
        return f"the {_word(name)}s' biases are not bell-shaped; see the table by {_word(name)}"
    return None


def _word(name: str) -> str:
    """Return the unit's bare name."""
    return name.partition(" ")[0]


def _column(sessions: Sequence[SessionRow], key: str) -> Floats:
    """Return one figure of every session."""
    return np.array([getattr(each, key) for each in sessions], np.float64)


def _unit_means(values: Floats, which: Codes, count: Floats) -> Floats:
    """Return the mean over each unit's sessions."""
    means: Floats = np.bincount(which, weights=values) / count
    return means


def _t(values: Floats) -> Ends:
    """Return mean and half-width by Student's t."""
    k = values.size
    return float(values.mean()), t_point(k - 1) * float(values.std(ddof=1)) / math.sqrt(k)


def _variance(sessions: Sequence[SessionRow], which: Codes, count: Floats, means: Floats) -> _Parts:
    """Return the variance of one single difference, its MOVER ends and Satterthwaite's degrees of freedom."""
    k, bias, variance = means.size, _column(sessions, "bias"), _column(sessions, "variance")
    within_units = _unit_means(variance, which, count)
    between, within = float(means.var(ddof=1)), float(within_units.mean())
    # (value, weight, ends, variance of value)
    parts = [(between, 1.0, chi_square_ends(between, k - 1), 2 * between**2 / (k - 1))]
    spare = int(count.sum()) - k
    if spare:
        square = float(np.sum((bias - means[which]) ** 2)) / spare
        weight = 1 - float(np.mean(1 / count))
        parts.append((square, weight, chi_square_ends(square, spare), 2 * square**2 / spare))
    error = float(within_units.std(ddof=1)) / math.sqrt(k)
    parts.append((within, 1.0, _within_ends(within, error, k, float(np.sum(_column(sessions, "free")))), error**2))
    total = sum(weight * value for value, weight, _, _ in parts)
    down = math.sqrt(sum((weight * (value - low)) ** 2 for value, weight, (low, _), _ in parts))
    up = math.sqrt(sum((weight * (high - value)) ** 2 for value, weight, (_, high), _ in parts))
    noise = sum(weight**2 * each for _, weight, _, each in parts) / 2
    return _Parts(total, (max(0.0, total - down), total + up), total**2 / noise if noise > 0 else 1e9)


def _within_ends(within: float, error: float, k: int, free: float) -> Ends:
    """Return, on each side, the wider of the chi-square interval over seconds and that over units on the log scale."""
    if within <= 0:
        return 0.0, 0.0
    low, high = chi_square_ends(within, max(free, 1.0))
    factor = math.exp(min(t_point(k - 1) * error / within, 50.0))
    return min(low, within / factor), max(high, within * factor)


def _spread_ends(centre: Ends, sd: float, variance: Ends) -> dict[str, Ends]:
    """Return the ends of SD and limits from those of the variance."""
    spread = math.sqrt(variance[0]), math.sqrt(variance[1])
    bias = centre[0]
    return {
        "sd_difference": spread,
        "loa_lower": mover(centre, bias - Z * sd, spread, sd, upper=False),
        "loa_upper": mover(centre, bias + Z * sd, spread, sd, upper=True),
    }


def _transformed(values: Floats, key: str) -> Floats:
    """Return correlations on the artanh scale; ±1 becomes NaN, since it has no place there."""
    if key in ("mae", "mape"):
        return values
    scaled: Floats = np.full(values.shape, np.nan)
    inside = np.abs(values) < 1
    scaled[inside] = np.arctanh(values[inside])
    return scaled


def _back(mean: float, half: float, key: str) -> tuple[float, Ends]:
    """Return estimate and ends on the figure's own scale."""
    if key in ("mae", "mape"):
        factor = math.exp(min(half / mean, 700.0))
        return mean, (mean / factor, mean * factor)
    return math.tanh(mean), (math.tanh(mean - half), math.tanh(mean + half))


def _not_told(key: str, values: Floats, name: str) -> str:
    """Say why a figure has no interval."""
    if key in ("mae", "mape") and np.isfinite(values).all():
        return "the error is 0"
    missing = int(np.count_nonzero(~np.isfinite(values)))
    return f"{key} could not be told for {missing} of {values.size} {_word(name)}s"
