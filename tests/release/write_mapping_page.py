"""Writes the draft on `docs/mapping-files.md`, and what its commands print, anew: run this file with Python."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from mapping_page import PAGE, page

if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        PAGE.write_text(page(PAGE.read_text("utf-8"), Path(place)), encoding="utf-8", newline="\n")
