"""Writes the signatures on `docs/plugin-door.md` anew: `python tests/release/write_plugin_door_page.py`."""

from __future__ import annotations

import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from door_page import PAGE, sections, signature


def written(text: str) -> str:
    """Return the page with the signature of each name as the code has it."""
    for name, section in sections(text):
        block = f"```text\n{signature(name)}```"
        fresh = re.sub(
            r"^```text\n.*?^```$", lambda _, block=block: block, section, count=1, flags=re.DOTALL | re.MULTILINE
        )
        text = text.replace(section, fresh, 1)
    return text


if __name__ == "__main__":
    PAGE.write_text(written(PAGE.read_text("utf-8")), encoding="utf-8", newline="\n")
