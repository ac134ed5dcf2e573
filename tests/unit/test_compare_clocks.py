"""Clock offsets from curves and marks, on simulated sessions whose offset is known; NumPy correlates as a check."""

from __future__ import annotations

import numpy as np
import pytest

import simulation
from vambrace.compare.clocks import (
    aligned_times,
    delay_difference,
    marked_offset,
    offset_words,
    signal_drift,
    signal_offset,
    zone_search,
)
from vambrace.compare.lagged import Curve, block_sums, correlation, curve, masked_r

S = 1_000_000
SEED = 20261125


def session(index: int, **settings: object) -> tuple[tuple[np.ndarray, ...], float]:
    made = simulation.aligned_session(SEED, index, **settings)
    ok = np.isfinite(made["dev"])
    device = (made["t_dev"][ok] * S).astype(np.int64)
    return (device, made["dev"][ok], (made["t_ref"] * S).astype(np.int64), made["ref"]), made["apparent"]


def random_curves(seed: int, n: int, m: int) -> tuple[Curve, Curve]:
    rng = np.random.default_rng(seed)
    made = []
    for size, start in ((n, 3 * S), (m, 10 * S)):
        valid = (rng.random(size) > 0.1).astype(float)
        made.append(Curve(start, rng.normal(0, 1, size) * valid, valid))
    return made[0], made[1]


@pytest.mark.parametrize(("n", "m"), [(200, 340), (340, 200), (300, 300)])
def test_r_at_every_lag_is_numpys_over_what_both_hold(n: int, m: int) -> None:
    a, b = random_curves(1, n, m)
    found = correlation(a, b, -90, 90)
    assert found.lags.size == 181
    for lag, r in zip(found.lags[::20], found.r[::20], strict=True):
        at = np.arange(max(0, -lag), min(n, m - lag))
        both = (a.valid[at] > 0) & (b.valid[at + lag] > 0)
        x, y = a.values[at][both], b.values[at + lag][both]
        expected = np.corrcoef(x, y)[0, 1] if x.size >= 0.5 * min(a.valid.sum(), b.valid.sum()) else np.nan
        assert r == pytest.approx(expected, abs=1e-9, nan_ok=True)
    # The sums by block add up to those of the whole.
    np.testing.assert_allclose(
        masked_r(block_sums(a, b, found.lags).sum(axis=0), 0)[20:160], found.r[20:160], atol=1e-9
    )


def test_mixed_sessions_are_found_and_said_with_their_interval() -> None:
    found = [(signal_offset(*arrays), apparent) for arrays, apparent in (session(i) for i in range(16))]
    told = [(each, apparent) for each, apparent in found if each.verdict == "told"]
    assert len(told) >= 11
    errors = np.abs([each.offset - apparent for each, apparent in told])
    assert np.median(errors) <= 1.2
    assert errors.max() <= 5
    assert sum(each.low <= apparent <= each.high for each, apparent in told) >= len(told) - 2


def test_flat_rest_is_refused() -> None:
    flat = {"phases": (("rest", 1800),), "variability": 0.3, "tau": 12.0}
    verdicts = [signal_offset(*session(i, **flat)[0]).verdict for i in range(6)]
    assert verdicts == ["cannot be told"] * 6


def test_another_persons_file_is_not_told() -> None:
    verdicts = []
    for i in range(10):
        (device, values, _, _), _ = session(i)
        (_, _, times, reference), _ = session(500 + i)
        verdicts.append(signal_offset(device, values, times, reference).verdict)
    assert "told" not in verdicts


def test_the_same_data_give_the_same_answer() -> None:
    arrays, _ = session(1)
    assert signal_offset(*arrays) == signal_offset(*arrays)


