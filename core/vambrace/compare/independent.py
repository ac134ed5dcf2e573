"""Intervals for pairs that are independent of each other: one pair for each subject, spot readings.

Never for seconds of one recording: those hang together, and these intervals would be several times too narrow.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from vambrace.compare.agreement import Z, concordance, moments, pearson
from vambrace.compare.arrays import Floats
from vambrace.compare.repeated import fisher_interval

Ends = tuple[float, float]


class BlandAltman(NamedTuple):
    """Bias, SD (n−1), limits, standard errors and 95 % intervals of one difference for each subject."""

    bias: float
    sd: float
    lower: float
    upper: float
    se_bias: float
    se_limit: float
    bias_ends: Ends
    lower_ends: Ends
    upper_ends: Ends
    exact_lower_ends: Ends
    exact_upper_ends: Ends


def bland_altman(difference: Floats, factor: float = Z) -> BlandAltman:
    """Return limits of agreement with their intervals (Bland & Altman 1986; exact ends: Carkeet 2015).

    SE of a limit √(3 s²/n) as in the paper, ends with Student's t, n−1 df. That interval is symmetric and too hopeful
    on the outer side when n is small; the exact ends come from the non-central t distribution.
    """
    from scipy.stats import nct, t

    n = difference.size
    if n < 2:
        raise ValueError(f"Limits of agreement need two differences at least, here {n}.")
    bias, sd = float(difference.mean()), float(difference.std(ddof=1))
    se, se_limit, q = sd / math.sqrt(n), math.sqrt(3 * sd * sd / n), float(t.ppf(0.975, n - 1))
    lower, upper = bias - factor * sd, bias + factor * sd
    k1, k2 = (float(nct.ppf(p, n - 1, factor * math.sqrt(n)) / math.sqrt(n)) for p in (0.025, 0.975))
    return BlandAltman(
        bias,
        sd,
        lower,
        upper,
        se,
        se_limit,
        bias_ends=(bias - q * se, bias + q * se),
        lower_ends=(lower - q * se_limit, lower + q * se_limit),
        upper_ends=(upper - q * se_limit, upper + q * se_limit),
        exact_lower_ends=(bias - k2 * sd, bias - k1 * sd),
        exact_upper_ends=(bias + k1 * sd, bias + k2 * sd),
    )


def pearson_interval(device: Floats, reference: Floats) -> Ends | None:
    """Return the 95 % interval of Pearson's r by Fisher's z, SE 1/√(n−3); None below four pairs or without change."""
    r = pearson(moments(device, reference))
    return None if r is None or device.size < 4 else fisher_interval(r, 1 / math.sqrt(device.size - 3))


def concordance_interval(device: Floats, reference: Floats) -> Ends | None:
    """Return the 95 % interval of Lin's coefficient through artanh (Lin 1989 with the correction of 2000, n−2)."""
    found = moments(device, reference)
    ccc, r = concordance(found), pearson(found)
    if ccc is None or not r or found.n < 4 or abs(ccc) >= 1:
        return None
    shift = found.n * (found.mean_x - found.mean_y) ** 2 / math.sqrt(found.xx * found.yy)
    c2, r2 = ccc * ccc, r * r
    variance = (
        (1 - r2) * c2 / ((1 - c2) * r2)
        + 2 * ccc**3 * (1 - ccc) * shift / (r * (1 - c2) ** 2)
        - ccc**4 * shift**2 / (2 * r2 * (1 - c2) ** 2)
    ) / (found.n - 2)
    return fisher_interval(ccc, math.sqrt(max(0.0, variance)))


def bias_correction(device: Floats, reference: Floats) -> float | None:
    """Return C_b = CCC / r, how far the line of best fit lies from the line of identity (Lin 1989)."""
    found = moments(device, reference)
    ccc, r = concordance(found), pearson(found)
    return None if ccc is None or not r else ccc / r


def repeat_sd(first: Floats, second: Floats) -> float:
    """Return √(mean d²) of two readings by one method: its SD of repeats about zero (Bland & Altman 1986)."""
    return math.sqrt(float(np.mean((first - second) ** 2)))


def sd_of_single_readings(first: tuple[Floats, Floats], second: tuple[Floats, Floats]) -> float:
    """Return the SD of differences of single readings, √(s² + s₁²/4 + s₂²/4), from averages of two (1986 paper)."""
    means = [(a + b) / 2 for a, b in (first, second)]
    sd = float(np.std(means[0] - means[1], ddof=1))
    return math.sqrt(sd**2 + repeat_sd(*first) ** 2 / 4 + repeat_sd(*second) ** 2 / 4)
