"""Worker processes when the run ends before its time: none speaks, none goes on."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from vambrace import engine

PROC = Path("/proc")
TRACK = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{}</trkseg></trk></gpx>'
POINT = '<trkpt lat="{}" lon="-27.5"><time>2031-03-04T09:00:00Z</time></trkpt>'


class Pool:
    """Stands for a pool, and notes what is asked of it."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def __enter__(self) -> Pool:
        return self

    def __exit__(self, *_: object) -> None:
        self.asked.append("wait for what is scheduled")

    def stop(self) -> None:
        self.asked.append("stop")


@pytest.mark.parametrize("error", [KeyboardInterrupt, GeneratorExit, OSError])
def test_a_run_that_ends_early_stops_its_workers_before_it_waits(error: type[BaseException]) -> None:
    pool = Pool()
    with pytest.raises(error), engine._stopped_early(pool):  # type: ignore[arg-type]
        raise error
    assert pool.asked == ["stop", "wait for what is scheduled"]


def test_a_run_that_ends_well_stops_nothing() -> None:
    pool = Pool()
    with engine._stopped_early(pool):  # type: ignore[arg-type]
        pass
    assert pool.asked == ["wait for what is scheduled"]


def workers_of(group: int) -> list[int]:
    """Return the processes of a group that are workers."""
    found = []
    for entry in PROC.iterdir():
        try:
            ours = entry.name.isdigit() and os.getpgid(int(entry.name)) == group
            if ours and b"spawn_main" in (entry / "cmdline").read_bytes():
                found.append(int(entry.name))
        except OSError:
            continue
    return found


def holds_interrupts(process: int) -> bool:
    """Tell whether a process holds Ctrl-C back, by the mask of its signals."""
    (mask,) = (line for line in (PROC / str(process) / "status").read_text().splitlines() if line.startswith("SigBlk"))
    return bool(int(mask.split()[1], 16) >> (signal.SIGINT - 1) & 1)


@pytest.mark.skipif(
    not (PROC / "self" / "cmdline").exists(), reason="only /proc tells when a worker has begun to start"
)
def test_workers_that_are_just_starting_keep_silent_at_ctrl_c(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    for n in range(4):
        (tmp_path / "in" / f"{n}.gpx").write_text(TRACK.format(POINT.format(n)))
    code = "from vambrace.cli import main; main()"
    command = [sys.executable, "-c", code, "convert", "in", "--to", "ds", "--jobs", "2"]
    run = subprocess.Popen(command, cwd=tmp_path, stderr=subprocess.PIPE, text=True, start_new_session=True)
    while not (workers := workers_of(run.pid)) and run.poll() is None:
        time.sleep(0.005)
    assert workers
    assert all(map(holds_interrupts, workers))
    # Their first tenths of a second go into imports, before anything of ours could catch a signal.
    time.sleep(0.15)
    os.killpg(run.pid, signal.SIGINT)
    _, err = run.communicate(timeout=60)
    assert run.returncode == 130
    assert err.strip() == "Stopped. What was committed before stands; run the command again to go on."
    assert not workers_of(run.pid)
