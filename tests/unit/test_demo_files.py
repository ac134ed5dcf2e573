"""The demo's committed files: that they are what the seed gives, small, and copied without writing over anything."""

from __future__ import annotations

import os
import subprocess
import sys
import zipfile
from pathlib import Path

import pytest

from demo_reading import DATA
from release import write_demo
from vambrace.demo import DEMO_TITLE, DEMO_ZONE, copy_demo
from vambrace.demo.generate import files, generate
from vambrace.demo.noise import Noise
from vambrace.demo.plan import UTC_OFFSET_S
from vambrace.errors import VambraceError

NAMES = [
    "README.txt",
    "band-A/day.zip",
    "band-A/session.fit",
    "band-A/session_again.fit",
    "band-A/trial.fit",
    "observer/steps.csv",
    "ring-B/heart_rate.csv",
    "ring-B/oxygen.csv",
    "strap-R/session.fit",
    "watch-C/to_the_workshop.tcx",
    "watch-C/walk.gpx",
]


def tree(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


def test_committed_files_are_what_the_seed_gives() -> None:
    fresh, committed = files(), tree(DATA)
    assert sorted(committed) == sorted(fresh) == NAMES
    assert [name for name in NAMES if fresh[name] != committed[name]] == []


def test_generation_does_not_depend_on_zone_locale_or_hash_seed(tmp_path: Path) -> None:
    code = "import sys, pathlib; from vambrace.demo.generate import generate; generate(pathlib.Path(sys.argv[1]))"
    settings = {"TZ": "Pacific/Apia", "LC_ALL": "C", "PYTHONHASHSEED": "7"}
    subprocess.run([sys.executable, "-c", code, str(tmp_path)], check=True, env={**os.environ, **settings})
    assert tree(tmp_path) == tree(DATA)


def test_random_numbers_stay_as_they_were() -> None:
    # The first numbers of a stream, as they came out when the demo was first written: NumPy promises the bit stream.
    first = [0.8459014892578125, -1.1024932861328125, -1.210968017578125, 0.00103759765625]
    assert Noise(1, "a").normal(4).tolist() == first
    assert Noise(1, "a").normal(4).tolist() != Noise(1, "b").normal(4).tolist()


def test_normal_numbers_are_near_normal() -> None:
    numbers = Noise(3, "moments").normal(40_000)
    # Tolerances: four standard errors of mean and standard deviation; a sum of twelve lies within 6.
    assert abs(numbers.mean()) < 4 / 200
    assert abs(numbers.std() - 1) < 4 / (2 * 40_000) ** 0.5
    assert abs(numbers).max() <= 6


def test_whole_folder_is_small() -> None:
    assert sum(len(data) for data in tree(DATA).values()) < 400_000


def test_generate_returns_what_it_wrote(tmp_path: Path) -> None:
    written = generate(tmp_path / "new")
    assert [path.relative_to(tmp_path / "new").as_posix() for path in written] == NAMES
    assert generate(tmp_path / "new") == written  # over what stands there


def test_script_replaces_the_committed_files(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    stale = tmp_path / "data" / "stale.fit"
    stale.parent.mkdir()
    stale.write_bytes(b"old")
    monkeypatch.setattr(write_demo, "DATA", tmp_path / "data")
    write_demo.main()
    assert tree(tmp_path / "data") == tree(DATA)
    assert "walk.gpx" in capsys.readouterr().out


def test_script_writes_where_the_package_reads() -> None:
    assert write_demo.DATA.samefile(DATA)


def test_archive_holds_one_plain_member() -> None:
    with zipfile.ZipFile(DATA / "band-A/day.zip") as archive:
        (member,) = archive.infolist()
        assert archive.testzip() is None
    assert (member.filename, member.compress_type) == ("day.fit", zipfile.ZIP_STORED)


def test_one_file_is_there_twice() -> None:
    by_bytes: dict[bytes, list[str]] = {}
    for name, data in tree(DATA).items():
        by_bytes.setdefault(data, []).append(name)
    pairs = [names for names in by_bytes.values() if len(names) > 1]
    assert pairs == [["band-A/session.fit", "band-A/session_again.fit"]]


@pytest.mark.parametrize("made", [False, True])
def test_copy_fills_a_new_or_empty_folder(tmp_path: Path, made: bool) -> None:
    target = tmp_path / "deep" / "demo"
    if made:
        target.mkdir(parents=True)
    written = copy_demo(target)
    assert [path.relative_to(target).as_posix() for path in written] == NAMES
    assert tree(target) == tree(DATA)


def test_copy_writes_over_nothing(tmp_path: Path) -> None:
    (tmp_path / "notes.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(VambraceError, match="nothing is written over") as caught:
        copy_demo(tmp_path)
    assert caught.value.where == str(tmp_path)
    assert "new folder" in caught.value.todo
    assert list(tmp_path.iterdir()) == [tmp_path / "notes.txt"]


def test_copy_refuses_a_file_as_target(tmp_path: Path) -> None:
    target = tmp_path / "demo"
    target.write_bytes(b"mine")
    with pytest.raises(VambraceError, match="stands there already"):
        copy_demo(target)
    assert target.read_bytes() == b"mine"


def test_copy_says_where_it_cannot_write(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    with pytest.raises(VambraceError, match="cannot be written") as caught:
        copy_demo(tmp_path / "file" / "demo")
    assert "may write" in caught.value.todo


def test_face_loads_nothing_heavy(tmp_path: Path) -> None:
    code = (
        "import pathlib, sys; from vambrace.demo import copy_demo; copy_demo(pathlib.Path(sys.argv[1]));"
        "print(sorted({'numpy', 'pyarrow', 'pandas', 'lxml'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code, str(tmp_path / "x")], check=True, capture_output=True, text=True)
    assert done.stdout.strip() == "[]"


def test_zone_gives_the_offset_that_the_files_were_written_with() -> None:
    from datetime import datetime
    from zoneinfo import ZoneInfo

    noon = datetime(2031, 3, 4, 12, tzinfo=ZoneInfo(DEMO_ZONE))
    offset = noon.utcoffset()
    assert offset is not None
    assert offset.total_seconds() == UTC_OFFSET_S
    assert "Loom and ladder" in DEMO_TITLE
