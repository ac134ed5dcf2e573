"""Times of day with AM and PM become times of 24 hours; what has neither is no time."""

from __future__ import annotations

import pyarrow as pa
import pytest

from vambrace_plugins.importers.csv.timecells import full_days


@pytest.mark.parametrize(
    ("cell", "expected"),
    [
        # NIST, "Times of day FAQs": 12 a.m. is midnight and 12 p.m. is noon, as clocks with AM and PM show them.
        ("2024-03-01 12:00:00 AM", "2024-03-01 00:00:00"),
        ("2024-03-01 12:30 PM", "2024-03-01 12:30"),
        ("8:15:30 PM", "20:15:30"),
        ("08:15 p.m.", "20:15"),
        ("01/03/2024 1:00:00.25am", "01/03/2024 01:00:00.25"),
        ("", ""),
        ("13:15 PM", "13:15 PM is no time of 12 hours"),
        ("08:15", "08:15 is no time of 12 hours"),
    ],
)
def test_half_days(cell: str, expected: str) -> None:
    """Read each cell by itself: an hour beyond 12 or a cell without AM or PM stays no time."""
    assert full_days(pa.array([cell])).to_pylist() == [expected]
