"""Two curves held against each other at every lag: preparation, masked correlation, and its sums by block."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view

from vambrace.compare.arrays import SECOND, Floats, Marks, Rows, Times, ascending, finite

GAP_SECONDS, CONSTANT_SECONDS, SIGMA, LEAST_WEIGHT, CLIP = 2.5, 12, 4.0, 0.75, 4 * 1.4826
BLOCK = 60
"""Seconds of a block."""


class Curve(NamedTuple):
    """The slope of a smoothed signal at 1 Hz: where it starts (µs), values (0 where not valid), and where valid."""

    start: int
    values: Floats
    valid: Floats


class Correlation(NamedTuple):
    """r at each lag (NaN where too little overlaps) and the lags in seconds, ascending by one."""

    lags: Rows
    r: Floats


def curve(times: Times, values: Floats, *, mask_constant: bool) -> Curve:
    """Prepare a signal for the search: 1 Hz, gaps masked, smoothed (σ 4 s), differentiated, clipped.

    Only here is anything interpolated, and only to find a lag: no value of it reaches a pair. `mask_constant` leaves
    out stretches of one value of 12 s or more, which a device holds rather than measures.
    """
    ascending(times, "a channel")
    finite(values, "a channel")
    if times.size < 2:
        return Curve(int(times[0]) if times.size else 0, np.zeros(0), np.zeros(0))
    at = np.arange(times[0], times[-1] + 1, SECOND)
    laid = np.interp(at, times, values)
    after = np.clip(np.searchsorted(times, at), 1, times.size - 1)
    valid = times[after] - times[after - 1] <= GAP_SECONDS * SECOND
    if mask_constant:
        valid &= ~_constant(laid)
    smooth, good = _smoothed(laid, valid)
    slope, whole = np.zeros(at.size), np.zeros(at.size, np.bool_)
    slope[1:-1] = (smooth[2:] - smooth[:-2]) / 2
    whole[1:-1] = good[2:] & good[:-2] & good[1:-1]
    return Curve(int(times[0]), _clipped(slope, whole), whole.astype(np.float64))


def correlation(device: Curve, reference: Curve, low: float, high: float) -> Correlation:
    """Return r at every lag with low ≤ offset ≤ high (s), by six FFTs; at least half the shorter record must overlap.

    The offset of lag L is L + (start of reference − start of device): what is added to the device's time.
    """
    lags = _lags(device, reference, low, high)
    if not lags.size:
        return Correlation(lags, np.empty(0))
    sums = _all_sums(device, reference, lags)
    return Correlation(lags, masked_r(sums, least_overlap(device, reference)))


def least_overlap(device: Curve, reference: Curve) -> float:
    """Return half of the valid seconds of the shorter record, at least 60."""
    return max(60.0, 0.5 * min(float(device.valid.sum()), float(reference.valid.sum())))


def offset_of(device: Curve, reference: Curve, lag: float) -> float:
    """Return the seconds that are added to the device's time at a lag."""
    return lag + (reference.start - device.start) / SECOND


def masked_r(sums: Floats, least: float) -> Floats:
    """Return r from the six sums (n, Σa, Σb, Σa², Σb², Σab along axis −2), NaN where n < `least`."""
    n, a, b, aa, bb, ab = np.moveaxis(sums, -2, 0)
    with np.errstate(divide="ignore", invalid="ignore"):
        below = (n * aa - a * a) * (n * bb - b * b)
        r: Floats = np.where((n >= least) & (below > 1e-9), (n * ab - a * b) / np.sqrt(np.abs(below)), np.nan)
    return r


