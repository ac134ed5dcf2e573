"""Several readings for each subject: limits from components of variance, correlation within subjects, ICC.

Subjects are integer codes of any values, one for each row.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from vambrace.compare.agreement import Z
from vambrace.compare.arrays import Codes, Floats


class Limits(NamedTuple):
    """Bias, SD of one single difference, and bias ± 1.96 SD."""

    bias: float
    sd: float
    lower: float
    upper: float


class Components(NamedTuple):
    """Variances of one-way analysis: between and within subjects, and the mean squares they come from."""

    between: float
    within: float
    between_square: float
    within_square: float


class Correlation(NamedTuple):
    """A correlation with its degrees of freedom, two-sided p and 95 % interval."""

    r: float
    df: int
    p: float
    low: float
    high: float


class IntraclassCorrelation(NamedTuple):
    """Shrout & Fleiss 1979: the six forms and the mean squares (targets, within, judges, rest)."""

    icc_1_1: float
    icc_2_1: float
    icc_3_1: float
    icc_1_k: float
    icc_2_k: float
    icc_3_k: float
    between: float
    within: float
    judges: float
    rest: float


def within_variance(values: Floats, subject: Codes) -> float:
    """Return the pooled variance of readings within subjects (mean square of one-way analysis)."""
    _, which, n = _groups(subject)
    mean = np.bincount(which, weights=values) / n
    free = values.size - n.size
    if free < 1:
        raise ValueError("No subject has two readings: the variance within subjects cannot be told.")
    return float(np.sum((values - mean[which]) ** 2) / free)


def limits_of_replicates(device: Floats, device_subject: Codes, reference: Floats, reference_subject: Codes) -> Limits:
    """Return limits for single readings from replicates that are not paired (Bland & Altman 1999, section 5.1).

    The true value stays while a subject is read. SD² = Var(difference of subject means)
    + (1 − mean 1/m_d) s²_w,device + (1 − mean 1/m_r) s²_w,reference, m readings of each subject; unequal m by
    section 5.2 of the paper.
    """
    names, mine, n = _groups(device_subject)
    names_reference, theirs, n_reference = _groups(reference_subject)
    if not np.array_equal(names, names_reference):
        raise ValueError("Device and reference must have read the same subjects: leave the others out.")
    means = np.bincount(mine, weights=device) / n - np.bincount(theirs, weights=reference) / n_reference
    variance = float(np.var(means, ddof=1))
    for values, subject, count in ((device, device_subject, n), (reference, reference_subject, n_reference)):
        if np.any(count > 1):
            variance += (1 - float(np.mean(1 / count))) * within_variance(values, subject)
    return _limits(float(means.mean()), math.sqrt(variance))


def components(values: Floats, subject: Codes) -> Components:
    """Return components of variance between and within subjects by one-way analysis, unequal counts allowed.

    m₀ = ((Σm)² − Σm²)/((k−1)Σm); a negative component between subjects counts as 0.
    """
    _, which, n = _groups(subject)
    k = n.size
    if k < 2:
        raise ValueError("One subject: the variance between subjects cannot be told.")
    mean = np.bincount(which, weights=values) / n
    between_square = float(np.sum(n * (mean - values.mean()) ** 2) / (k - 1))
    within_square = within_variance(values, subject)
    typical = (float(n.sum()) ** 2 - float(np.sum(n.astype(float) ** 2))) / ((k - 1) * float(n.sum()))
    return Components(
        max(0.0, (between_square - within_square) / typical), within_square, between_square, within_square
    )


def limits_of_pairs(difference: Floats, subject: Codes) -> Limits:
    """Return limits where the true value moves and readings are paired (Bland & Altman 2007, section 3)."""
    found = components(difference, subject)
    return _limits(float(difference.mean()), math.sqrt(found.between + found.within))


def repeated_correlation(x: Floats, y: Floats, subject: Codes) -> Correlation:
    """Return the correlation within subjects (Bland & Altman 1995; Bakdash & Marusich 2017).

    One common slope, one level for each subject; df = rows − subjects − 1; the interval by Fisher's z with
    SE 1/√(df − 1).
    """
    from scipy.stats import t

    _, which, n = _groups(subject)
    cx, cy = (side - (np.bincount(which, weights=side) / n)[which] for side in (x, y))
    df = x.size - n.size - 1
    if df < 2 or not float(cx @ cx) or not float(cy @ cy):
        raise ValueError("Too few rows, or no change within subjects: the correlation within subjects cannot be told.")
    r = float(cx @ cy) / math.sqrt(float(cx @ cx) * float(cy @ cy))
    p = 2 * float(t.sf(abs(r) * math.sqrt(df / (1 - r * r)), df)) if abs(r) < 1 else 0.0
    return Correlation(r, df, p, *fisher_interval(r, 1 / math.sqrt(df - 1)))


def fisher_interval(r: float, se: float) -> tuple[float, float]:
    """Return tanh(artanh r ± z·se) with the exact 97.5 % point of the normal distribution."""
    from scipy.special import ndtri

    if abs(r) >= 1:
        return r, r
    half = float(ndtri(0.975)) * se
    return math.tanh(math.atanh(r) - half), math.tanh(math.atanh(r) + half)


def intraclass(table: Floats) -> IntraclassCorrelation:
    """Return the six forms for a table of targets (rows) by judges (columns), without gaps (Shrout & Fleiss 1979).

    For device against reference the form is (2,1): absolute agreement, one measure. (3,1) passes over a constant bias.
    """
    n, k = table.shape
    if n < 2 or k < 2:
        raise ValueError("Intraclass correlation needs two targets and two judges at least.")
    rows, columns, all_ = table.mean(axis=1), table.mean(axis=0), float(table.mean())
    between = k * float(np.sum((rows - all_) ** 2)) / (n - 1)
    judges = n * float(np.sum((columns - all_) ** 2)) / (k - 1)
    within = float(np.sum((table - rows[:, None]) ** 2)) / (n * (k - 1))
    rest = float(np.sum((table - rows[:, None] - columns + all_) ** 2)) / ((n - 1) * (k - 1))
    return IntraclassCorrelation(
        (between - within) / (between + (k - 1) * within),
        (between - rest) / (between + (k - 1) * rest + k * (judges - rest) / n),
        (between - rest) / (between + (k - 1) * rest),
        (between - within) / between,
        (between - rest) / (between + (judges - rest) / n),
        (between - rest) / between,
        between,
        within,
        judges,
        rest,
    )


def _limits(bias: float, sd: float) -> Limits:
    """Return bias ± 1.96 SD."""
    return Limits(bias, sd, bias - Z * sd, bias + Z * sd)


def _groups(subject: Codes) -> tuple[Codes, Codes, Codes]:
    """Return the subjects, the place of each row's subject among them, and how many rows each has."""
    names, which, n = np.unique(subject, return_inverse=True, return_counts=True)
    return names, which, n
