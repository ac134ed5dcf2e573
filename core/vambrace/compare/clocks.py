"""How far a device's clock is off its reference's: from the curves, from marks, and what neither can tell.

Offsets are seconds that are ADDED to the device's time. What curves show is the clock error less the device's extra
processing delay; curves alone cannot separate the two.
"""

from __future__ import annotations

import math
from typing import Literal, NamedTuple

import numpy as np

from vambrace.compare.arrays import SECOND, Floats, Rows, Times
from vambrace.compare.lagged import (
    Correlation,
    Curve,
    block_sums,
    correlation,
    curve,
    least_overlap,
    masked_r,
    offset_of,
    peak,
)
from vambrace.compare.one_session import t_point

Verdict = Literal["told", "coarse", "cannot be told"]

SEARCH = 600.0
FLOOR = 1.0
"""Seconds of half-width for whole-second stamps, whole-number values and a filter whose delay is not one number."""

_NEAR, _FAR, _AROUND = 6.0, 20.0, 25
_TOLD, _TOLD_HALF, _COARSE_R, _COARSE_HALF = 0.90, 5.0, 0.35, 12.0
_STABILITY_RUNS, _INTERVAL_RUNS = 150, 300
ZONE_RATIO = 1.3
ZONE_REACH = 3 * 3600


class SignalOffset(NamedTuple):
    """An offset by signal. `stability` is the share of block resamples within 6 s; NaN where nothing could be found.

    `second_ratio` is the peak's r by the best r more than 20 s away.
    """

    offset: float
    low: float
    high: float
    verdict: Verdict
    stability: float
    peak_r: float
    second_ratio: float
    reason: str


class ZoneSearch(NamedTuple):
    """The offset at the best candidate; `zone` (s) is that candidate where the clock is off by whole zones, else 0."""

    found: SignalOffset
    zone: int
    is_fault: bool
    ratio: float


class Drift(NamedTuple):
    """By how much the offset grows with the device's time, in parts per million, and how many parts tell it.

    Above 0 the device's clock is slow.
    """

    ppm: float
    low: float
    high: float
    parts: int


class MarkedOffset(NamedTuple):
    """An offset from clock marks; ppm only where three marks or more lie an hour apart."""

    offset: float
    low: float
    high: float
    ppm: float | None


def signal_offset(
    device_times: Times,
    device: Floats,
    reference_times: Times,
    reference: Floats,
    *,
    centre: float = 0.0,
    search: float = SEARCH,
    seed: int = 1,
) -> SignalOffset:
    """Return the offset within `centre` ± `search` seconds that lays the device's curve on the reference's.

    Times µs ascending, values in one unit. `told` where resampled blocks keep the peak within 6 s in 90 % of cases and
    the half-width is at most 5 s; `coarse` within 20 s with r of 0.35; else it cannot be told: flat signals, and most
    files of another person, end there.
    """
    mine = curve(device_times, device, mask_constant=True)
    theirs = curve(reference_times, reference, mask_constant=False)
    return _offset(mine, theirs, centre, search, seed)


def zone_search(
    device_times: Times,
    device: Floats,
    reference_times: Times,
    reference: Floats,
    *,
    step: int = 1800,
    seed: int = 1,
) -> ZoneSearch:
    """Look ±10 min around every half hour up to ±3 h (`step` 900 for zones with quarter hours).

    A zone fault is a candidate other than 0 that is told and whose r is 1.3 times the best of the others.
    """
    mine = curve(device_times, device, mask_constant=True)
    theirs = curve(reference_times, reference, mask_constant=False)
    reach = ZONE_REACH + SEARCH
    whole = correlation(mine, theirs, -reach, reach)
    best: list[tuple[float, int]] = []
    offsets = offset_of(mine, theirs, 0) + whole.lags
    # Quarter hours lie closer than two searches: there each search ends half way to its neighbour.
    width = min(SEARCH, step / 2)
    for candidate in range(-ZONE_REACH, ZONE_REACH + 1, step):
        near = np.abs(offsets - candidate) <= width
        if np.isfinite(whole.r[near]).any():
            best.append((float(np.nanmax(whole.r[near])), candidate))
    if not best:
        return ZoneSearch(_nothing("the recordings do not overlap at any zone"), 0, False, math.nan)
    best.sort(reverse=True)
    r, zone = best[0]
    ratio = r / best[1][0] if len(best) > 1 and best[1][0] > 0 else math.inf
    found = _offset(mine, theirs, float(zone), width, seed)
    return ZoneSearch(found, zone, zone != 0 and found.verdict == "told" and ratio >= ZONE_RATIO, ratio)