@pytest.mark.parametrize("hours", [-2, 0, 1])
def test_whole_hours_are_a_fault_of_the_zone(hours: int) -> None:
    rng = np.random.default_rng([SEED, hours + 9])
    # Four hours of the device, one of the reference.
    phases = simulation.MIXED * 8
    names, load = simulation.plan(rng, phases)
    heart = simulation.heart(rng, load)
    reference = simulation.reference(rng, heart)[0]
    device = simulation.device(rng, heart, names)[0]
    t = np.arange(heart.size) * S
    hour = (t >= 5400 * S) & (t < 9000 * S)
    offset = hours * 3600 + 40
    found = zone_search(t - offset * S, device, t[hour], reference[hour])
    assert found.zone == hours * 3600
    assert found.is_fault is (hours != 0)
    assert found.found.offset == pytest.approx(offset, abs=8)


def test_recordings_that_never_overlap() -> None:
    arrays, _ = session(2)
    far = signal_offset(arrays[0] + 10**11, *arrays[1:])
    assert far.verdict == "cannot be told"
    assert np.isnan(far.offset)
    assert "overlap" in offset_words(far)[0]
    assert zone_search(arrays[0] + 10**12, *arrays[1:]).is_fault is False


def test_one_value_and_a_constant_signal_are_refused() -> None:
    arrays, _ = session(3)
    assert signal_offset(arrays[0][:1], arrays[1][:1], *arrays[2:]).verdict == "cannot be told"
    assert signal_offset(arrays[0], np.full(arrays[1].size, 70.0), *arrays[2:]).verdict == "cannot be told"


def test_a_clock_that_loses_a_second_an_hour_is_told() -> None:
    rng = np.random.default_rng(SEED)
    names, load = simulation.plan(rng, simulation.MIXED * 12)
    heart = simulation.heart(rng, load)
    reference = simulation.reference(rng, heart)[0]
    device = simulation.device(rng, heart, names, sd=2.0)[0]
    true = np.arange(heart.size) * S
    stamped = np.rint(true / (1 + 400e-6)).astype(np.int64)
    found = signal_drift(stamped, device, true, reference, 0.0)
    assert found is not None
    assert found.low <= 400 <= found.high
    assert found.low > 0
    assert signal_drift(stamped[:3600], device[:3600], true, reference, 0.0) is None


def test_marks_give_offset_interval_and_drift() -> None:
    true = np.array([0, 1800, 3600, 7200]) * S
    one = marked_offset(true[:1] - 60 * S, true[:1])
    assert one == (60.0, 59.0, 61.0, None)
    drifting = marked_offset(true - 60 * S - (true * 1e-4).astype(np.int64), true)
    assert drifting.ppm == pytest.approx(100, rel=1e-3)
    assert drifting.low < drifting.offset < drifting.high
    with pytest.raises(ValueError, match="true time"):
        marked_offset(true[:1], true)


def test_aligned_times_add_offset_and_drift_about_the_middle() -> None:
    times = np.array([0, 1800, 3600]) * S
    assert aligned_times(times, 2.5).tolist() == [2_500_000, 1802_500_000, 3602_500_000]
    assert aligned_times(times, 2.5, 100.0, 1800 * S).tolist() == [2_320_000, 1802_500_000, 3602_680_000]


def test_the_words_do_not_call_a_delay_a_clock_error() -> None:
    found = signal_offset(*session(1)[0])._replace(offset=163.2, low=160.6, high=165.8, verdict="told")
    assert "less the device's extra processing delay" in offset_words(found)[0]
    assert "may be hidden" in offset_words(found)[1]
    assert offset_words(found, 167.0)[1].endswith("the device runs 3.8 s behind the reference.")
    assert delay_difference(167.0, 163.2) == pytest.approx(3.8)
    assert "only if you accept" in offset_words(found._replace(verdict="coarse"))[1]


def test_gaps_and_held_values_are_left_out_of_the_curve() -> None:
    t = np.concatenate([np.arange(100), np.arange(160, 300)])
    values = np.sin(t / 9) * 20 + 100
    values[(t > 200) & (t < 230)] = 100.0
    made = curve(t * S, values, mask_constant=True)
    assert made.valid[110:150].sum() == 0
    assert made.valid[212:220].sum() == 0
    assert made.valid[30:80].all()
