"""Reference quality: each fault by itself, each threshold from data."""

from __future__ import annotations

import numpy as np
import pytest

from vambrace.compare.reference_quality import (
    copied_share,
    heart_rate_of_rr,
    reference_quality,
    rr_artefacts,
    thresholds,
    thresholds_for,
)

S = 1_000_000
ASKED = thresholds_for("heart_rate", thresholds())
TIMES = np.arange(600) * S
VALUES = np.rint(100 + 20 * np.sin(np.arange(600) / 30))


def reasons(times: np.ndarray = TIMES, values: np.ndarray = VALUES, **more: object) -> tuple[str, ...]:
    return reference_quality(times, values, 0, 600 * S, ASKED, **more).reasons


def test_a_sound_stretch_is_good() -> None:
    found = reference_quality(TIMES, VALUES, 0, 600 * S, ASKED)
    assert (found.verdict, found.coverage, found.longest_gap_s, found.share_jump) == ("good", 1.0, 1.0, 0.0)
    assert found.share_artefact is None


def test_a_gap_at_the_end_counts() -> None:
    assert reasons(TIMES[:520], VALUES[:520]) == ("a gap of 81 s, at most 60 s allowed",)


def test_a_stretch_without_samples_fails() -> None:
    found = reference_quality(TIMES, VALUES, 900 * S, 1000 * S, ASKED)
    assert (found.verdict, found.coverage, found.longest_gap_s) == ("failed", 0.0, 100.0)


def test_jumps_flat_stretches_and_artefacts() -> None:
    jumping = VALUES + np.where(np.arange(600) % 20 == 0, 60, 0)
    # Every twentieth value stands out, in and out again, the first only out: 59 of 599 steps.
    assert "jumps in 9.8% of steps" in reasons(values=jumping)[0]
    flat = np.where(np.arange(600) < 200, 100.0, VALUES)
    assert "one value held in 33% of samples" in reasons(values=flat)[0]
    rr = np.full(600, 0.8)
    rr[::10] = 1.6
    assert reasons(rr=rr) == ("artefacts in 10.0% of RR intervals, at most 5.0% allowed",)


def test_a_second_reference_that_disagrees() -> None:
    off = VALUES + np.where(np.arange(600) < 120, 9, 1)
    assert reasons(second=(VALUES, off)) == ("the second reference is near in 80% of pairs, at least 90% needed",)


def test_rr_outside_the_plausible_range_is_an_artefact_even_in_company() -> None:
    assert rr_artefacts(np.full(20, 2.4)).all()
    assert not rr_artefacts(np.full(20, 0.8)).any()


def test_heart_rate_is_60_by_the_mean_interval() -> None:
    # RR 0.5, 1.0, 1.5 s give 60, not the 73.3 of mean(60/RR) (calc).
    assert heart_rate_of_rr(np.array([0.5, 1.0, 1.5])) == 60
    assert heart_rate_of_rr(np.array([])) is None


def test_a_file_that_holds_the_references_own_values_is_seen() -> None:
    rng = np.random.default_rng(1)
    assert copied_share(VALUES, VALUES) == 1
    assert copied_share(np.rint(VALUES + rng.normal(0, 3, 600)), VALUES) < 0.4
    assert np.isnan(copied_share(VALUES, np.full(600, 70.0)))


def test_thresholds_are_data() -> None:
    assert all(each.source for each in thresholds())
    assert thresholds_for("cadence", thresholds()).id == "any-reference"
    only = thresholds('[[threshold]]\nid="x"\nsignal="y"\nsource="z"\nleast_coverage=0.5\nlongest_gap_s=9')
    with pytest.raises(ValueError, match="No thresholds"):
        thresholds_for("heart_rate", only)
