"""A thousand small files: one command, and memory that does not grow with their number."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from converted import statuses

RUN = """
import resource, sys
from vambrace.api import convert
convert([sys.argv[1]], sys.argv[2], jobs=1)
print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def write(folder: Path, count: int) -> Path:
    folder.mkdir()
    for number in range(count):
        minute = number % 60
        rows = "".join(f"2024-03-01T{number // 60:02d}:{minute:02d}:{s:02d}Z,{60 + s}\n" for s in range(40))
        (folder / f"{number:04d}.csv").write_text("time,heart_rate\n" + rows)
    return folder


def peak_kib(folder: Path, to: Path) -> int:
    command = [sys.executable, "-c", RUN, str(folder), str(to)]
    return int(subprocess.run(command, capture_output=True, text=True, check=True).stdout)


def test_memory_does_not_grow_with_the_number_of_files(tmp_path: Path) -> None:
    few = peak_kib(write(tmp_path / "few", 100), tmp_path / "few-ds")
    many = peak_kib(write(tmp_path / "many", 1000), tmp_path / "many-ds")
    found = statuses(tmp_path / "many-ds")
    assert len(found) == 1000
    assert set(found.values()) == {"converted"}
    # Ten times the files: a kilobyte or two for each name and record is allowed, their rows are not.
    assert many - few < 20_000
