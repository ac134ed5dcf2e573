"""Recognition over what is not ours: foreign formats, Python's own files, real samples, other formats' files."""

from __future__ import annotations

import os
import subprocess
import sys
import sysconfig
from collections import Counter
from collections.abc import Iterator
from pathlib import Path

import pytest

from foreign_types import binary_files, text_files
from vambrace import registry
from vambrace.errors import SourceError
from vambrace.plugin import Claim, Head
from vambrace.recognise import recognise
from vambrace.registry import OURSELVES

ROOT = Path(__file__).parents[2]
SAMPLES = os.environ.get("VAMBRACE_SAMPLES")
TABLES = {".csv", ".tsv", ".dat", ".tab", ".txt"}
"""Suffixes under which another library's files may hold real tables, which a reader of tables may claim."""


def built_in() -> list[str]:
    return [each.name for each in registry.load().installed if each.kind == "importer" and each.package == OURSELVES]


def claims(name: str, data: bytes) -> dict[str, Claim]:
    """Return what each built-in importer says of a file."""
    head = Head(name, data[:4096], len(data))
    return {each: registry.load().importer(each).recognise(head) for each in built_in()}


def above_name(name: str, data: bytes) -> dict[str, str]:
    return {each: claim.evidence for each, claim in claims(name, data).items() if claim > Claim.NAME}


def test_at_least_thirty_foreign_types_are_claimed_by_nobody(tmp_path: Path) -> None:
    files = binary_files(tmp_path) | text_files(tmp_path)
    assert len({name.rpartition(".")[2] for name in files}) >= 30
    assert len(files) >= 70
    assert {name: found for name, data in files.items() if (found := above_name(name, data))} == {}


@pytest.mark.parametrize("name", ["x", "x.fit", "x.gpx", "x.tcx", "x.csv", "x.txt"])
def test_foreign_bytes_are_claimed_by_nobody_under_another_name(name: str, tmp_path: Path) -> None:
    files = binary_files(tmp_path)
    assert {each: found for each, data in files.items() if (found := above_name(name, data))} == {}
    # A name is a hint; where it is the only one, the file is read and then refused, never converted.
    suffix = name.partition(".")[2]
    for data in files.values():
        assert all(claim == Claim.NONE or suffix for claim in claims(name, data).values())


def installed_files(most: int) -> Iterator[Path]:
    """Yield up to `most` files of each suffix from this Python and what is installed in it."""
    seen: Counter[str] = Counter()
    for folder in (sysconfig.get_path("stdlib"), sysconfig.get_path("purelib")):
        for place, folders, names in os.walk(folder):
            folders[:] = sorted(each for each in folders if each != "vambrace")
            for name in sorted(names):
                suffix = Path(name).suffix.lower()
                seen[suffix] += 1
                if seen[suffix] <= most and suffix not in TABLES:
                    yield Path(place, name)


def test_nothing_of_this_python_installation_is_claimed() -> None:
    looked, wrong = Counter[str](), {}
    for path in installed_files(10):
        with path.open("rb") as stream:
            data = stream.read(4096)
        looked[path.suffix.lower()] += 1
        if found := above_name(path.name, data):
            wrong[str(path)] = found
    assert wrong == {}
    assert len(looked) > 10


def own_files() -> list[tuple[str, Path]]:
    """Return every file of the formats that we read, with the importer it belongs to."""
    folders = [ROOT / "fixtures", ROOT / "core" / "vambrace" / "demo" / "data"]
    paths = [
        path for folder in folders for path in folder.rglob("*") if path.is_file() and path.parent.name != "published"
    ]
    formats = {".fit": "fit", ".gpx": "gpx", ".tcx": "tcx", ".csv": "csv", ".tsv": "csv"}
    return sorted((formats[path.suffix], path) for path in paths if path.suffix in formats and path.stat().st_size)


@pytest.mark.parametrize(("importer", "path"), own_files(), ids=lambda each: getattr(each, "name", each))
def test_a_file_of_one_format_is_claimed_by_no_other(importer: str, path: Path) -> None:
    data = path.read_bytes()
    assert set(above_name(path.name, data)) <= {importer}
    assert set(above_name("x", data)) <= {importer}
    assert (
        recognise(Head(path.name, data[:4096], len(data)), registry.load().importers.values()).importer.name == importer
    )


@pytest.mark.skipif(not SAMPLES, reason="VAMBRACE_SAMPLES names no folder of real files")
def test_real_files_are_claimed_by_their_format_and_by_no_other() -> None:
    paths = [path for path in Path(str(SAMPLES)).rglob("*") if path.suffix in {".fit", ".gpx", ".tcx"}]
    assert paths
    wrong = []
    for number, path in enumerate(paths):
        for name in (path.name, "x", "x.csv"):
            found = set(above_name(name, path.read_bytes()))
            if found - {path.suffix[1:]} or (found != {path.suffix[1:]} and not _broken(path)):
                wrong.append((number, name, found))
    assert wrong == []


def _broken(path: Path) -> bool:
    """Say whether a sample has not even its format's first bytes: then its name is all there is."""
    try:
        head = Head("x", path.read_bytes()[:4096], path.stat().st_size)
        recognise(head, registry.load().importers.values())
    except SourceError:
        return True
    return False


def test_each_file_is_opened_once_for_its_digest_and_first_bytes_together() -> None:
    # Whatever it says of milliseconds is the machine's; that it opens every file once is ours.
    script = ROOT / "tests" / "benchmarks" / "recognition.py"
    said = subprocess.run([sys.executable, script, "90"], capture_output=True, text=True, check=False).stdout
    assert "90, each opened at most 1 time(s)" in said
