"""Writes the outputs on `docs/write-an-importer.md` anew: `python tests/release/write_importer_page.py`."""

from __future__ import annotations

import re
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from importer_page import PAGE, follow


def main() -> None:
    """Follow the page, and put what the commands print into its blocks of text."""
    with tempfile.TemporaryDirectory() as place:
        said = iter([real for _, real in follow(Path(place)).outputs])
    text = re.sub(
        r"^```text\n.*?^```$",
        lambda _: f"```text\n{next(said)}```",
        PAGE.read_text("utf-8"),
        flags=re.DOTALL | re.MULTILINE,
    )
    PAGE.write_text(text, encoding="utf-8", newline="\n")


if __name__ == "__main__":
    main()
