"""Writes the README's pieces of real output anew: python tests/release/write_readme.py."""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from pathlib import Path

README = Path(__file__).parents[2] / "README.md"
_TEXT = re.compile(r"(?<=```text\n).*?(?=\n```)", re.DOTALL)


def outputs() -> list[str]:
    """Return what `demo`, `inspect` and `validate` print, called as the README does, on a terminal of 80 columns."""
    with tempfile.TemporaryDirectory() as folder:
        demo = _run(["demo"], Path(folder))
        Path(folder, "vambrace-demo/exports").rename(Path(folder, "exports"))
        inspect = ["inspect", "exports/ring-B/heart_rate.csv", "--zone", "Atlantic/Azores"]
        validate = ["validate", "exports/band-A", "exports/ring-B", *inspect[-2:], "--ignore", "*session*"]
        return [demo, _run(inspect, Path(folder)), _run(validate, Path(folder), status=1)]


def _run(arguments: list[str], cwd: Path, status: int = 0) -> str:
    command = [sys.executable, "-c", "from vambrace.cli import main; main()", *arguments]
    environment = {**os.environ, "COLUMNS": "80", "PYTHONIOENCODING": "utf-8"}
    done = subprocess.run(command, cwd=cwd, env=environment, capture_output=True, check=False, encoding="utf-8")
    if done.returncode != status:
        raise RuntimeError(f"{' '.join(arguments)} ended with {done.returncode}: {done.stderr}")
    return done.stdout.rstrip("\n")


def page(text: str) -> str:
    """Return the README with what the commands print today."""
    fresh = iter(outputs())
    return _TEXT.sub(lambda _: next(fresh), text)


if __name__ == "__main__":
    README.write_text(page(README.read_text(encoding="utf-8")), encoding="utf-8")
