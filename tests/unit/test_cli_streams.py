"""The command line on bad streams: readers that go away, full disks, narrow encodings, Ctrl-C."""

from __future__ import annotations

import io
import json
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from vambrace.cli.texts import safe, say

PROGRAM = [sys.executable, "-c", "from vambrace.cli import main; main()"]
POINT = '<trkpt lat="{:.5f}" lon="-27.5"><time>2031-03-04T09:{:02d}:{:02d}Z</time></trkpt>'


def write_track(path: Path, start: float = 37.0, points: int = 120) -> None:
    rows = "".join(POINT.format(start + n / 1000, n // 60, n % 60) for n in range(points))
    path.write_text(
        f'<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{rows}</trkseg></trk></gpx>'
    )


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "in").mkdir()
    write_track(tmp_path / "in" / "walk.gpx")
    return tmp_path


def nobody_reads() -> int:
    """Return the writing end of a pipe whose reading end is closed."""
    reading, writing = os.pipe()
    os.close(reading)
    return writing


@pytest.mark.parametrize(
    ("arguments", "status"),
    [
        (["export", "--help"], 0),
        (["plugins", "--json"], 0),
        (["inspect", "in"], 0),
        (["convert", "in", "--to", "ds"], 0),
        (["convert", "in", "bad.fit", "--to", "ds"], 1),
    ],
)
def test_a_reader_that_has_gone_changes_no_status_and_no_work(arguments: list[str], status: int, folder: Path) -> None:
    (folder / "bad.fit").write_bytes(b"\x0e\x10\x00\x00\xff\x00\x00\x00.FIT")
    out = nobody_reads()
    done = subprocess.run(
        [*PROGRAM, *arguments], cwd=folder, stdout=out, stderr=subprocess.PIPE, text=True, check=False
    )
    os.close(out)
    assert (done.returncode, done.stderr) == (status, "")
    if arguments[0] == "convert":
        assert len(list((folder / "ds" / "samples").glob("*.parquet"))) == 1


def test_nobody_reads_stderr(folder: Path) -> None:
    err = nobody_reads()
    command = [*PROGRAM, "convert", "nothing-there", "--to", "ds"]
    done = subprocess.run(command, cwd=folder, stdout=subprocess.PIPE, stderr=err, check=False)
    os.close(err)
    assert (done.returncode, done.stdout) == (2, b"")


def test_closed_stdout_is_no_failure(folder: Path) -> None:
    command = " ".join([sys.executable, "-c", f"'{PROGRAM[2]}'", "convert", "in", "--to", "ds", ">&-"])
    done = subprocess.run(["bash", "-c", command], cwd=folder, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full to stand for a full disk")
def test_a_full_disk_behind_stdout_is_said_in_one_sentence() -> None:
    with Path("/dev/full").open("w") as full:
        done = subprocess.run([*PROGRAM, "plugins"], stdout=full, stderr=subprocess.PIPE, text=True, check=False)
    assert done.returncode == 2
    assert done.stderr.count("\n") == 1
    assert "stdout: it cannot be written" in done.stderr


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no /dev/full to stand for a full disk")
def test_a_full_disk_behind_stderr_stops_no_conversion(folder: Path) -> None:
    for n in range(10):
        (folder / "in" / f"{n}.txt").touch()
    code = f"from vambrace.cli import progress; progress.EVERY = 1; {PROGRAM[2]}"
    command = [sys.executable, "-c", code, "convert", "in", "--to", "ds", "--json"]
    with Path("/dev/full").open("w") as full:
        done = subprocess.run(command, cwd=folder, stdout=subprocess.PIPE, stderr=full, check=False)
    assert json.loads(done.stdout)["files_by_status"]["converted"] == 1


@pytest.mark.parametrize(
    ("encoding", "bytes_"),
    [("ascii", rb"\xd7 \u2603 \xff"), ("latin-1", b"\xd7 \\u2603 \\xff"), ("utf-8", "× ☃ \\xff".encode())],
)
def test_what_an_encoding_does_not_hold_is_written_out(
    encoding: str, bytes_: bytes, monkeypatch: pytest.MonkeyPatch
) -> None:
    buffer = io.BytesIO()
    monkeypatch.setattr(sys, "stdout", io.TextIOWrapper(buffer, encoding=encoding, newline="\n"))
    say(safe("× ☃ \udcff"))
    assert buffer.getvalue() == bytes_ + b"\n"


def test_no_name_stops_the_output(folder: Path) -> None:
    name = b"t\xc3\xa9st-\xff-\xe2\x98\x83"
    try:
        os.rename(folder / "in", os.path.join(os.fsencode(folder), name))
    except OSError:
        pytest.skip("this file system takes no name that is not UTF-8")
    Path(folder, os.fsdecode(name), "☃.txt").write_text("no table at all")
    to = os.fsdecode(b"ds-\xfe")
    environment = {**os.environ, "PYTHONIOENCODING": "utf-8:strict", "LC_ALL": "C"}
    command = [*PROGRAM, "convert", os.fsdecode(name), "--to", to]
    text = subprocess.run(command, cwd=folder, env=environment, capture_output=True, check=False)
    assert (text.returncode, text.stderr) == (0, b"")
    assert rb"ds-\xfe: 2 sources" in text.stdout
    found = subprocess.run([*command, "--json"], cwd=folder, env=environment, capture_output=True, check=False)
    assert found.stdout.isascii()
    summary = json.loads(found.stdout)
    # The name leads back to the folder itself, byte for byte.
    assert os.fsencode(summary["dataset"]) == b"ds-\xfe"
    assert summary["unchanged"] == 2
    assert [problem["path"] for problem in summary["problems"]] == ["☃.txt"]


@pytest.mark.parametrize("jobs", ["1", "2"])
def test_ctrl_c_ends_it_at_once_in_one_sentence_and_what_was_committed_stands(jobs: str, folder: Path) -> None:
    for n in range(80):
        write_track(folder / "in" / f"{n}.gpx", 40 + n / 7)
    command = [*PROGRAM, "convert", "in", "--to", "ds", "--jobs", jobs]
    run = subprocess.Popen(
        command, cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True
    )
    while not (folder / "ds" / "sources").exists() and run.poll() is None:
        time.sleep(0.01)
    # As a terminal does: to the whole group, workers included.
    os.killpg(run.pid, signal.SIGINT)
    out, err = run.communicate(timeout=60)
    assert (run.returncode, out) == (130, "")
    assert err.strip() == "Stopped. What was committed before stands; run the command again to go on."
    again = subprocess.run(
        [*PROGRAM, "convert", "in", "--to", "ds", "--json"], cwd=folder, capture_output=True, check=True
    )
    assert json.loads(again.stdout)["files_by_status"] == {"converted": 81}
    assert not list((folder / "ds").rglob(".part-*"))
