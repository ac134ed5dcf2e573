"""The GPX files in the source distribution of gpxpy 1.6.2 (Apache-2.0), fetched with pip and kept in a cache."""

from __future__ import annotations

import hashlib
import os
import subprocess
import sys
import tarfile
import tempfile
from functools import cache
from pathlib import Path

REQUIREMENT = "gpxpy==1.6.2"
ARCHIVE = "gpxpy-1.6.2.tar.gz"
SHA256 = "a72c484b97ec42b80834353b029cc8ee1b79f0ffca1179b2210bb3baf26c01ae"
COUNT = 30


def _cache() -> Path:
    given = os.environ.get("VAMBRACE_CACHE")
    return (Path(given) if given else Path(__file__).resolve().parents[1] / ".cache") / "gpxpy"


@cache
def files() -> dict[str, bytes] | str:
    """Return the files by name without suffix, or a sentence that says why they are not to be had."""
    path = _cache() / ARCHIVE
    if not path.exists():
        reason = _fetch(path.parent)
        if reason:
            return reason
    data = path.read_bytes()
    if hashlib.sha256(data).hexdigest() != SHA256:
        raise AssertionError(f"{path} is not the archive that these tests are written for: delete it")
    with tarfile.open(path) as archive:
        members = [each for each in archive.getmembers() if each.isfile() and each.name.endswith(".gpx")]
        return {Path(each.name).stem: archive.extractfile(each).read() for each in members}  # type: ignore[union-attr]


def _fetch(folder: Path) -> str:
    """Fetch the archive into the folder in one step, so that tests in parallel never see half of it."""
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory(dir=folder) as own:
        wanted = Path(own) / "requirements.txt"
        wanted.write_text(f"{REQUIREMENT} --hash=sha256:{SHA256}\n", encoding="utf-8")
        command = [sys.executable, "-m", "pip", "download", "--quiet", "--disable-pip-version-check", "--no-deps"]
        command += ["--no-binary", ":all:", "--require-hashes", "--retries", "1", "--timeout", "15"]
        command += ["-d", own, "-r", str(wanted)]
        try:
            done = subprocess.run(command, capture_output=True, text=True, timeout=180, check=False)
        except (OSError, subprocess.TimeoutExpired) as error:
            return _not_had(str(error))
        if done.returncode:
            return _not_had((done.stderr.strip().splitlines() or ["no message"])[-1])
        (Path(own) / ARCHIVE).replace(folder / ARCHIVE)
    return ""


def _not_had(why: str) -> str:
    return f"the source distribution of {REQUIREMENT} is not in the cache and pip could not fetch it: {why}"
