"""The section on drafts of `docs/mapping-files.md`: its blocks, and what its commands print and write today."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from pathlib import Path

PAGE = Path(__file__).parents[1] / "docs" / "mapping-files.md"
_SECTION = re.compile(r"(?<=^## Let the tool draft it\n).*?(?=^## )", re.DOTALL | re.MULTILINE)
_BLOCK = re.compile(r"(^```(\w+)\n)(.*?)(^```$)", re.DOTALL | re.MULTILINE)


def blocks(text: str) -> list[tuple[str, str]]:
    """Return the blocks of the section in their order, with what they are."""
    section = _SECTION.search(text)
    assert section is not None
    return [(kind, inner) for _, kind, inner, _ in _BLOCK.findall(section[0])]


def real(text: str, folder: Path) -> list[str]:
    """Return what the blocks should hold: what the commands of the section print, and the draft that they write.

    The first block is the export, the last the rows, which are left as they are.
    """
    found = blocks(text)
    (folder / "stroll.csv").write_text(found[0][1], "utf-8")
    said = [inner for _, inner in found]
    for at, (kind, inner) in enumerate(found):
        if kind == "sh":
            after = next(n for n in range(at, len(found)) if found[n][0] == "text")
            said[after] = _run(inner.split(), folder)
        if kind == "toml":
            said[at] = (folder / "stroll.toml").read_text("utf-8")
    return said


def _run(command: list[str], folder: Path) -> str:
    assert command[0] == "vambrace"
    program = [sys.executable, "-c", "from vambrace.cli import main; main()", *command[1:]]
    environment = {**os.environ, "COLUMNS": "100", "PYTHONIOENCODING": "utf-8"}
    done = subprocess.run(program, cwd=folder, env=environment, capture_output=True, check=False, encoding="utf-8")
    return done.stdout + done.stderr


def page(text: str, folder: Path) -> str:
    """Return the page with what its commands print and write today."""
    fresh = iter(real(text, folder))
    return _SECTION.sub(lambda found: _BLOCK.sub(lambda one: f"{one[1]}{next(fresh)}{one[4]}", found[0]), text)


def answers(text: str) -> dict[str, str | None]:
    """Return the answers of the section's table as `answered` takes them."""
    section = _SECTION.search(text)
    assert section is not None
    rows = re.findall(r"^\| `(\w+)`(?: of (.*?))? \| (.*?) \|$", section[0], re.MULTILINE)
    places = {"zone": "time", "stamp": "time", "interval_s": "time", "counting": "Schritte"}
    return {f"{of or places[key]}.{key}": value.strip("`") if "`" in value else None for key, of, value in rows}
