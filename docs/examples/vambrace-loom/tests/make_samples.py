"""Writes the two samples; every value in them is invented."""

from __future__ import annotations

import json
import struct
from datetime import UTC, datetime
from pathlib import Path

FOLDER = Path(__file__).parent / "samples"
NO_PULSE, NO_SKIN = 255, -32768


def shuttle() -> bytes:
    """Return a Shuttle export: five records from 2031-03-04 09:00:00 UTC on."""
    start = datetime(2031, 3, 4, 9, tzinfo=UTC) - datetime(2000, 1, 1, tzinfo=UTC)
    records = [
        (0, 61, 97, 3312, 65530),
        (10, 62, 98, 3320, 65534),
        (25, 64, 97, NO_SKIN, 2),
        (30, NO_PULSE, 96, 3325, 4),
        (40, 65, 97, -150, 5),
    ]
    header = struct.pack("<4sBB6sII", b"SHTL", 1, 10, b"band-A", int(start.total_seconds()), len(records))
    return header + b"".join(struct.pack("<IBBhH", *record) for record in records)


def almanac() -> str:
    """Return an Almanac export of two days."""
    first = {
        "date": "2031-03-04",
        "minutes": 15,
        "steps": [{"from": "09:00", "counts": [120, 0, None, 310]}],
        "pulse": [{"at": "09:00:30", "bpm": 61}, {"at": "09:20:00", "bpm": None}, {"at": "09:40:00", "bpm": 92.5}],
        "moods": ["calm", "busy"],
    }
    second = {"date": "2031-03-04", "minutes": 15, "steps": [{"from": "23:00", "counts": [7]}], "pulse": []}
    device = {"name": "ring-B", "firmware": "1.4"}
    return json.dumps({"almanac": 2, "device": device, "days": [first, second]}, indent=1) + "\n"


if __name__ == "__main__":
    FOLDER.mkdir(exist_ok=True)
    (FOLDER / "morning.shut").write_bytes(shuttle())
    (FOLDER / "week.json").write_text(almanac(), encoding="utf-8", newline="\n")
