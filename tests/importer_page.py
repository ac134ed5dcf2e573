"""The page that teaches how to write an importer, and what comes of following it to the letter."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from fresh_environment import fresh_environment, ran

PAGE = Path(__file__).parents[1] / "docs" / "write-an-importer.md"
BLOCK = re.compile(r"(?:^`([\w/.-]+)`:\n)?^```(\w+)\n(.*?)^```$", re.DOTALL | re.MULTILINE)


@dataclass
class Followed:
    """What came of following the page: the project's folder, and each shown output beside the real one."""

    project: Path
    outputs: list[tuple[str, str]]


def follow(place: Path) -> Followed:
    """Run every block of the page and write every file, in a folder where nothing else is.

    A block of text shows what the last command before it prints.
    """
    python = fresh_environment(place / "venv")
    cwd, said, outputs = place, "", []
    for path, language, text in BLOCK.findall(PAGE.read_text(encoding="utf-8")):
        if path:
            (cwd / path).write_text(text, encoding="utf-8", newline="\n")
        elif language == "python":
            ran([str(python), "-c", text], cwd, python.parent)
        elif language == "sh":
            *before, last = text.splitlines()
            script = "\n".join(["{", *before, "true", "} >&2", last, "pwd"])
            *lines, where = ran(["sh", "-euc", script], cwd, python.parent).splitlines(keepends=True)
            said, cwd = "".join(lines), Path(where.strip())
        else:
            outputs.append((text, said))
    return Followed(cwd, outputs)
