"""Archives are read in memory that does not grow with them, each conversion measured in a process of its own.

The promise is under 300 MB for archives of 3 GB; `tests/benchmarks/memory.py` measures those. Here an archive and one
that is four times larger are compared: whoever holds all bytes, rows or elements at once fails either bound.
"""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from benchmarks.memory import CONTENTS, PACKS, measured
from converted import table

MOST_MB = 300


@pytest.mark.skipif(sys.platform == "win32", reason="the memory of a child process is measured by wait4")
@pytest.mark.parametrize(
    ("content", "pack", "size", "growth"),
    [("csv", "zip", 15_000_000, 40), ("gpx", "zip", 7_000_000, 60)],
)
def test_memory_does_not_grow_with_an_archive(
    tmp_path: Path, content: str, pack: str, size: int, growth: float
) -> None:
    peaks, kept = [], []
    for times in (1, 4):
        archive, to = tmp_path / f"{times}.{pack}", tmp_path / f"{times}"
        PACKS[pack](archive, f"large.{content}", CONTENTS[content](times * size))
        _, megabytes, code = measured("convert", archive, "--to", to)
        assert code == 0
        peaks.append(megabytes)
        kept.append(sum(row["rows_kept"] or 0 for row in table(to, "files")))
    assert kept[1] > 3 * kept[0] > 300_000
    assert peaks[1] < MOST_MB
    assert peaks[1] - peaks[0] < growth, peaks