def signal_drift(
    device_times: Times, device: Floats, reference_times: Times, reference: Floats, offset: float, *, part: int = 3600
) -> Drift | None:
    """Return the drift of a long recording from the offsets of its parts (µs, as `signal_offset`); None below 4 told.

    Each part of `part` seconds is searched within 60 s of `offset`; a line by weighted least squares, the residuals'
    own spread if that is larger than the offsets' intervals.
    """
    rows = []
    for at in range(int(device_times[0]), int(device_times[-1]), part * SECOND) if device_times.size else ():
        inside = (device_times >= at) & (device_times < at + part * SECOND)
        middle = at + round(offset * SECOND)
        beside = (reference_times >= middle - 90 * SECOND) & (reference_times < middle + (part + 90) * SECOND)
        if np.count_nonzero(inside) < 2 or np.count_nonzero(beside) < 2:
            continue
        found = signal_offset(
            device_times[inside], device[inside], reference_times[beside], reference[beside], centre=offset, search=60
        )
        if found.verdict == "told":
            centre = float(device_times[inside].mean() - device_times[0]) / SECOND
            rows.append((centre, found.offset, (found.high - found.low) / 2 / 1.96))
    return _line(np.array(rows)) if len(rows) >= 4 else None


def marked_offset(device_times: Times, true_times: Times, resolution: float = 1.0) -> MarkedOffset:
    """Return the offset from marks: what the device's clock said (µs) at known times (µs), read to `resolution` s.

    One or two marks: their mean ± the resolution. Three or more: Student's t on them, not below ± resolution/√n; a
    drift where they span an hour, the offset then being that at their middle.
    """
    if not device_times.size or device_times.size != true_times.size:
        raise ValueError("Each clock mark needs the device's time and the true time.")
    off = (true_times - device_times) / SECOND
    n, mean = off.size, float(off.mean())
    half = resolution / math.sqrt(n) if n > 2 else resolution
    if n < 3:
        return MarkedOffset(mean, mean - half, mean + half, None)
    at = (device_times - device_times.mean()) / SECOND
    ppm, rest = None, off - mean
    if float(np.ptp(at)) >= 3600:
        slope = float(at @ off / (at @ at))
        ppm, rest = slope * 1e6, rest - slope * at
    free = n - (1 if ppm is None else 2)
    half = max(half, t_point(free) * math.sqrt(float(rest @ rest) / free / n))
    return MarkedOffset(mean, mean - half, mean + half, ppm)


def aligned_times(times: Times, offset: float, ppm: float = 0.0, middle: int = 0) -> Times:
    """Return the device's times (µs) plus an offset (s), and plus a drift about `middle` (µs) where one is known."""
    drift = np.rint((times - middle) * (ppm * 1e-6)).astype(np.int64)
    aligned: Times = times + round(offset * SECOND) + drift
    return aligned


def offset_words(found: SignalOffset, clock_offset: float | None = None) -> list[str]:
    """Return the sentences to print with an offset by signal, and with `clock_offset` (marks, declared) where known."""
    if found.verdict == "cannot be told":
        return [f"The offset cannot be told from the curves: {found.reason}."]
    told = (
        f"Adding {found.offset:.1f} s (95 % interval {found.low:.1f} to {found.high:.1f}) to this device's times lays "
        "its curve on the reference's. This is the clock error less the device's extra processing delay; curves alone "
        "cannot separate the two."
    )
    lines = [told]
    if found.verdict == "coarse":
        lines.append("This is coarse: it is shown, and applied only if you accept coarse offsets.")
    if clock_offset is None:
        lines.append(
            "A delay of a few seconds may be hidden in this number; results aligned do not charge the device for it, "
            "results as stamped charge it for the clock as well."
        )
    else:
        delay = delay_difference(clock_offset, found.offset)
        way = "behind" if delay >= 0 else "ahead of"
        lines.append(
            f"With the clock known ({clock_offset:+.1f} s) the device runs {abs(delay):.1f} s {way} the reference."
        )
    return lines


