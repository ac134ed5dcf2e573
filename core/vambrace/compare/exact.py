"""Exact intervals of shares and rates."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from vambrace.compare.arrays import Codes, Marks
from vambrace.compare.intervals import Ends
from vambrace.compare.one_session import t_point


class Share(NamedTuple):
    """A share with its 95 % interval, how many hits in n, and what the interval's unit is."""

    share: float
    low: float
    high: float
    hits: int
    n: int
    unit: str


def binomial_ends(count: float, n: float) -> Ends:
    """Return the exact 95 % interval of a share (Clopper & Pearson 1934); an effective n need not be whole."""
    from scipy.special import betaincinv

    low = 0.0 if count <= 0 else float(betaincinv(count, n - count + 1, 0.025))
    high = 1.0 if count >= n else float(betaincinv(count + 1, n - count, 0.975))
    return low, high


def poisson_ends(count: int) -> Ends:
    """Return the exact 95 % interval of an expected count (Garwood 1936)."""
    from scipy.special import gammaincinv

    low = 0.0 if count == 0 else float(gammaincinv(count, 0.025))
    return low, float(gammaincinv(count + 1, 0.975))


def share_of(hits: Marks, unit: Codes | None = None) -> Share | None:
    """Return the share of hits with its exact interval; `unit` holds a participant's code for each. None without any.

    With several readings of a participant the binomial n shrinks to the effective one (Korn & Graubard 1998), from the
    variance between participants; where all or none are hits that variance is 0, and the participants are the n.
    """
    n, count = hits.size, int(np.count_nonzero(hits))
    if not n:
        return None
    share = count / n
    groups = np.unique(unit, return_inverse=True, return_counts=True) if unit is not None else None
    if groups is None or groups[2].max() == 1:
        return Share(share, *binomial_ends(count, n), count, n, "reading" if unit is None else "participant")
    k = groups[2].size
    if k < 2:
        return Share(share, math.nan, math.nan, count, n, "no interval: one participant")
    total = np.bincount(groups[1], weights=hits.astype(np.float64))
    rest = total - share * groups[2]
    variance = k / (k - 1) * float(rest @ rest) / n**2
    effective = float(k)
    if variance > 0:
        effective = min(float(n), share * (1 - share) / variance * (t_point(n - 1) / t_point(k - 1)) ** 2)
    return Share(share, *binomial_ends(share * effective, effective), count, n, "participant")
