"""Times of day with AM and PM, and dates whose order one cell decides."""

from __future__ import annotations

import pyarrow as pa
import pytest

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.timecells import deciding_order, full_days


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


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        (["01/03/2024 08:00", "13/04/2024 08:00"], ("day-first", "13/04/2024 08:00")),
        (["03/01/2024", "04/13/2024", "04/14/2024"], ("month-first", "04/13/2024")),
    ],
)
def test_one_cell_decides_the_order(cells: list[str], expected: tuple[str, str]) -> None:
    """Take the order from the first cell that no other order makes a date."""
    assert deciding_order(cells, "time") == expected


@pytest.mark.parametrize(
    ("cells", "code"),
    [
        (["01/03/2024", "02/03/2024"], "time-two-readings"),
        (["13/04/2024", "04/13/2024"], "time-mixed"),
        (["31/31/2024"], "time-two-readings"),
    ],
)
def test_no_cell_decides_the_order(cells: list[str], code: str) -> None:
    """Refuse dates that have two readings, or need both."""
    with pytest.raises(Refused) as refused:
        deciding_order(cells, "time")
    assert refused.value.code == code