def block_sums(device: Curve, reference: Curve, lags: Rows) -> Floats:
    """Return the six sums for each block of 60 s of the shorter record and each lag: shape (blocks, 6, lags)."""
    if device.values.size > reference.values.size:
        # The other way round every lag has the other sign, and a and b change places.
        return block_sums(reference, device, -lags[::-1])[:, [0, 2, 1, 4, 3, 5], ::-1]
    first, last = int(lags[0]), int(lags[-1])
    before, after = max(0, -first), max(0, last + device.values.size - reference.values.size)
    other = [np.pad(each, (before, after)) for each in (reference.valid, reference.values, reference.values**2)]
    mine = np.stack([device.valid, device.values, device.values**2])
    blocks = []
    for at in range(0, device.values.size, BLOCK):
        part = mine[:, at : at + BLOCK]
        width = part.shape[1]
        begin = at + first + before
        end = begin + width + last - first
        views = [np.ascontiguousarray(sliding_window_view(each[begin:end], lags.size)) for each in other]
        (n, a, aa), (b, ab), bb = part @ views[0], part[:2] @ views[1], part[0] @ views[2]
        blocks.append(np.stack([n, a, b, aa, bb, ab]))
    return np.stack(blocks)


def peak(lags: Rows, r: Floats) -> tuple[float, float] | None:
    """Return the lag of the highest r, by a parabola through three points, and that r; None where no r exists."""
    if not np.isfinite(r).any():
        return None
    at = int(np.nanargmax(r))
    shift = 0.0
    if 0 < at < r.size - 1:
        left, middle, right = r[at - 1 : at + 2]
        bend = left - 2 * middle + right
        shift = float(0.5 * (left - right) / bend) if np.isfinite(bend) and bend < 0 else 0.0
    return float(lags[at]) + shift, float(r[at])


def _lags(device: Curve, reference: Curve, low: float, high: float) -> Rows:
    """Return the whole lags whose offsets lie within the bounds and at which the records can overlap."""
    base = (reference.start - device.start) / SECOND
    first = max(int(np.ceil(low - base)), 1 - device.values.size)
    last = min(int(np.floor(high - base)), reference.values.size - 1)
    return np.arange(first, last + 1)


def _constant(laid: Floats) -> Marks:
    """Mark stretches of one value of 12 s or more."""
    first = np.concatenate([[0], np.flatnonzero(np.diff(laid) != 0) + 1])
    size = np.diff(np.concatenate([first, [laid.size]]))
    return np.repeat(size >= CONSTANT_SECONDS, size)


def _smoothed(laid: Floats, valid: Marks) -> tuple[Floats, Marks]:
    """Smooth by a Gaussian over valid seconds; valid where 75 % of its weight is."""
    from scipy.ndimage import gaussian_filter1d

    centre = float(laid[valid].mean()) if valid.any() else 0.0
    weight = gaussian_filter1d(valid.astype(np.float64), SIGMA, mode="constant")
    total = gaussian_filter1d(np.where(valid, laid - centre, 0.0), SIGMA, mode="constant")
    return total / np.maximum(weight, 1e-12), weight >= LEAST_WEIGHT


def _clipped(slope: Floats, whole: Marks) -> Floats:
    """Clip at 4 robust SDs, so that an artefact's jump does not lead the search."""
    if not whole.any():
        return np.zeros(slope.size)
    bound = CLIP * float(np.median(np.abs(slope[whole] - np.median(slope[whole]))))
    kept = np.clip(slope, -bound, bound) if bound > 0 else slope
    clipped: Floats = np.where(whole, kept, 0.0)
    return clipped


def _all_sums(device: Curve, reference: Curve, lags: Rows) -> Floats:
    """Return the six sums for every lag by FFT: shape (6, lags)."""
    from scipy.fft import irfft, next_fast_len, rfft

    length = next_fast_len(device.values.size + reference.values.size, real=True)
    mine = [np.conj(rfft(each, length)) for each in (device.valid, device.values, device.values**2)]
    theirs = [rfft(each, length) for each in (reference.valid, reference.values, reference.values**2)]
    pairs = ((0, 0), (1, 0), (0, 1), (2, 0), (0, 2), (1, 1))
    sums: Floats = np.stack([irfft(mine[i] * theirs[j], length)[lags % length] for i, j in pairs])
    sums[0] = np.rint(sums[0])
    return sums
