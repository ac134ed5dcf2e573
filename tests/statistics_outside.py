"""Random data sets and what SciPy, statsmodels and pingouin make of them, beside our own figures.

Each function returns pairs (ours, theirs) by name; tests ask for few data sets, the release script for 1,000.
"""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pingouin
import scipy.stats
from statsmodels.regression.linear_model import OLS
from statsmodels.stats.weightstats import DescrStatsW
from statsmodels.tools.tools import add_constant

from vambrace.compare.acceptance import Tolerance
from vambrace.compare.agreement import agreement, spread_slope
from vambrace.compare.independent import bland_altman, pearson_interval
from vambrace.compare.repeated import components, intraclass, repeated_correlation

Pairs = dict[str, tuple[float, float]]


def sides(seed: int) -> tuple[np.ndarray, np.ndarray]:
    rng = np.random.default_rng([8, seed])
    n = int(rng.integers(4, 300))
    reference = rng.normal(rng.uniform(50, 150), rng.uniform(1, 30), n)
    return reference * rng.uniform(0.8, 1.2) + rng.normal(rng.uniform(-9, 9), rng.uniform(0.5, 9), n), reference


def of_agreement(seed: int) -> Pairs:
    x, y = sides(seed)
    d, middle = x - y, (x + y) / 2
    found = agreement(x, y, Tolerance("t", "any", "test", "test", 5.0, 10.0, "greater"))
    t = DescrStatsW(d)
    fit = OLS(d, add_constant(middle)).fit()
    spread = OLS(np.abs(fit.resid), add_constant(middle)).fit().params[1] * np.sqrt(np.pi / 2)
    r = scipy.stats.pearsonr(x, y)
    theirs = {
        "bias": t.mean,
        "sd_difference": np.sqrt(t.var * t.nobs / (t.nobs - 1)),
        "loa_upper": pd.Series(d).mean() + 1.96 * pd.Series(d).std(),
        "mae": float(np.linalg.norm(d, 1)) / d.size,
        "rmse": float(np.linalg.norm(d, 2)) / np.sqrt(d.size),
        "mape": float(pd.Series(d / y).abs().mean() * 100),
        "median_absolute_error": scipy.stats.scoreatpercentile(np.abs(d), 50),
        "p95_absolute_error": scipy.stats.scoreatpercentile(np.abs(d), 95),
        "within_tolerance": float(np.mean((np.abs(d) <= 5) | (np.abs(d / y) <= 0.1))),
        "pearson_r": r.statistic,
        # Lin's coefficient as r × C_b, from SciPy's moments.
        "ccc": r.statistic
        * 2
        / (np.std(x) / np.std(y) + np.std(y) / np.std(x) + (np.mean(x) - np.mean(y)) ** 2 / (np.std(x) * np.std(y))),
        "slope": fit.params[1],
        "sd_ratio": scipy.stats.tstd(x) / scipy.stats.tstd(y),
        "reference_sd": scipy.stats.tstd(y),
    }
    ends, theirs_ends = bland_altman(d).bias_ends, t.tconfint_mean()
    ours_r, theirs_r = pearson_interval(x, y), r.confidence_interval()
    return {name: (getattr(found, name), float(value)) for name, value in theirs.items()} | {
        "spread_slope": (spread_slope(x, y), spread),
        "bias_low": (ends[0], theirs_ends[0]),
        "bias_high": (ends[1], theirs_ends[1]),
        "r_low": (ours_r[0], theirs_r.low),
        "r_high": (ours_r[1], theirs_r.high),
    }


def of_icc(seed: int) -> Pairs:
    rng = np.random.default_rng([9, seed])
    n, k = int(rng.integers(3, 20)), int(rng.integers(2, 6))
    values = rng.normal(0, 3, (n, 1)) + rng.normal(0, 2, k) + rng.normal(0, 1, (n, k))
    rows, columns = np.indices(values.shape)
    long = pd.DataFrame({"t": rows.ravel(), "j": columns.ravel(), "v": values.ravel()})
    with warnings.catch_warnings():  # what pingouin asks of pandas is deprecated there
        warnings.simplefilter("ignore")
        theirs = pingouin.intraclass_corr(long, "t", "j", "v")["ICC"]
    ours = intraclass(values)[:6]
    return {f"icc_{i}": (mine, float(their)) for i, (mine, their) in enumerate(zip(ours, theirs, strict=True))}


def of_repeated(seed: int) -> Pairs:
    rng = np.random.default_rng([10, seed])
    subject = np.repeat(np.arange(6), rng.integers(2, 9, 6))
    x = rng.normal(0, 3, 6)[subject] + rng.normal(0, 1, subject.size)
    y = rng.normal(0, 3, 6)[subject] + 0.5 * x + rng.normal(0, 1, subject.size)
    ours = repeated_correlation(x, y, subject)
    frame = pd.DataFrame({"s": subject, "x": x, "y": y})
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        theirs = pingouin.rm_corr(frame, "x", "y", "s").iloc[0]
        anova = pingouin.anova(frame, dv="x", between="s", detailed=True)
    squares = components(x, subject)
    return {
        "r": (ours.r, theirs["r"]),
        "p": (ours.p, theirs["p_val" if "p_val" in theirs else "pval"]),
        "df": (ours.df, theirs["dof"]),
        "between": (squares.between_square, anova["MS"][0]),
        "within": (squares.within_square, anova["MS"][1]),
    }
