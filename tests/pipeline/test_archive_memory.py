"""Archives are read in memory that does not grow with them, each conversion measured in a process of its own.

The promise is under 300 MB for archives of 3 GB; `tests/benchmarks/memory.py` measures those. Here an archive and one
that is four times larger are compared, with small stores for what is sorted and written: otherwise these alone would
hide whoever holds all bytes, rows or elements of sizes that a test can afford.
"""

from __future__ import annotations

import re
import subprocess
import sys
from pathlib import Path

import pytest

from benchmarks.memory import CONTENTS, PACKS
from converted import table

STATUS = Path("/proc/self/status")
CONVERT = f"""
import sys
from pathlib import Path
from vambrace import convert
from vambrace.dataset import shard, spill
spill.BUDGET_BYTES, shard.ROW_GROUP_ROWS = 1 << 20, 1 << 14
convert([sys.argv[1]], sys.argv[2])
print(Path("{STATUS}").read_text())
"""
MOST_MB = 260
MOST_GROWTH = 0.45
"""Of the bytes that the larger archive holds more: holding them all would be 1, rows or elements as objects more."""


def peak_mb(archive: Path, to: Path) -> float:
    """Convert in a process of its own and return the most megabytes that it had resident.

    The process says it itself: what wait4 tells its parent counts the parent's own memory before exec too.
    """
    command = [sys.executable, "-c", CONVERT, str(archive), str(to)]
    said = subprocess.run(command, check=True, capture_output=True, text=True).stdout
    (kilobytes,) = re.findall(r"^VmHWM:\s+(\d+) kB$", said, re.M)
    return int(kilobytes) * 1024 / 1e6


@pytest.mark.skipif(not STATUS.exists(), reason="the most memory of a process is read from /proc")
@pytest.mark.parametrize(("content", "size"), [("csv", 12_000_000), ("gpx", 5_000_000)])
def test_memory_does_not_grow_with_an_archive(tmp_path: Path, content: str, size: int) -> None:
    peaks, kept = [], []
    for times in (1, 4):
        archive, to = tmp_path / f"{times}.zip", tmp_path / f"{times}"
        PACKS["zip"](archive, f"large.{content}", CONTENTS[content](times * size))
        peaks.append(peak_mb(archive, to))
        kept.append(sum(row["rows_kept"] or 0 for row in table(to, "files")))
    assert kept[1] > 3 * kept[0] > 300_000
    assert peaks[1] < MOST_MB
    assert peaks[1] - peaks[0] < MOST_GROWTH * 3 * size / 1e6, peaks
