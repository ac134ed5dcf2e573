"""Agreement beside SciPy, statsmodels and pingouin on random data sets; what cannot be told is said."""

from __future__ import annotations

import time
import warnings

import numpy as np
import pandas as pd
import pytest

import statistics_outside as outside
from vambrace.compare.acceptance import Limit, Tolerance, acceptance
from vambrace.compare.agreement import agreement
from vambrace.compare.repeated import components, limits_of_pairs, limits_of_replicates, repeated_correlation


def same(pairs: outside.Pairs, where: str) -> None:
    for name, (ours, theirs) in pairs.items():
        assert ours == pytest.approx(theirs, rel=1e-9, abs=1e-9), f"{name} of {where}"


def test_random_sets_beside_scipy_and_statsmodels() -> None:
    # tests/release/outside_statistics.py looks at 1,000 of them.
    for seed in range(100):
        same(outside.of_agreement(seed), f"set {seed}")


def test_icc_and_repeated_correlation_beside_pingouin() -> None:
    for seed in range(25):
        same(outside.of_icc(seed), f"set {seed}")
        same(outside.of_repeated(seed), f"set {seed}")


@pytest.mark.parametrize("seed", range(4))
def test_components_beside_a_mixed_model_of_statsmodels(seed: int) -> None:
    from statsmodels.regression.mixed_linear_model import MixedLM

    rng = np.random.default_rng([11, seed])
    subject = np.repeat(np.arange(12), 6)
    d = rng.normal(0, 4, 12)[subject] + rng.normal(0, 2, subject.size)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        fit = MixedLM(d, np.ones(d.size), subject).fit(reml=True)
    ours = components(d, subject)
    # Balanced data: REML and one-way analysis agree; what is left is the optimiser's own tolerance.
    assert ours.within == pytest.approx(fit.scale, rel=1e-4)
    assert ours.between == pytest.approx(float(fit.cov_re[0, 0]), rel=1e-3)
    assert limits_of_pairs(d, subject).bias == pytest.approx(float(fit.fe_params[0]), rel=1e-6)


def test_limits_of_replicates_with_unequal_counts() -> None:
    device, reference = np.array([1.0, 3, 10, 10, 13]), np.array([2.0, 9, 11])
    found = limits_of_replicates(device, np.array([1, 1, 2, 2, 2]), reference, np.array([1, 2, 2]))
    # By hand: means 2, 11 against 2, 10: Var 0.5; device s² (2 + 6)/3, 1 − (1/2 + 1/3)/2; reference s² 2, 1 − 3/4.
    assert found.sd**2 == pytest.approx(0.5 + (1 - 5 / 12) * 8 / 3 + 0.25 * 2)


def test_zero_in_the_reference_leaves_mape_out_and_says_so() -> None:
    found = agreement(np.array([1.0, 2, 3]), np.array([0.0, 2, 4]))
    assert found.mape is None
    assert found.missing["mape"] == "1 of 3 reference values are 0"


def test_no_pairs_one_pair_and_constants() -> None:
    none = agreement(np.array([]), np.array([]))
    assert (none.n, none.bias, none.missing["bias"]) == (0, None, "no pairs")
    one = agreement(np.array([61.0]), np.array([60.0]))
    assert (one.bias, one.sd_difference, one.missing["sd_difference"]) == (1.0, None, "one pair has no spread")
    flat = agreement(np.full(9, 70.1), np.arange(60.0, 69))
    assert (flat.pearson_r, flat.ccc) == (None, 0.0)
    assert flat.missing["pearson_r"] == "the device did not change"
    same_flat = agreement(np.full(9, 70.1), np.full(9, 70.1))
    assert (same_flat.ccc, same_flat.slope, same_flat.sd_ratio) == (None, None, None)
    assert same_flat.missing.keys() >= {"ccc", "slope", "sd_ratio", "pearson_r"}


def test_every_figure_is_told_or_its_reason_is() -> None:
    for sides in ([], [[1.0], [2.0]], [[1.0, 1], [1.0, 1]], [[1.0, 2], [0.0, 0]]):
        x, y = (np.array(side) for side in sides) if sides else (np.array([]), np.array([]))
        found = agreement(x, y)
        told = {name for name in found.__dataclass_fields__ if getattr(found, name) is not None}
        assert told.isdisjoint(found.missing)
        assert told | found.missing.keys() == found.__dataclass_fields__.keys()


def test_what_is_not_a_number_is_refused_with_its_row() -> None:
    with pytest.raises(ValueError, match="Row 1 of the device's values"):
        agreement(np.array([1.0, np.nan]), np.array([1.0, 2.0]))


def test_mean_of_ratios_is_not_ratio_of_sums() -> None:
    reference = np.array([60.0, 120, 180])
    assert agreement(reference + 6, reference).mape == pytest.approx(6.111, abs=5e-4)


def test_a_tolerance_prints_which_of_two_counts() -> None:
    rule = next(each for each in acceptance().tolerances if each.id == "hr-10-percent-or-5")
    assert str(rule) == "±5 or ±10 %, whichever is greater"
    assert rule.allowed(np.array([40.0, 50.0, 60.0])).tolist() == [5.0, 5.0, 6.0]
    assert all(each.source and each.mark for each in acceptance().tolerances)
    with pytest.raises(ValueError, match="whichever"):
        Tolerance("x", "heart_rate", "s", "m", 5.0, 10.0)


def test_a_pass_needs_the_whole_interval_inside_the_limit() -> None:
    limit = Limit("x", "heart_rate", "mape", 10.0, "d", "m")
    ends = [(1, 9), (9, 11), (11, 12), (None, None)]
    assert [limit.verdict(*each) for each in ends] == ["inside", "open", "outside", "open"]


def test_correlation_within_subjects_that_did_not_change_is_refused() -> None:
    with pytest.raises(ValueError, match="cannot be told"):
        repeated_correlation(np.ones(6), np.arange(6.0), np.repeat([1, 2], 3))


def test_a_million_pairs_are_quick_and_exact_beside_pandas() -> None:
    rng = np.random.default_rng(4)
    y = rng.uniform(50, 190, 1_000_000)
    x = np.rint(y + rng.normal(1e-3, 5, y.size))
    start = time.process_time()
    found = agreement(x, y)
    assert time.process_time() - start < 2
    assert found.sd_difference == pytest.approx(float(pd.Series(x - y).std()), rel=1e-9)
