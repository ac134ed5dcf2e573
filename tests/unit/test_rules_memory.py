"""What the rules hold does not grow with the rows, and `convert` needs no heavy import for them."""

from __future__ import annotations

import pickle
import subprocess
import sys

import numpy as np

from vambrace.batch import NO_END
from vambrace.rules import Evaluation


def test_the_state_does_not_grow_where_no_two_intervals_are_alike() -> None:
    assert irregular(60) <= 1.2 * irregular(20)


def irregular(blocks: int) -> int:
    """Return how many bytes the state takes after so many blocks of 5,000 rows, 0.5 to 1.5 s apart to the µs."""
    rules, rng = Evaluation(), np.random.default_rng(3)
    time = np.cumsum(rng.integers(500_000, 1_500_000, 5000 * blocks))
    for block in range(blocks):
        rows = slice(block * 5000, (block + 1) * 5000)
        ends, value = np.full(5000, NO_END), np.full(5000, 60.0)
        rules.in_time_order(("r.1", "heart_rate"), time[rows], ends, value, np.arange(5000))
    return len(pickle.dumps(rules))


def fed(blocks: int) -> int:
    """Return how many bytes the state takes after so many blocks of 1,000 rows, one a second."""
    rules, rng = Evaluation(), np.random.default_rng(3)
    for block in range(blocks):
        record = np.arange(block * 1000, (block + 1) * 1000)
        time, rows = record * 1_000_000, np.arange(1000)
        heart, cadence = rng.normal(120, 40, 1000), rng.normal(120, 40, 1000)
        for signal, value in (("heart_rate", heart), ("cadence", cadence)):
            rules.file.given("r.1", signal, value, time, record)
            rules.file.kept("r.1", signal, time, record)
            rules.in_time_order(("r.1", signal), time, np.full(1000, NO_END), value, record)
        beside = {"heart_rate": (rows, time, heart), "cadence": (rows, time, cadence)}
        rules.file.side_by_side("r.1", beside, record, steps=True)
    return len(pickle.dumps(rules))


def test_the_state_does_not_grow_with_the_rows() -> None:
    assert fed(60) <= fed(3) + 200


def test_no_pandas_is_loaded_by_the_rules() -> None:
    code = "import sys, vambrace.api, vambrace.pipeline; sys.exit(bool({'pandas', 'pint', 'scipy'} & set(sys.modules)))"
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
