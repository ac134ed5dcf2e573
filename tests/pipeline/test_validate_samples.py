"""The real samples through `validate`: each error that stands is one that was looked at."""

from __future__ import annotations

import os
from collections import Counter
from pathlib import Path

import pytest

from vambrace.api import Validation, find_faults

SAMPLES = os.environ.get("VAMBRACE_SAMPLES")
pytestmark = pytest.mark.skipif(SAMPLES is None, reason="VAMBRACE_SAMPLES does not name the folder of real files")

UNTIMED = "fit/compressed-timestamps-speed-distance.fit"
"""Its 755 time stamps are all below 0x10000000: by the FIT protocol seconds since the device was switched on, and no
other message says when that was. So no value has a time, and the file is refused: each error is right."""


@pytest.fixture(scope="module")
def found() -> Validation:
    return find_faults(Path(SAMPLES or ""))


def test_errors_stand_only_where_they_are_right(found: Validation) -> None:
    errors = Counter((each.path, each.rule) for each in found.findings if each.severity == "error")
    expected = {f"{Path(SAMPLES or '').as_posix()}/{UNTIMED}": {"no-time": 4, "refused": 1}}
    assert errors == {(path, rule): n for path, rules in expected.items() for rule, n in rules.items()}


def test_no_unit_and_no_lock_is_suspected_without_reason(found: Validation) -> None:
    rules = {each.rule for each in found.findings}
    assert not rules & {"unit-suspect", "rate-follows-steps", "flat-line", "time-goes-back", "counter-fell"}


def test_real_faults_that_other_tools_show_too(found: Validation) -> None:
    # Looked at by hand: one speed of 26 m/s between two of 0 in the ride, and record time stamps that stand twice.
    spikes = [each for each in found.findings if each.rule == "spike" and each.path.endswith("ride-long.fit")]
    assert [(each.signal, each.count, each.first_record) for each in spikes] == [("speed", 1, 697)]
    twice = {each.path.rpartition("/")[2] for each in found.findings if each.rule == "duplicate-time"}
    assert twice == {"activity-sample.fit", "chained-heart-rate-events.fit", "header-crc-zero-a.fit", "ride-long.fit"}
