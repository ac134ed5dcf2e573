"""Spot readings and steps; exact intervals beside SciPy and statsmodels."""

from __future__ import annotations

import numpy as np
import pytest
import scipy.stats
from statsmodels.stats.proportion import proportion_confint
from statsmodels.stats.rates import confint_poisson

from vambrace.compare.exact import binomial_ends, poisson_ends, share_of
from vambrace.compare.spot import (
    distribution,
    outcome_shares,
    oxygen_cautions,
    share_at_or_above,
    spot_figures,
    typed_as_fractions,
)
from vambrace.compare.steps import (
    cadence,
    errors_by_rate,
    false_steps,
    false_steps_by,
    holds_event,
    recounted,
    running_errors,
    step_errors,
    tally_check,
    total_at,
)

S = 1_000_000


def test_exact_binomial_ends_beside_scipy_and_statsmodels() -> None:
    for n in (1, 7, 40, 300):
        for count in {0, 1, n // 3, n - 1, n}:
            theirs = scipy.stats.binomtest(count, n).proportion_ci(method="exact")
            assert binomial_ends(count, n) == pytest.approx((theirs.low, theirs.high), rel=1e-9, abs=1e-12)
            assert binomial_ends(count, n) == pytest.approx(proportion_confint(count, n, method="beta"), rel=1e-9)


def test_exact_poisson_ends_beside_scipy_and_statsmodels() -> None:
    for count in (0, 1, 5, 120, 4000):
        low = scipy.stats.chi2.ppf(0.025, 2 * count) / 2 if count else 0.0
        assert poisson_ends(count) == pytest.approx((low, scipy.stats.chi2.ppf(0.975, 2 * count + 2) / 2), rel=1e-9)
        if count:
            assert poisson_ends(count) == pytest.approx(confint_poisson(count, 1, method="exact-c"), rel=1e-9)


def test_a_rms_with_divisor_n_is_bias_and_population_sd() -> None:
    # 10 pairs (calc): A_rms 1.33229, bias 0.85, SD (n-1) 1.08141; with that SD the sum would be 1.37548.
    rng = np.random.default_rng(2)
    d = rng.normal(0, 1, 10)
    d = (d - d.mean()) / d.std(ddof=1) * 1.08141 + 0.85
    found = spot_figures(97 + d, np.full(10, 97.0), np.arange(10))
    assert found is not None
    assert found.a_rms == pytest.approx(np.hypot(found.bias, found.sd_population), rel=1e-12)
    assert found.a_rms == pytest.approx(1.33229, abs=5e-6)
    assert np.hypot(found.bias, found.sd) == pytest.approx(1.37548, abs=5e-6)
    theirs = scipy.stats.ttest_1samp(d, 0).confidence_interval()
    assert found.ends["bias"] == pytest.approx((theirs.low, theirs.high), rel=1e-9)
    assert found.ends["a_rms"][0] < found.a_rms < found.ends["a_rms"][1]


def test_repeated_readings_have_the_participant_as_the_unit() -> None:
    rng = np.random.default_rng(3)
    who = np.repeat(np.arange(8), 6)
    d = rng.normal(0, 2, 8)[who] + rng.normal(0, 0.3, 48)
    found = spot_figures(95 + d, np.full(48, 95.0), who)
    assert found is not None
    means = d.reshape(8, 6).mean(axis=1)
    theirs = scipy.stats.ttest_1samp(means, 0).confidence_interval()
    # Balanced readings: the ratio estimator is the t interval of the participants' means.
    assert found.ends["bias"] == pytest.approx((theirs.low, theirs.high), rel=1e-9)
    narrow = scipy.stats.ttest_1samp(d, 0).confidence_interval()
    assert found.ends["bias"][1] - found.ends["bias"][0] > 1.8 * (narrow.high - narrow.low)
    share = found.within[2.0]
    assert share.unit == "participant"
    assert share.high - share.low > np.diff(binomial_ends(share.hits, share.n))[0]
    assert found.refused["loa_upper"] == "several readings for each participant"


@pytest.mark.parametrize("every", [True, False])
def test_all_or_none_among_repeated_readings_count_participants(every: bool) -> None:
    found = share_of(np.full(40, every), np.repeat(np.arange(10), 4))
    assert found is not None
    assert (found.low, found.high) == pytest.approx(binomial_ends(10 * every, 10))


def test_the_coverage_of_bias_and_a_rms_over_participants() -> None:
    rng, runs, hit = np.random.default_rng(4), 400, {"bias": 0, "a_rms": 0}
    who = np.repeat(np.arange(12), 4)
    truth = {"bias": 0.5, "a_rms": np.sqrt(0.5**2 + 1.5**2 + 1.0**2)}
    for _ in range(runs):
        d = 0.5 + rng.normal(0, 1.5, 12)[who] + rng.normal(0, 1.0, 48)
        found = spot_figures(96 + d, np.full(48, 96.0), who)
        assert found is not None
        for name in hit:
            hit[name] += found.ends[name][0] <= truth[name] <= found.ends[name][1]
    assert min(hit.values()) >= 0.90 * runs


def test_few_participants_and_one_pair() -> None:
    one = spot_figures(np.array([97.0]), np.array([96.0]), np.array([1]))
    assert one is not None
    assert (one.sd, one.refused["sd"], one.refused["bias"]) == (
        None,
        "one pair has no spread",
        "fewer than 3 participants",
    )
    assert spot_figures(np.array([]), np.array([]), np.array([], np.int64)) is None
    alone = share_of(np.array([True, False]), np.array([1, 1]))
    assert alone is not None
    assert alone.unit == "no interval: one participant"


def test_outcomes_levels_and_distribution() -> None:
    shares = outcome_shares(np.array([0, 0, 1, 2, 3]), np.arange(5))
    assert {name: (share.hits, share.n) for name, share in shares.items()} == {
        "read": (2, 4),
        "no_reading": (1, 4),
        "interrupted": (1, 4),
        "not_attempted": (1, 5),
    }
    with pytest.raises(ValueError, match="An outcome is none of"):
        outcome_shares(np.array([4]), np.array([1]))
    above = share_at_or_above(np.array([94.0, 95, 96]), 95.0, np.arange(3))
    assert above is not None
    assert above.share == pytest.approx(2 / 3)
    values, share = distribution(np.array([97.0, 95, 97, 98]))
    assert (values.tolist(), share.tolist()) == ([95, 97, 98], [0.25, 0.75, 1.0])


def test_what_a_resting_reference_cannot_test_is_said() -> None:
    assert len(oxygen_cautions(np.array([96.0, 99.0]))) == 2
    assert len(oxygen_cautions(np.array([71.0, 99.0]))) == 1
    assert typed_as_fractions(np.array([0.97, 97.0, 0.0])).tolist() == [True, False, False]


def test_signed_absolute_and_impossible_percent() -> None:
    found = step_errors(np.array([90.0, 110, 7]), np.array([100.0, 100, 0]))
    assert found.difference.tolist() == [-10, 10, 7]
    assert found.percent[:2].tolist() == [-10, 10]
    assert found.absolute_percent[:2].tolist() == [10, 10]
    assert np.isnan(found.percent[2])


def test_running_error_at_the_points_of_a_tally() -> None:
    times, total = np.arange(0, 100, 10) * S, 5000 + np.arange(10) * 18.0
    points, counts = np.array([5, 45, 95]) * S, np.array([0.0, 80, 180])
    shown = total_at(times, total, points)
    assert shown.total.tolist() == [5000, 5072, 5162]
    assert shown.age.tolist() == [5, 5, 5]
    found = running_errors(times, total, points, counts)
    assert found.difference.tolist() == [0, -8, -18]
    assert found.percent[1:].tolist() == [-10, -10]
    assert np.isnan(total_at(times + 50 * S, total, points).total[0])


@pytest.mark.parametrize(
    ("times", "counts", "words"),
    [
        ([0, 1], [5.0, 9.0], "Row 1 of the tally counts 5"),
        ([0, 2, 1], [0.0, 3, 4], "Row 3 of the tally is earlier"),
        ([0, 1, 2], [0.0, 9, 4], "Row 3 of the tally counts fewer"),
        ([], [], "no row"),
    ],
)
def test_a_faulty_tally_is_refused_with_its_row(times: list[int], counts: list[float], words: str) -> None:
    with pytest.raises(ValueError, match=words):
        tally_check(np.array(times, np.int64), np.array(counts))


def test_cadence_classes_and_recounts() -> None:
    rate = cadence(np.array([0, 60, 90, 90]) * S, np.array([0.0, 100, 170, 170]))
    assert rate[:2].tolist() == [100, 140]
    assert np.isnan(rate[2])
    rows = errors_by_rate(np.array([-5.0, 3.0, 1.0]), np.array([90.0, 95, 150]), np.array([60.0, 100, 140, 200]))
    assert [row[:3] for row in rows] == [(60, 100, 2), (100, 140, 0), (140, 200, 1)]
    assert rows[0][3:] == (-1, 4)
    assert recounted(np.array([100.0]), np.array([104.0])).percent[0] == pytest.approx(400 / 102)


def test_bouts_that_hold_an_event() -> None:
    starts, ends = np.array([0, 10, 20]), np.array([9, 19, 29])
    assert holds_event(starts, ends, np.array([29, 15])).tolist() == [False, True, True]


def test_false_steps_as_a_rate_with_its_interval() -> None:
    found = false_steps(12, 30)
    assert (found.rate, found.low, found.high) == pytest.approx((0.4, *(e / 30 for e in poisson_ends(12))))
    none = false_steps(0, 10)
    assert (none.rate, none.low) == (0, 0)
    assert none.high == pytest.approx(3.688879 / 10, rel=1e-6)
    assert false_steps_by(np.array([1, 2, 1]), np.array([3.0, 0, 4]), np.array([5.0, 5, 5]))[1].steps == 7
    with pytest.raises(ValueError, match="0 minutes"):
        false_steps(3, 0)
