"""The demo's page: every number in its tables is what other decoders find in the committed files."""

from __future__ import annotations

import re
import struct
from collections.abc import Iterator
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import gpxpy
import numpy as np
from lxml import etree

import demo_reading as demo
from demo_reading import BAND, DAY, STRAP, TRIAL, Message
from vambrace.demo.plan import MAIN_VISIT, UTC_OFFSET_S

PAGE = Path(__file__).resolve().parents[2] / "docs" / "demo.md"
OBSERVER, RATES, OXYGEN = "observer/steps.csv", "ring-B/heart_rate.csv", "ring-B/oxygen.csv"
ROAD, WALK = "watch-C/to_the_workshop.tcx", "watch-C/walk.gpx"


def table(heading: str) -> list[list[str]]:
    """Return the cells of the first table below a heading, without its head."""
    lines = PAGE.read_text(encoding="utf-8").partition(f"## {heading}\n")[2].partition("\n## ")[0].splitlines()
    return [[cell.strip() for cell in line.strip("|").split("|")] for line in lines if line.startswith("|")][2:]


def test_table_of_files() -> None:
    found = [(name.strip("`"), int(size.replace(",", ""))) for name, size, _ in table("The files")]
    there = sorted(path for path in demo.DATA.rglob("*") if path.is_file())
    assert found == [(path.relative_to(demo.DATA).as_posix(), path.stat().st_size) for path in there]


def test_table_of_the_day() -> None:
    ends = [*(bout.start for bout in MAIN_VISIT.bouts[1:]), MAIN_VISIT.end]
    bouts = [(bout.start, end, bout.kind, bout.label) for bout, end in zip(MAIN_VISIT.bouts, ends, strict=True)]
    assert [tuple(row) for row in table("What happens")] == bouts
    session = f"The session lasts from {MAIN_VISIT.session_start} to {MAIN_VISIT.session_end}"
    assert session in PAGE.read_text(encoding="utf-8")


def test_table_of_findings() -> None:
    assert [tuple(row) for row in table("What a reader should find")] == [
        (f"`{name}`", what, value) for name, what, value in findings()
    ]


def findings() -> Iterator[tuple[str, str, str]]:
    yield from strap()
    yield from band()
    yield from day()
    yield from trial()
    yield from ring()
    yield from watch()
    yield from observer()


def of_kind(name: str, number: int) -> list[dict[int, Any]]:
    return [m.raw for m in demo.by_fitdecode(name) if m.number == number]


def wall(fit_seconds: int, ahead: int = 0) -> str:
    return (demo.instant(fit_seconds - ahead) + timedelta(seconds=UTC_OFFSET_S)).strftime("%H:%M:%S")


def stretches(times: list[int]) -> list[list[int]]:
    """Cut rising whole seconds where one or more are missing."""
    edges = np.flatnonzero(np.diff(times) > 1) + 1
    return [part.tolist() for part in np.split(np.array(times), edges)]


def listed(parts: list[list[int]], ahead: int = 0) -> str:
    return "; ".join(f"{len(part)} s from {wall(part[0], ahead)}" for part in parts)


def strap() -> Iterator[tuple[str, str, str]]:
    rates = demo.series(demo.by_fitdecode(STRAP), 20, 3)
    beats = np.array([rr for raw in of_kind(STRAP, 78) for rr in raw[0] if rr is not None])
    absent = stretches([time for time, rate in rates.items() if rate is None])
    middle = beats[1:-1]
    doubled = int(((middle > 1.6 * beats[:-2]) & (middle > 1.6 * beats[2:])).sum())
    yield STRAP, "records, one a second", f"{len(rates):,}"
    yield STRAP, "heart rates", f"{sum(rate is not None for rate in rates.values()):,}"
    yield STRAP, "RR intervals", f"{len(beats):,}"
    yield STRAP, "* seconds without a heart rate: before the first beat, and when the strap slipped", listed(absent)
    yield STRAP, "* RR intervals that hold a missed beat (dry electrodes in the first two minutes)", str(doubled)


def band() -> Iterator[tuple[str, str, str]]:
    rates = demo.series(demo.by_fitdecode(BAND), 20, 3)
    times = list(rates)
    (gap,) = [range(a + 1, b) for a, b in pairwise(times) if b - a > 1]
    absent = stretches([time for time, rate in rates.items() if rate is None])
    strap_start = next(iter(demo.series(demo.by_fitdecode(STRAP), 20, 3)))
    yield BAND, "records, one a second", f"{len(rates):,}"
    yield BAND, "heart rates", f"{sum(rate is not None for rate in rates.values()):,}"
    yield BAND, "laps", str(len(of_kind(BAND, 19)))
    ahead = times[0] - strap_start
    yield BAND, "* seconds by which its first record is later than the strap's: the clock is ahead", f"{ahead:,}"
    yield BAND, "* no records: the battery was out", listed([list(gap)], ahead)
    yield BAND, "* records without a heart rate: off the skin on the ladders", listed(absent, ahead)
    values = [rate or 0 for rate in rates.values()]
    locked = [time for time, rate in rates.items() if rate == longest_run(values)]
    stuck = max(stretches(locked), key=len)
    yield (
        BAND,
        "* one heart rate throughout: locked on to the steps",
        f"{rates[stuck[0]]} /min, {listed([stuck], ahead)}",
    )


def longest_run(values: list[int]) -> int:
    edges = np.flatnonzero(np.diff(values, prepend=-1, append=-1))
    return values[int(edges[np.argmax(np.diff(edges))])]


