"""A counter that falls at every second row, or a track of a million pieces, must cost neither memory nor the count."""

from __future__ import annotations

import tracemalloc
from collections import Counter
from pathlib import Path

from converted import samples, table
from vambrace.api import convert
from vambrace.pipeline.happenings import LISTED, Happenings

START = 1_709_280_000
ROWS = 50_001


def test_events_beyond_those_listed_are_counted_with_their_span(tmp_path: Path) -> None:
    rows = "".join(f"{START + k},{k % 2 * 100}\n" for k in range(ROWS))
    (tmp_path / "day.csv").write_text("unix (s),step_count\n" + rows)
    to = tmp_path / "ds"
    convert([tmp_path / "day.csv"], to, options={"csv": {"counting": "step_count=total"}})
    resets = (ROWS - 1) // 2
    events = table(to, "events")
    assert Counter(row["kind"] for row in events) == {"counter_reset": LISTED}
    assert [row["time"].timestamp() for row in events[:2]] == [START + 2, START + 4]
    (finding,) = [row for row in table(to, "findings") if row["rule"] == "more-events"]
    assert (finding["count"], "counter_reset" in finding["message"]) == (resets - LISTED, True)
    assert finding["first_time"].timestamp() == START + 2 * (LISTED + 1)
    assert finding["last_time"].timestamp() == START + 2 * resets
    assert finding["recording"] == events[0]["recording"]
    # Every reset is joined, listed or not: each second row adds 100.
    assert max(samples(to)["value"].to_pylist()) == 100.0 * resets


def test_memory_does_not_grow_with_events() -> None:
    found = Happenings()
    for k in range(LISTED):
        found.add(1, k, "pause", f"track segment {k} ends")
    tracemalloc.start()
    try:
        for k in range(100_000):
            found.add(1, k - 7, "pause", f"track segment {k} ends")
        assert tracemalloc.get_traced_memory()[1] < 10_000
    finally:
        tracemalloc.stop()
    more = found.unlisted[1, "pause"]
    assert (more.count, more.first_us, more.last_us) == (100_000, -7, 99_992)
    assert len(list(found)) == LISTED
    assert found.count_of_others({1}) == 0
    assert found.count_of_others({2}) == 100_000 + LISTED
