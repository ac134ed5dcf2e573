"""Intervals: what is refused, what they are about, and a small coverage study on seeded data.

The full study is tests/release/coverage.py; SciPy gives quantiles and the plain t interval as an independent check.
"""

from __future__ import annotations

import time

import numpy as np
import pytest
import scipy.signal
import scipy.stats

from vambrace.compare.intervals import STATISTICS
from vambrace.compare.one_session import chi_square_ends, session_intervals, session_row
from vambrace.compare.over_units import pooled_intervals
from vambrace.compare.resampling import FIGURES, cluster_resamples, companion_ends, figures_of_sums, pair_sums
from vambrace.compare.serial import autocorrelation, grid, largest_time, on_grid

S = 1_000_000


def ar1(rng: np.random.Generator, n: int, phi: float, sd: float) -> np.ndarray:
    e = rng.standard_normal(n) * np.sqrt(1 - phi**2)
    e[0] /= np.sqrt(1 - phi**2)
    return sd * scipy.signal.lfilter([1.0], [1.0, -phi], e)


def one(seed: int, n: int = 1800, phi: float = 0.95) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng([77, seed])
    reference = 120 + 40 * np.sin(np.arange(n) / 300)
    return np.arange(n) * S, reference + ar1(rng, n, phi, 3.0), reference


def test_every_statistic_has_an_interval_or_a_reason() -> None:
    found = session_intervals(*one(1))
    assert found.ends.keys() | found.refused.keys() == set(STATISTICS)
    assert found.ends.keys().isdisjoint(found.refused)
    assert found.no_interval() == "no interval: one session (pearson_r, ccc)"
    assert "second" in found.unit
    assert len(found.notes) == 2


def test_less_than_300_seconds_of_pairs_gives_none_however_long_the_session_is() -> None:
    times, device, reference = one(2)
    keep = np.arange(1800) % 18 < 2
    found = session_intervals(times[keep], device[keep], reference[keep])
    assert found.ends == {}
    assert set(found.refused.values()) == {"less than 300 s of paired data (200 s)"}


def test_a_gap_keeps_its_time() -> None:
    times, device, reference = one(3)
    later = times + np.where(times >= 900 * S, 400 * S, 0)
    where = grid(later)
    assert (where.size, where.filled) == (2200, 1800)
    # What lies further off than every lag is told apart from it no further.
    far = grid(times + np.where(times >= 900 * S, 10**6 * S, 0))
    assert far.size == 1800 + 700
    gapped, whole = (session_intervals(t, device, reference) for t in (later, times))
    assert gapped.effective_n == pytest.approx(whole.effective_n, rel=0.3)


def test_autocorrelation_is_that_of_statsmodels() -> None:
    from statsmodels.tsa.stattools import acf

    times, device, reference = one(4)
    d = device - reference
    laid, filled = on_grid(d - d.mean(), grid(times))
    np.testing.assert_allclose(autocorrelation(laid, filled), acf(d, nlags=700, fft=False), atol=1e-10)


def test_the_time_of_a_long_ar1_is_the_known_one() -> None:
    times, device, reference = one(5, 200_000, 0.9)
    laid, filled = on_grid(device - reference, grid(times))
    assert largest_time(autocorrelation(laid, filled), 200_000) == pytest.approx(1.9 / 0.1, rel=0.1)


def test_chi_square_ends_beside_scipy() -> None:
    for df in (1.0, 2.5, 40.0):
        low, high = scipy.stats.chi2.ppf([0.025, 0.975], df)
        assert chi_square_ends(3.0, df) == pytest.approx((3 * df / high, 3 * df / low), rel=1e-9)


def test_a_constant_difference_and_a_zero_reference_are_said() -> None:
    times, _, reference = one(6)
    flat = session_intervals(times, reference + 2, reference)
    assert set(flat.refused.values()) == {"the difference did not change"}
    device = one(6)[1]
    reference[7] = 0
    assert session_intervals(times, device, reference).refused["mape"] == "the reference holds 0"


def rows(seed: int, k: int, sessions: int, shift: float = 0.0) -> tuple[np.ndarray, list[object]]:
    rng = np.random.default_rng([78, seed])
    found, who = [], []
    for p in range(k):
        person = rng.normal(0, 2) + (shift if p == 0 else 0)
        for _ in range(sessions):
            times, device, reference = one(int(rng.integers(1 << 30)), 400)
            found.append(session_row(times, device + person + rng.normal(0, 1.5), reference))
            who.append(p)
    return np.array(who), found