def day() -> Iterator[tuple[str, str, str]]:
    steps = [raw for raw in of_kind(DAY, 55) if 3 in raw]
    last = {kind_of(raw): raw[3] for raw in steps}
    oxygen = of_kind(DAY, 269)
    yield DAY, "step counter readings", str(len(steps))
    yield DAY, "last reading while walking", f"{last[6]:,}"
    yield DAY, "last reading while running", f"{last[1]:,}"
    yield DAY, "heart rates", str(sum(27 in raw for raw in of_kind(DAY, 55)))
    yield DAY, "monitoring messages with a 16-bit time", str(sum(26 in raw for raw in of_kind(DAY, 55)))
    yield DAY, "oxygen readings: periodic, spot checks", ", ".join(str(modes(oxygen, mode)) for mode in (3, 1))
    off = [raw for raw in oxygen if raw[2] == 0]
    yield DAY, "* oxygen readings off the wrist", ", ".join(f"{raw[0]} % at {wall(raw[253], 3600)}" for raw in off)
    yield DAY, "* header checksum (allowed)", str(struct.unpack("<H", demo.file_bytes(DAY)[12:14])[0])


def kind_of(raw: dict[int, Any]) -> int:
    packed = raw.get(24)
    return int(raw[5] if packed is None else packed[0] & 31)


def modes(oxygen: list[dict[int, Any]], mode: int) -> int:
    return sum(raw[2] == mode for raw in oxygen)


def trial() -> Iterator[tuple[str, str, str]]:
    data = demo.file_bytes(TRIAL)
    before: list[Message] = demo.before_the_break(data)
    yield TRIAL, "* bytes that its header announces", f"{struct.unpack('<I', data[4:8])[0] + 16:,}"
    yield TRIAL, "records before the break", str(sum(m.number == 20 for m in before))


def ring() -> Iterator[tuple[str, str, str]]:
    rates = [(row["time"], row["heart rate (Hz)"]) for row in demo.rows(RATES, ";")]
    oxygen = [(row["time"], row["oxygen saturation (fraction)"]) for row in demo.rows(OXYGEN, ";")]
    low = [(time, text) for time, text in rates if comma(text) * 60 < 20]
    yield RATES, "heart rates, in Hz", str(len(rates))
    yield RATES, "* a glitch", "; ".join(f"{text} Hz ({comma(text) * 60:g} /min) at {time[11:]}" for time, text in low)
    yield OXYGEN, "oxygen saturations, as a fraction", str(sum(bool(text) for _, text in oxygen))
    yield OXYGEN, "* an empty cell", "; ".join(time[11:] for time, text in oxygen if not text)
    high = [(time, text) for time, text in oxygen if text and comma(text) > 1]
    yield OXYGEN, "* more than can be", "; ".join(f"{comma(t) * 100:g} % at {time[11:]}" for time, t in high)
    naive = [datetime.fromisoformat(time).tzinfo is None for time, _ in rates + oxygen]
    yield OXYGEN, "* times without a zone, here and in the other file", f"{sum(naive):,} of {len(naive):,}"


def comma(text: str) -> float:
    assert re.fullmatch(r"\d,\d+", text)
    return float(text.replace(",", "."))


def watch() -> Iterator[tuple[str, str, str]]:
    root = etree.fromstring(demo.file_bytes(ROAD))
    points = list(root.iter("Trackpoint"))
    gone = [point.findtext("Time") for point in points if point.find("HeartRateBpm") is None]
    feet = [np.median([int(t.text or 0) for t in lap.iter("RunCadence")]) for lap in root.iter("Lap")]
    yield ROAD, "track points, laps", f"{len(points)}, {len(feet)}"
    yield ROAD, "distance at the end", f"{float(points[-1].findtext('DistanceMeters', '')):,} m"
    yield ROAD, "median cadence of each lap (of one foot)", ", ".join(f"{value:g} /min" for value in feet)
    yield ROAD, "* track points without a heart rate", f"{len(gone)} from {shifted(gone[0] or '')}"
    (track,) = gpxpy.parse(demo.file_bytes(WALK).decode()).tracks
    sizes = [len(segment.points) for segment in track.segments]
    yield WALK, "track points in each segment", ", ".join(map(str, sizes))
    last, first = track.segments[0].points[-1].time, track.segments[1].points[0].time
    assert last is not None
    assert first is not None
    yield WALK, "pause at the gate", f"{(first - last).total_seconds():g} s from {shifted(last.isoformat())}"
    tags = [e.tag for s in track.segments for p in s.points for e in p.extensions]
    yield (
        WALK,
        "namespace of its extensions (its own)",
        ", ".join(sorted({f"`{tag[1:].split('}')[0]}`" for tag in tags})),
    )


def shifted(text: str) -> str:
    return (datetime.fromisoformat(text) + timedelta(seconds=UTC_OFFSET_S)).strftime("%H:%M:%S")


def observer() -> Iterator[tuple[str, str, str]]:
    rows = demo.rows(OBSERVER, ",", "utf-8-sig")
    yield OBSERVER, "rows, one a minute", str(len(rows))
    yield OBSERVER, "last total", f"{int(rows[-1]['cumulative steps']):,}"
    minutes = f"{rows[0]['time'][11:16]} to {rows[-1]['time'][11:16]}"
    yield OBSERVER, "time counted", minutes
