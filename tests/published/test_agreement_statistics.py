"""Agreement against `fixtures/published/expected_statistics.csv`, every row of it (sources in its README)."""

from __future__ import annotations

import csv
from pathlib import Path

import numpy as np
import pytest

from vambrace.compare.agreement import agreement, concordance, moments
from vambrace.compare.independent import (
    bias_correction,
    bland_altman,
    concordance_interval,
    pearson_interval,
    repeat_sd,
    sd_of_single_readings,
)
from vambrace.compare.repeated import (
    intraclass,
    limits_of_pairs,
    limits_of_replicates,
    repeated_correlation,
    within_variance,
)

FOLDER = Path(__file__).parents[2] / "fixtures" / "published"
ROWS = list(csv.DictReader((FOLDER / "expected_statistics.csv").read_text("utf-8").splitlines()))


def table(name: str) -> dict[str, np.ndarray]:
    rows = list(csv.DictReader((FOLDER / name).read_text("utf-8").splitlines()))
    return {key: np.array([float(row[key]) for row in rows]) for key in rows[0]}


def peak_flow() -> dict[str, float]:
    t = table("pefr_bland_altman_1986.csv")
    w, m = t["wright_1"], t["mini_1"]
    found, ba, ba2 = agreement(w, m), bland_altman(w - m), bland_altman(w - m, factor=2)
    icc = intraclass(np.column_stack([w, m]))
    r, ccc = pearson_interval(w, m), concordance_interval(w, m)
    n = w.size
    # Lin's coefficient with divisor n-1: the moments grow by n/(n-1) against the squared bias.
    s = moments(w, m)
    with_n_1 = 2 * s.xy / (s.xx + s.yy + (n - 1) * (s.mean_x - s.mean_y) ** 2)
    from scipy.stats import spearmanr

    means = (w + t["wright_2"]) / 2 - (m + t["mini_2"]) / 2
    return {
        "n": found.n,
        "bias": found.bias,
        "sd": found.sd_difference,
        "loa2.lo": ba2.lower,
        "loa2.hi": ba2.upper,
        "loa196.lo": found.loa_lower,
        "loa196.hi": found.loa_upper,
        "se_bias": ba.se_bias,
        "se_loa": ba.se_limit,
        "ci_bias.lo": ba.bias_ends[0],
        "ci_bias.hi": ba.bias_ends[1],
        "ci_lo.lo": ba2.lower_ends[0],
        "ci_lo.hi": ba2.lower_ends[1],
        "ci_hi.lo": ba2.upper_ends[0],
        "ci_hi.hi": ba2.upper_ends[1],
        "r": found.pearson_r,
        "r.ci.lo": r[0],
        "r.ci.hi": r[1],
        "spearman": spearmanr(w, m).statistic,
        "ccc.n": found.ccc,
        "ccc.n1": with_n_1,
        "ccc.ci.lo": ccc[0],
        "ccc.ci.hi": ccc[1],
        "cb": bias_correction(w, m),
        "mae": found.mae,
        "rmse": found.rmse,
        "mape.wright": agreement(m, w).mape,
        "mape.mini": found.mape,
        "icc11": icc.icc_1_1,
        "icc21": icc.icc_2_1,
        "icc31": icc.icc_3_1,
        "rep.mini": repeat_sd(m, t["mini_2"]),
        "rep.wright": repeat_sd(w, t["wright_2"]),
        "means.sd": bland_altman(means).sd,
        "means.corrected": sd_of_single_readings((w, t["wright_2"]), (m, t["mini_2"])),
    }


def pressure() -> dict[str, float]:
    t = table("sbp_bland_altman_1999.csv")
    first = agreement(t["J1"], t["S1"])
    ba = bland_altman(t["J1"] - t["S1"])
    subject = np.repeat(np.arange(85), 3)
    j, s = (np.column_stack([t[f"{who}{i}"] for i in (1, 2, 3)]).ravel() for who in "JS")
    replicates, pairs = limits_of_replicates(j, subject, s, subject), limits_of_pairs(j - s, subject)
    # The paper's interval of a limit: the normal quantile and its printed SE; hence the tolerance of 0.15.
    half = 1.96 * ba.se_limit
    return {
        "bias": first.bias,
        "sd": first.sd_difference,
        "loa.lo": first.loa_lower,
        "loa.hi": first.loa_upper,
        "ci_bias.lo": ba.bias_ends[0],
        "ci_bias.hi": ba.bias_ends[1],
        "ci_lo.lo": ba.lower - half,
        "ci_lo.hi": ba.lower + half,
        "ci_hi.lo": ba.upper - half,
        "ci_hi.hi": ba.upper + half,
        "sw2.J": within_variance(j, subject),
        "sw2.S": within_variance(s, subject),
        "rep.bias": replicates.bias,
        "rep.sd": replicates.sd,
        "rep.lo": replicates.lower,
        "rep.hi": replicates.upper,
        "pairs.sd": pairs.sd,
        "pairs.lo": pairs.lower,
        "pairs.hi": pairs.upper,
    }


def judges() -> dict[str, float]:
    t = table("shrout_fleiss_1979.csv")
    f = intraclass(np.column_stack([t[f"judge{i}"] for i in (1, 2, 3, 4)]))
    names = ("icc11", "icc21", "icc31", "icc1k", "icc2k", "icc3k", "bms", "wms", "jms", "ems")
    return dict(zip(names, f, strict=True))


def acid() -> dict[str, float]:
    t = table("rmcorr_bland_altman_1995.csv")
    f = repeated_correlation(t["pH"], t["PacO2"], t["Subject"].astype(int))
    return {"r": f.r, "df": f.df, "p": f.p, "ci.lo": f.low, "ci.hi": f.high}


FOUND = {
    f"{prefix}.{name}": value
    for prefix, make in (("ba86", peak_flow), ("ba99", pressure), ("sf79", judges), ("rm95", acid))
    for name, value in make().items()
}


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["id"])
def test_an_expected_figure(row: dict[str, str]) -> None:
    assert FOUND[row["id"]] == pytest.approx(float(row["value"]), rel=0, abs=float(row["abs_tol"]) or 1e-12)


def test_no_expected_figure_is_left_out() -> None:
    assert {row["id"] for row in ROWS} == FOUND.keys()
    assert len(ROWS) == 69


def test_the_exact_interval_of_a_limit() -> None:
    # Carkeet-type factors for n = 17: computed with SciPy's non-central t (calc).
    t = table("pefr_bland_altman_1986.csv")
    found = bland_altman(t["wright_1"] - t["mini_1"])
    assert found.exact_upper_ends == pytest.approx((48.861, 119.928), abs=5e-4)
    assert found.exact_lower_ends == pytest.approx((-124.163, -53.096), abs=5e-4)


def test_without_the_two_outlying_subjects_of_1999() -> None:
    t = table("sbp_bland_altman_1999.csv")
    keep = ~np.isin(t["subject"], [78, 80])
    found = agreement(t["J1"][keep], t["S1"][keep])
    # The article prints limits of -43.6 and 15.0 (and a mean of -14.9, a misprint for the mid-point -14.3).
    assert (found.loa_lower, found.loa_upper) == pytest.approx((-43.609, 14.983), abs=5e-4)


def test_a_thousand_more_on_one_side_leaves_r_and_not_lins_coefficient() -> None:
    t = table("pefr_bland_altman_1986.csv")
    w, m = t["wright_1"], t["mini_1"]
    assert agreement(w + 1000, m).pearson_r == pytest.approx(agreement(w, m).pearson_r, abs=1e-12)
    assert agreement(w + 1000, m).ccc < 0.1 < concordance(moments(w, m))