def delay_difference(clock_offset: float, apparent_offset: float) -> float:
    """Return the device's processing delay beyond the reference's, in seconds."""
    return clock_offset - apparent_offset


def _offset(mine: Curve, theirs: Curve, centre: float, search: float, seed: int) -> SignalOffset:
    """Return the peak within the bounds, its interval and its verdict."""
    seen = correlation(mine, theirs, centre - search, centre + search)
    top = peak(seen.lags, seen.r)
    if top is None:
        return _nothing("too little of both recordings overlaps, or a signal does not change")
    lag, r = top
    sums, least = block_sums(mine, theirs, seen.lags), least_overlap(mine, theirs)
    rng = np.random.default_rng(seed)
    half = _half_width(sums, seen, lag, rng, least)
    moved = np.abs(_resampled_peaks(sums, seen.lags, _STABILITY_RUNS, rng, least) - lag)
    near, far = float(np.mean(moved <= _NEAR)), float(np.mean(moved <= _FAR))
    verdict, reason = _judged(near, far, half, r)
    offset = offset_of(mine, theirs, lag)
    return SignalOffset(offset, offset - half, offset + half, verdict, near, r, _second_ratio(seen, lag, r), reason)


def _judged(near: float, far: float, half: float, r: float) -> tuple[Verdict, str]:
    """Return the verdict by stability, and what speaks against a better one."""
    if near >= _TOLD and half <= _TOLD_HALF:
        return "told", ""
    why = f"{near:.0%} of resampled blocks keep the peak within {_NEAR:g} s (90 % needed), half-width {half:.1f} s"
    if far >= _TOLD and r >= _COARSE_R and half <= _COARSE_HALF:
        return "coarse", why
    return "cannot be told", why


def _half_width(sums: Floats, seen: Correlation, lag: float, rng: np.random.Generator, least: float) -> float:
    """Return the half-width from peaks of resampled blocks within 25 s of the peak, with the floor of 1 s."""
    around = np.abs(seen.lags - lag) <= _AROUND
    used = int(np.count_nonzero(sums[:, 0, int(np.argmin(np.abs(seen.lags - lag)))] > 0))
    if used < 3:
        return math.inf
    peaks = _resampled_peaks(sums[:, :, around], seen.lags[around], _INTERVAL_RUNS, rng, least)
    return math.hypot(t_point(used - 1) * float(np.nanstd(peaks, ddof=1)), FLOOR)


def _resampled_peaks(sums: Floats, lags: Rows, times: int, rng: np.random.Generator, least: float) -> Floats:
    """Return the lag of the highest r in each resample of blocks; infinite where a resample shows none."""
    blocks = sums.shape[0]
    weights = rng.multinomial(blocks, np.full(blocks, 1 / blocks), times).astype(np.float64)
    allowed = sums[:, 0].sum(axis=0) >= least
    again = (weights @ sums.reshape(blocks, -1)).reshape(times, *sums.shape[1:])
    r = np.where(allowed, masked_r(again, 30.0), np.nan)
    found = (peak(lags, row) for row in r)
    return np.array([math.inf if each is None else each[0] for each in found])


def _second_ratio(seen: Correlation, lag: float, r: float) -> float:
    """Return r by the best r more than 20 s away, infinite where nothing else is alike."""
    away = seen.r[np.abs(seen.lags - lag) > _FAR]
    best = float(np.nanmax(away)) if np.isfinite(away).any() else 0.0
    return r / best if best > 0 else math.inf


def _nothing(reason: str) -> SignalOffset:
    """Return that nothing could be found."""
    none = math.nan
    return SignalOffset(none, none, none, "cannot be told", none, none, none, reason)


def _line(rows: Floats) -> Drift:
    """Return the slope of offsets over time by weighted least squares."""
    at, offset, error = rows.T
    weight = 1 / error**2
    centre = float(weight @ at / weight.sum())
    spread = float(weight @ (at - centre) ** 2)
    slope = float(weight @ ((at - centre) * offset) / spread)
    rest = offset - float(weight @ offset / weight.sum()) - slope * (at - centre)
    free = at.size - 2
    scale = max(1.0, float(weight @ rest**2) / free)
    half = t_point(free) * math.sqrt(scale / spread)
    return Drift(slope * 1e6, (slope - half) * 1e6, (slope + half) * 1e6, int(at.size))