def test_the_bias_over_participants_is_scipys_t_interval_of_their_means() -> None:
    who, found = rows(1, 6, 2)
    ours = pooled_intervals(who, found)
    means = np.array([each.bias for each in found]).reshape(6, 2).mean(axis=1)
    theirs = scipy.stats.ttest_1samp(means, 0).confidence_interval()
    assert ours.ends["bias"] == pytest.approx((theirs.low, theirs.high), rel=1e-9)
    assert (ours.unit, ours.n_units) == ("participant", 6)
    z = np.arctanh([each.ccc for each in found]).reshape(6, 2).mean(axis=1)
    ends = scipy.stats.ttest_1samp(z, 0).confidence_interval()
    assert ours.ends["ccc"] == pytest.approx((np.tanh(ends.low), np.tanh(ends.high)), rel=1e-9)


def test_the_total_variance_is_the_sum_of_its_components() -> None:
    who, found = rows(2, 8, 3)
    b = np.array([each.bias for each in found]).reshape(8, 3)
    w = np.mean([each.variance for each in found])
    square = b.var(axis=1, ddof=1).mean()
    expected = b.mean(axis=1).var(ddof=1) + 2 / 3 * square + w
    assert pooled_intervals(who, found).estimates["sd_difference"] ** 2 == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize(
    ("k", "sessions", "told", "reason"),
    [
        (1, 1, set(), "one participant with fewer than 3 sessions"),
        (1, 2, set(), "one participant with fewer than 3 sessions"),
        (2, 9, set(), "fewer than 3 participants"),
        (4, 2, {"bias", "mae", "mape", "pearson_r", "ccc"}, "fewer than 5 participants"),
    ],
)
def test_designs_that_are_too_small(k: int, sessions: int, told: set[str], reason: str) -> None:
    found = pooled_intervals(*rows(3, k, sessions))
    assert found.ends.keys() == told
    assert set(found.refused.values()) == {reason}


def test_sessions_of_one_participant_speak_of_this_participant() -> None:
    found = pooled_intervals(*rows(4, 1, 6))
    assert found.unit == "session (this participant only)"
    assert found.n_units == 6
    assert "loa_upper" in found.ends


def test_biases_that_are_not_bell_shaped_get_no_interval_of_limits() -> None:
    found = pooled_intervals(*rows(5, 12, 1, shift=60.0))
    assert found.refused["loa_upper"].startswith("the participants' biases are not bell-shaped")
    assert found.estimates["loa_upper"] > 10
    assert "bias" in found.ends


def test_a_session_that_cannot_tell_r_is_counted() -> None:
    who, found = rows(6, 6, 1)
    found[2] = found[2]._replace(pearson_r=float("nan"))
    assert pooled_intervals(who, found).refused["pearson_r"] == "pearson_r could not be told for 1 of 6 participants"


def test_figures_of_sums_are_those_of_numpy() -> None:
    _, x, y = one(7)
    found = dict(zip(FIGURES, figures_of_sums(pair_sums(x, y).sum(axis=1, keepdims=True))[0], strict=True))
    assert found["pearson_r"] == pytest.approx(np.corrcoef(x, y)[0, 1], rel=1e-9)
    assert found["sd_difference"] == pytest.approx(np.std(x - y, ddof=1), rel=1e-9)
    assert found["mape"] == pytest.approx(np.mean(np.abs(x - y) / y) * 100, rel=1e-9)


def test_resampling_units_beside_scipys_bootstrap() -> None:
    rng = np.random.default_rng(9)
    x, y = rng.normal(2, 5, 60), np.zeros(60)
    ours = cluster_resamples(x, y, np.arange(60), 8000, 1).figures[:, 0]
    theirs = scipy.stats.bootstrap((x,), np.mean, n_resamples=8000, method="percentile", rng=2).bootstrap_distribution
    assert np.std(ours) == pytest.approx(np.std(theirs), rel=0.04)


def test_two_thousand_resamples_of_a_million_pairs_are_quick() -> None:
    rng = np.random.default_rng(10)
    y = rng.uniform(60, 180, 1_000_000)
    x = y + rng.normal(0, 4, y.size)
    start = time.process_time()
    ends = companion_ends(x, y, 2000)
    assert time.process_time() - start < 10
    assert ends["bias"][0] < ends["bias"][1]


@pytest.mark.parametrize("phi", [0.9, 0.98])
def test_a_small_coverage_study(phi: float) -> None:
    runs, hit, naive = 150, dict.fromkeys(("bias", "sd_difference", "loa_lower", "loa_upper", "mae"), 0), 0
    truth = {"bias": 0.0, "sd_difference": 3.0, "loa_lower": -5.88, "loa_upper": 5.88, "mae": 3 * np.sqrt(2 / np.pi)}
    for seed in range(runs):
        times, device, reference = one(seed, 1800, phi)
        found = session_intervals(times, device, reference)
        for name in hit:
            hit[name] += found.ends[name][0] <= truth[name] <= found.ends[name][1]
        d = device - reference
        naive += abs(d.mean()) <= 1.96 * d.std(ddof=1) / np.sqrt(d.size)
    # 95 ± three Monte Carlo standard errors of 150 runs; the interval of independent seconds must fail.
    assert min(hit.values()) >= 0.89 * runs
    assert naive < 0.5 * runs
