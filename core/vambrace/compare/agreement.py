"""Agreement of paired values: every figure of one group of pairs, without intervals."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from vambrace.compare.acceptance import Tolerance
from vambrace.compare.arrays import Floats, finite

Z = 1.96
"""The factor of limits of agreement: Bland & Altman 1999 (the 1986 paper used 2)."""

_BLOCK = 1 << 18
"""Pairs looked at together, so that working memory stays flat."""


@dataclass(frozen=True, slots=True)
class Moments:
    """Count, means and central sums (Σ of squares and products about the means) of device x and reference y."""

    n: int
    mean_x: float
    mean_y: float
    xx: float
    yy: float
    xy: float


@dataclass(frozen=True, slots=True)
class Agreement:
    """The figures of one group. None where a figure does not exist; `missing` says why, by the figure's name.

    `bias` is device minus reference; `sd_difference` has divisor n−1; `mape` is in % of the reference; `slope` is that
    of the difference on the mean of both (proportional bias); `sd_ratio` is SD of the device by SD of the reference.
    """

    n: int
    bias: float | None
    sd_difference: float | None
    loa_lower: float | None
    loa_upper: float | None
    mae: float | None
    mape: float | None
    rmse: float | None
    median_absolute_error: float | None
    p95_absolute_error: float | None
    within_tolerance: float | None
    pearson_r: float | None
    ccc: float | None
    slope: float | None
    sd_ratio: float | None
    reference_low: float | None
    reference_high: float | None
    reference_sd: float | None
    missing: Mapping[str, str] = field(default_factory=dict)


def moments(device: Floats, reference: Floats) -> Moments:
    """Return count, means and central sums in two passes over blocks, each centred before it is squared."""
    n = device.size
    mean_x, mean_y = (float(np.mean(side)) if n else math.nan for side in (device, reference))
    xx = yy = xy = 0.0
    for at in range(0, n, _BLOCK):
        x, y = device[at : at + _BLOCK] - mean_x, reference[at : at + _BLOCK] - mean_y
        xx, yy, xy = xx + float(x @ x), yy + float(y @ y), xy + float(x @ y)
    return Moments(n, mean_x, mean_y, xx, yy, xy)


def pearson(found: Moments) -> float | None:
    """Return Pearson's r, None where a side does not vary."""
    if not _varies(found.xx, found) or not _varies(found.yy, found):
        return None
    return max(-1.0, min(1.0, found.xy / math.sqrt(found.xx * found.yy)))


def concordance(found: Moments) -> float | None:
    """Return Lin's concordance coefficient (Lin 1989, divisor n), None where both sides are one and the same constant.

    2 s_xy / (s_x² + s_y² + (x̄ − ȳ)²). With divisor n−1 the fifth digit differs.
    """
    below = found.xx + found.yy + found.n * (found.mean_x - found.mean_y) ** 2
    return 2 * found.xy / below if found.n > 1 and below > 0 else None


def slope_on_mean(found: Moments) -> float | None:
    """Return the least-squares slope of the difference on the mean of both (Bland & Altman 1999, section 3)."""
    spread = found.xx + found.yy + 2 * found.xy
    return 2 * (found.xx - found.yy) / spread if _varies(spread, found) else None


def spread_slope(device: Floats, reference: Floats) -> float | None:
    """Return by how much the SD of the differences grows with the mean of both (Bland & Altman 1999, section 3.2).

    Least-squares slope of the absolute residuals (about the line of the difference on the mean) times √(π/2).
    """
    slope = slope_on_mean(moments(device, reference))
    if slope is None:
        return None
    difference, middle = device - reference, (device + reference) / 2
    centred = middle - middle.mean()
    residual = np.abs(difference - difference.mean() - slope * centred)
    return float(centred @ residual / (centred @ centred) * math.sqrt(math.pi / 2))


