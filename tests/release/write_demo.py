"""Writes the demo's files anew from its seed: `python tests/release/write_demo.py`."""

from __future__ import annotations

import shutil
from pathlib import Path

from vambrace.demo.generate import generate

DATA = Path(__file__).resolve().parents[2] / "core" / "vambrace" / "demo" / "data"


def main() -> None:
    """Replace the committed files, and say how large they are."""
    if DATA.exists():
        shutil.rmtree(DATA)
    written = generate(DATA)
    for path in written:
        print(f"{path.stat().st_size:>8,} {path.relative_to(DATA).as_posix()}")
    print(f"{sum(path.stat().st_size for path in written):>8,} in all")


if __name__ == "__main__":
    main()
