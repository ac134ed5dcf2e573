"""Any tree of the two formats' words, in any place: every text is handed over or counted, however it is cut."""

from __future__ import annotations

import random
from collections.abc import Mapping, Sequence
from typing import Any

import pytest
from lxml import etree

from vambrace.plugin import Importer
from vambrace_plugins.importers.gpx import GpxImporter
from vambrace_plugins.importers.tcx import TcxImporter
from xml_reading import Read, read

Grammar = Mapping[str, Sequence[str]]

GPX: Grammar = {
    "gpx": ("metadata", "wpt", "rte", "trk", "trk"),
    "trk": ("name", "type", "trkseg", "trkseg"),
    "trkseg": ("trkpt", "trkpt", "trkpt"),
    "trkpt": ("ele", "time", "time", "speed", "extensions", "extensions"),
    "wpt": ("ele", "time", "name", "extensions"),
    "rte": ("rtept",),
    "rtept": ("time", "extensions"),
    "extensions": ("TrackPointExtension", "power", "heartrate", "extensions"),
    "TrackPointExtension": ("hr", "cad", "atemp", "speed", "depth"),
}
TCX: Grammar = {
    "TrainingCenterDatabase": ("Activities", "Activities", "Courses", "Author"),
    "Activities": ("Activity", "Activity", "MultiSportSession"),
    "MultiSportSession": ("FirstSport",),
    "FirstSport": ("Activity",),
    "Activity": ("Id", "Lap", "Lap", "Lap", "Creator", "Notes"),
    "Lap": ("TotalTimeSeconds", "Calories", "Track", "Track", "Track", "Extensions", "Intensity"),
    "Track": ("Trackpoint", "Trackpoint", "Trackpoint"),
    "Trackpoint": (
        "Time",
        "Time",
        "Position",
        "AltitudeMeters",
        "HeartRateBpm",
        "Cadence",
        "SensorState",
        "Extensions",
    ),
    "Position": ("LatitudeDegrees", "LongitudeDegrees"),
    "HeartRateBpm": ("Value",),
    "Extensions": ("TPX", "TPX", "LX", "Speed"),
    "TPX": ("Speed", "RunCadence", "RunCadence", "Watts"),
    "LX": ("Steps", "AvgSpeed"),
    "Creator": ("Name", "UnitId", "ProductID", "Version"),
    "Version": ("VersionMajor", "VersionMinor", "BuildMajor", "other"),
    "Courses": ("Course",),
    "Course": ("Track", "Name"),
}
ATTRIBUTES: Grammar = {
    "trkpt": ("lat", "lon", "other"),
    "wpt": ("lat", "lon"),
    "Activity": ("Sport", "other"),
    "Lap": ("StartTime", "StartTime", "other"),
    "TPX": ("CadenceSensor", "CadenceSensor", "other"),
}
TEXTS = ("0", "7", "x", "Running", "Absent")


def grown(name: str, grammar: Grammar, rng: random.Random, depth: int = 0) -> Any:
    """Return a random element: mostly what belongs there, now and then a word from anywhere."""
    element = etree.Element(name)
    for attribute in ATTRIBUTES.get(name, ()):
        if rng.random() < 0.5:
            element.set(attribute, rng.choice(TEXTS))
    everything = [word for words in grammar.values() for word in words]
    expected = grammar.get(name, ())
    if not expected and rng.random() < 0.9:
        element.text = rng.choice((None, *TEXTS))
    elif depth < 9:
        for _ in range(rng.randint(depth == 0, 4)):
            word = rng.choice(everything) if not expected or rng.random() < 0.06 else rng.choice(expected)
            element.append(grown(word, grammar, rng, depth + 1))
    return element


def all_texts(document: Any) -> int:
    """Count texts and attributes below the root: each may be handed over or counted once."""
    return sum(1 for text in document.xpath("//text()") if text.strip()) + len(document.xpath("/*/*//@*"))


def handed_over(found: Read) -> int:
    values = sum(value is not None for _, _, values in found.rows.values() for value in values.values())
    times = sum(time is not None for time in found.times)
    return values + times + sum(sum(about.not_carried.values()) for about in found.about.values())


def said_otherwise(found: Read) -> int:
    """Count what a TCX file's texts went into besides: words on devices, sensors and their states, laps, lengths."""
    abouts = found.about.values()
    words = sum((about.product is not None) + (about.serial is not None) for about in abouts)
    words += sum(len(about.firmware.split(".")) for about in abouts if about.firmware)
    words += sum(kind == "lap" and time is not None for _, kind, time, _ in found.events)
    for batch in found.batches:
        flags = [column.flags for column in batch.columns if column.flags is not None]
        words += sum(any(row) for row in zip(*flags, strict=True))
        for column in batch.columns:
            words += sum(value is not None for value in column.values) if column.sensor else 0
        # A lap without points: its length is a text, and its StartTime went into the event and into the row's time.
        words += batch.interval_s is not None and batch.time.values[0] is None
    return words


def same_in_pieces(importer: Importer, document: Any, found: Read, rows: int, piece: int) -> None:
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("vambrace_plugins.importers.pointcolumns.BATCH_ROWS", rows)
        assert read(importer, etree.tostring(document), piece).comparable == found.comparable


def checked(importer: Importer, document: Any, rng: random.Random) -> Read:
    """Hold one document to the law of this module, and return what was read of it."""
    data = etree.tostring(document)
    found = read(importer, data)
    assert found.error is None
    assert handed_over(found) + said_otherwise(found) == all_texts(document), data
    same_in_pieces(importer, document, found, rng.randint(1, 3), rng.choice((50, 999)))
    return found


@pytest.mark.parametrize(
    ("importer", "root", "grammar"), [(GpxImporter(), "gpx", GPX), (TcxImporter(), "TrainingCenterDatabase", TCX)]
)
def test_every_text_is_handed_over_or_counted(importer: Importer, root: str, grammar: Grammar) -> None:
    rng = random.Random(20310304)
    seen: dict[str, int] = {}
    for _ in range(250):
        found = checked(importer, grown(root, grammar, rng), rng)
        for what in features(found):
            seen[what] = seen.get(what, 0) + 1
    # The law says nothing about what never occurred: each of these must have, several times.
    wanted = {"heart_rate", "cadence", "altitude", "speed", "several recordings", "pause"}
    if importer.name == "tcx":
        wanted |= {"flag", "sensor", "lap alone", "firmware", "lap", "step_count", "energy_expended", "power"}
    assert {what: count for what in wanted if (count := seen.get(what, 0)) < 5} == {}


def features(found: Read) -> set[str]:
    """Say what occurred in a reading."""
    columns = [column for batch in found.batches for column in batch.columns]
    told = {
        "flag": any(column.flags for column in columns),
        "sensor": any(column.sensor for column in columns),
        "lap alone": any(batch.interval_s is not None for batch in found.batches),
        "firmware": any(about.firmware for about in found.about.values()),
        "several recordings": any(batch.recording > 1 for batch in found.batches),
    }
    return {what for what, so in told.items() if so} | set(found.columns) | {kind for _, kind, _, _ in found.events}
