"""Rows by bout, session, participant and pooled, held against pandas; and the small end of the coverage study."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

import simulation
from release import coverage
from vambrace.compare.levels import NONE, LevelRow, PairColumns, level_rows

S = 1_000_000
REST, WALKING = 0, 1


def study(seed: int = 1) -> PairColumns:
    """Three participants; the first has two sessions. Each session: rest, a pause, walking."""
    rng, parts = np.random.default_rng(seed), []
    for session, participant in enumerate([1, 1, 2, 3]):
        t = np.arange(900)
        reference = 90 + 30 * (t > 450) + rng.normal(0, 2, 900)
        device = reference + rng.normal(0, 2) + simulation.ar1(rng, 900, 0.9, 2.0)
        kind = np.select([t < 400, t >= 500], [REST, WALKING], NONE)
        bout = np.where(kind == NONE, NONE, 10 * session + kind)
        parts.append(
            (t * S + session * 10**10, device, reference, np.full(900, participant), np.full(900, session), bout, kind)
        )
    columns = [np.concatenate(column) for column in zip(*parts, strict=True)]
    order = rng.permutation(columns[0].size)
    return PairColumns(*(column[order] for column in columns))


PAIRS = study()
ROWS = level_rows(PAIRS, frozenset([REST]))


def only(level: str, **keys: int | None) -> LevelRow:
    found = [row for row in ROWS if row.level == level and all(getattr(row, k) == v for k, v in keys.items())]
    assert len(found) == 1
    return found[0]


def test_there_is_a_row_for_each_level_and_key() -> None:
    assert [sum(row.level == level for row in ROWS) for level in ("bout", "session", "participant", "pooled")] == [
        8,
        4 * 3,
        3 * 3,
        3,
    ]


def test_bouts_are_those_that_pandas_groups() -> None:
    frame = pd.DataFrame({name: getattr(PAIRS, name) for name in PairColumns.__slots__})
    frame["d"] = frame["device"] - frame["reference"]
    for bout, part in frame[frame["bout"] != NONE].groupby("bout"):
        row = only("bout", bout=int(bout))
        assert row.agreement.n == len(part)
        assert row.agreement.bias == pytest.approx(part["d"].mean(), rel=1e-12)
        assert row.agreement.sd_difference == pytest.approx(part["d"].std(), rel=1e-12)
        assert (row.first_time, row.last_time) == (part["time"].min(), part["time"].max())


def test_a_session_counts_what_lies_outside_its_activities_too() -> None:
    row = only("session", session=2, kind=None)
    assert (row.agreement.n, row.participant, row.n_sessions) == (900, 2, 1)
    assert row.share_rest == pytest.approx(400 / 900)
    assert row.intervals.unit.startswith("second")
    assert row.figures()["bias"] == row.agreement.bias


def test_pooled_figures_count_each_participant_once() -> None:
    row = only("pooled", kind=None)
    frame = pd.DataFrame({name: getattr(PAIRS, name) for name in PairColumns.__slots__})
    frame["d"] = frame["device"] - frame["reference"]
    sessions = frame.groupby(["participant", "session"])["d"].mean()
    assert row.figures()["bias"] == pytest.approx(sessions.groupby("participant").mean().mean(), rel=1e-12)
    assert row.agreement.bias == pytest.approx(frame["d"].mean(), rel=1e-12)
    assert (row.intervals.unit, row.n_participants) == ("participant", 3)
    assert row.intervals.refused["loa_upper"] == "fewer than 5 participants"


def test_two_sessions_of_one_participant_give_no_interval() -> None:
    row = only("participant", participant=1, kind=None)
    assert row.intervals.no_interval() is not None
    assert not row.intervals.ends
    # Without units enough for an interval the figures are those of the pairs.
    assert row.figures()["bias"] == row.agreement.bias


def test_no_pairs_no_rows() -> None:
    assert level_rows(PAIRS.at(np.empty(0, np.intp)), frozenset()) == []


def test_the_order_of_pairs_does_not_matter() -> None:
    again = level_rows(PAIRS.at(np.random.default_rng(5).permutation(PAIRS.time.size)), frozenset([REST]))
    assert [row.intervals.ends for row in again] == [row.intervals.ends for row in ROWS]


def test_the_study_of_coverage_can_fail_and_holds_on_a_few_participants() -> None:
    assert not coverage.within("x", 93, 98, [True] * 60 + [False] * 40).met
    assert not coverage.within("x", 0, 50, []).met
    hits = coverage.gathered(coverage.people((6, 1, i)) for i in range(60))
    # 95 % less three Monte Carlo standard errors of 60 runs; the interval of independent seconds must fail.
    assert min(np.mean(hits[name]) for name in ("bias", "mae", "mape", "loa_upper", "sd_difference", "ccc")) >= 0.86
    assert np.mean(hits["naive"]) < 0.5