def agreement(device: Floats, reference: Floats, tolerance: Tolerance | None = None) -> Agreement:
    """Return every figure of paired values; both arrays of one length, in the signal's unit, without NaN."""
    if device.shape != reference.shape or device.ndim != 1:
        raise ValueError("Device and reference must be two lists of one length: pair them first.")
    finite(device, "the device's values")
    finite(reference, "the reference's values")
    found = moments(device, reference)
    missing = _reasons(found, reference, tolerance)
    n = found.n
    bias = found.mean_x - found.mean_y if n else None
    sd = _sd_difference(device, reference, found) if n > 1 else None
    errors = _errors(device, reference, tolerance)
    return Agreement(
        n=n,
        bias=bias,
        sd_difference=sd,
        loa_lower=None if bias is None or sd is None else bias - Z * sd,
        loa_upper=None if bias is None or sd is None else bias + Z * sd,
        mae=errors.get("mae"),
        mape=None if "mape" in missing else errors.get("mape"),
        rmse=errors.get("rmse"),
        median_absolute_error=errors.get("median"),
        p95_absolute_error=errors.get("p95"),
        within_tolerance=errors.get("within"),
        pearson_r=pearson(found),
        ccc=concordance(found),
        slope=slope_on_mean(found),
        sd_ratio=math.sqrt(found.xx / found.yy) if _varies(found.yy, found) else None,
        reference_low=float(reference.min()) if n else None,
        reference_high=float(reference.max()) if n else None,
        reference_sd=math.sqrt(found.yy / (n - 1)) if n > 1 else None,
        missing=missing,
    )


def _varies(central: float, found: Moments) -> bool:
    """Tell whether a central sum is more than rounding: constants far from 0 leave a rest of their own size."""
    size = max(abs(found.mean_x), abs(found.mean_y), 1e-300)
    return found.n > 1 and central > found.n * (size * 1e-14) ** 2


def _sd_difference(device: Floats, reference: Floats, found: Moments) -> float:
    """Return the SD (n−1) of the differences, from the differences themselves: sums of squares would cancel."""
    bias, total = found.mean_x - found.mean_y, 0.0
    for at in range(0, found.n, _BLOCK):
        c = device[at : at + _BLOCK] - reference[at : at + _BLOCK] - bias
        total += float(c @ c)
    return math.sqrt(total / (found.n - 1))


def _errors(device: Floats, reference: Floats, tolerance: Tolerance | None) -> dict[str, float]:
    """Return what is counted over single differences."""
    if not device.size:
        return {}
    off = np.abs(device - reference)
    result = {"mae": float(off.mean()), "rmse": math.sqrt(float(off @ off) / off.size)}
    if bool(np.all(reference != 0)):
        result["mape"] = (
            100
            * sum(
                float(np.sum(off[at : at + _BLOCK] / np.abs(reference[at : at + _BLOCK])))
                for at in range(0, off.size, _BLOCK)
            )
            / off.size
        )
    if tolerance is not None:
        inside = (
            np.count_nonzero(tolerance.within(off[at : at + _BLOCK], reference[at : at + _BLOCK]))
            for at in range(0, off.size, _BLOCK)
        )
        result["within"] = sum(inside) / off.size
    result["median"], result["p95"] = (float(q) for q in np.quantile(off, [0.5, 0.95], overwrite_input=True))
    return result


def _reasons(found: Moments, reference: Floats, tolerance: Tolerance | None) -> dict[str, str]:
    """Say of each figure that does not exist why."""
    if not found.n:
        return dict.fromkeys(Agreement.__dataclass_fields__.keys() - {"n", "missing"}, "no pairs")
    reasons = {} if tolerance is not None else {"within_tolerance": "no tolerance was given"}
    zeros = int(np.count_nonzero(reference == 0))
    if zeros:
        reasons["mape"] = f"{zeros} of {found.n} reference values are 0"
    if found.n == 1:
        spread = ("sd_difference", "loa_lower", "loa_upper", "pearson_r", "ccc", "slope", "sd_ratio", "reference_sd")
        return reasons | dict.fromkeys(spread, "one pair has no spread")
    flat = [name for name, sum_ in (("device", found.xx), ("reference", found.yy)) if not _varies(sum_, found)]
    if flat:
        reasons["pearson_r"] = f"the {' and the '.join(flat)} did not change"
    if "reference" in flat:
        reasons["sd_ratio"] = "the reference did not change"
    if concordance(found) is None:
        reasons["ccc"] = "device and reference are one and the same constant"
    if slope_on_mean(found) is None:
        reasons["slope"] = "the mean of device and reference did not change"
    return reasons
