"""How much seconds of one recording hang together: integrated autocorrelation times.

A series is laid on a grid of equal steps; a slot without a pair weighs nothing, and time is kept. τ is the number of
seconds that carry the knowledge of one independent pair: effective n = m/τ for m filled slots.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from vambrace.compare.arrays import Floats, Rows, Times, ascending, median_interval

LAGS = 700
"""Longest lag looked at, in steps."""

_NEAR_ONE = 0.9995


class Grid(NamedTuple):
    """Where each pair lies: its slot, how many slots there are, how many are filled, and the step in µs."""

    slot: Rows
    size: int
    filled: int
    step: int


def grid(times: Times) -> Grid:
    """Lay times (µs, ascending) on slots of their median interval; pauses longer than every lag are shortened to it."""
    ascending(times, "the pairs")
    step = max(1, median_interval(times) or 1)
    at = np.rint((times - times[0]) / step).astype(np.int64) if times.size else np.empty(0, np.int64)
    jumps = np.minimum(np.diff(at, prepend=0), LAGS + 1)
    slot = np.cumsum(jumps).astype(np.intp)
    size = int(slot[-1]) + 1 if slot.size else 0
    return Grid(slot, size, int(np.count_nonzero(jumps)) + 1 if slot.size else 0, step)


def on_grid(values: Floats, where: Grid) -> tuple[Floats, Floats]:
    """Return the mean of each slot (0 where empty) and 1 or 0 for filled or empty."""
    count = np.bincount(where.slot, minlength=where.size)
    mean = np.bincount(where.slot, weights=values, minlength=where.size) / np.maximum(count, 1)
    return mean, (count > 0).astype(np.float64)


def autocorrelation(series: Floats, filled: Floats) -> Floats:
    """Return ρ at lags 0 … min(700, n/2) of a series with mean 0, divisor n; lags that gaps thin out are scaled up.

    Without the scaling, gaps would make neighbours look less alike than they are, and intervals too narrow.
    """
    n = series.size
    lags = max(1, min(LAGS, n // 2))
    sums, counts = (_products(each, lags) for each in (series, filled))
    if sums[0] <= 0:
        return np.zeros(lags + 1)
    thinning = (n - np.arange(lags + 1)) / n * counts[0] / np.maximum(counts, 1.0)
    rho: Floats = sums / sums[0] * np.clip(thinning, 0, 10)
    return rho


def largest_time(rho: Floats, n: int) -> float:
    """Return the largest of three estimates of τ, at least 1. Each of them fails somewhere alone.

    That the largest is taken is this project's own rule, held by simulation (tests/release/coverage.py), not a paper's.
    """
    if rho.size < 2 or n < 3:
        return 1.0
    return max(1.0, lag_one_time(rho, n), initial_sequence_time(rho, n), exponential_time(rho, n))


def lag_one_time(rho: Floats, n: int) -> float:
    """Return τ as if AR(1), ρ₁ corrected by (1 + 4ρ₁)/n for the estimated mean."""
    corrected = min(float(rho[1]) + (1 + 4 * float(rho[1])) / n, _NEAR_ONE)
    return max(0.0, (1 + corrected) / (1 - corrected))


def initial_sequence_time(rho: Floats, n: int) -> float:
    """Return τ by the initial monotone sequence (Geyer 1992), τ/n added back for the estimated mean, at most n/4."""
    time = _monotone(rho)
    for _ in range(3):
        time = _monotone(rho + min(time, n / 4) / n)
    return min(time, n / 4)


def exponential_time(rho: Floats, n: int) -> float:
    """Return τ from ρ_k ≈ A·f^k, fitted where ρ stays above 0.3, corrected for the estimated mean, at most n."""
    return exponential(rho, n)[1]


def exponential(rho: Floats, n: int) -> tuple[float, float]:
    """Return the height A of that exponential and its τ."""
    height, time = 1.0, 0.0
    for _ in range(5):
        height, time = _decay((rho + time / n) / (1 + time / n))
        time = min(time, float(n))
    return height, time


def time_of_squares(rho: Floats, n: int) -> float:
    """Return the τ that squares and absolute values of a Gaussian series have, from the ρ of the series itself.

    Their correlation is about ρ². Of slow error under fast noise (A well below 1) little is left in squares, too
    little to be seen in them, though it still counts.
    """
    height, time = exponential(rho, n)[0], largest_time(rho, n)
    fall = min((time - 1) / (time - 1 + 2 * height), _NEAR_ONE) ** 2 if time > 1 and height > 0 else 0.0
    return 1 + 2 * min(height, 1.0) ** 2 * fall / (1 - fall)


def _products(series: Floats, lags: int) -> Floats:
    """Return Σ s_t s_{t+k} for k = 0 … lags, by FFT."""
    from scipy.fft import irfft, next_fast_len, rfft

    length = next_fast_len(series.size + lags, real=True)
    spectrum = rfft(series, length)
    sums: Floats = irfft(np.abs(spectrum) ** 2, length)[: lags + 1]
    return sums


def _monotone(rho: Floats) -> float:
    """Return 2 ΣΓ − 1 over sums of neighbouring lags while positive, made not to rise."""
    both = rho[: rho.size // 2 * 2].reshape(-1, 2).sum(axis=1)
    stop = int(np.argmax(both <= 0)) if bool(np.any(both <= 0)) else both.size
    return 2 * float(np.minimum.accumulate(both[:stop]).sum()) - 1 if stop else 1.0


def _decay(rho: Floats) -> tuple[float, float]:
    """Return A and 1 + 2Af/(1 − f) of the exponential through the first lags; τ is 1 where nothing decays."""
    below = rho[1:] <= 0.3
    count = min(max(3, int(np.argmax(below)) if bool(below.any()) else below.size), below.size)
    lag, seen = np.arange(1, count + 1), np.maximum(rho[1 : count + 1], 1e-6)
    if count < 2:
        return 1.0, 1.0
    # Weights ρ²: polyfit squares the ones that it is given.
    level, slope = np.polynomial.polynomial.polyfit(lag, np.log(seen), 1, w=seen)
    height, fall = min(float(np.exp(level)), 1.2), min(float(np.exp(min(slope, 0.0))), _NEAR_ONE)
    return (height, 1 + 2 * height * fall / (1 - fall)) if slope < 0 else (1.0, 1.0)
