"""The same inputs give the same bytes: whatever the machine's zone, locale, order of inputs, or number of workers."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from converted import digest
from vambrace.demo import DEMO_ZONE, copy_demo

ZONES = ("UTC", "America/New_York", "Asia/Kathmandu", "Australia/Lord_Howe", "Pacific/Apia", "Europe/Berlin")
LOCALES = ("C", "C.UTF-8", "de_DE.UTF-8")


@pytest.fixture(scope="module")
def sources(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("study") / "exports"
    copy_demo(folder)
    return folder


def convert(cwd: Path, sources: list[str], *, zone: str = "UTC", locale: str = "C", jobs: int = 1) -> dict[str, str]:
    """Run the command line in a process of its own and return the digests of what it wrote."""
    target = cwd / f"ds-{zone.replace('/', '-')}-{locale}-{jobs}-{len(list(cwd.iterdir()))}"
    command = [sys.executable, "-c", "from vambrace.cli import main; main()", "convert", *sources, "--to", str(target)]
    command += ["--zone", DEMO_ZONE, "--jobs", str(jobs)]
    environment = {**os.environ, "TZ": zone, "LC_ALL": locale, "LANG": locale, "PYTHONHASHSEED": str(jobs)}
    done = subprocess.run(command, cwd=cwd, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode in (0, 1), done.stderr
    return digest(target)


@pytest.fixture(scope="module")
def first(sources: Path) -> dict[str, str]:
    written = convert(sources.parent, ["exports"])
    assert len(written) > 10
    return written


@pytest.mark.parametrize("number", range(len(ZONES)))
def test_no_zone_and_no_locale_leaves_a_trace(number: int, sources: Path, first: dict[str, str]) -> None:
    assert convert(sources.parent, ["exports"], zone=ZONES[number], locale=LOCALES[number % 3]) == first


def test_workers_leave_no_trace(sources: Path, first: dict[str, str]) -> None:
    assert convert(sources.parent, ["exports"], jobs=2) == first


def test_the_order_of_inputs_leaves_no_trace(sources: Path) -> None:
    parts = [path.relative_to(sources.parent).as_posix() for path in sorted(sources.rglob("*")) if path.is_file()]
    assert len(parts) > 5
    forward, backward = convert(sources.parent, parts), convert(sources.parent, parts[::-1])
    assert forward == backward


def test_the_order_of_conversions_leaves_no_trace_in_samples_and_tables(sources: Path, tmp_path: Path) -> None:
    from vambrace.api import convert as convert_into

    parts = [path for path in sorted(sources.rglob("*")) if path.is_file()]
    forward, backward = tmp_path / "a", tmp_path / "b"
    for part in parts:
        convert_into([part], forward, zone=DEMO_ZONE)
    for part in reversed(parts):
        convert_into([part], backward, zone=DEMO_ZONE)
    assert digest(forward) == digest(backward)
