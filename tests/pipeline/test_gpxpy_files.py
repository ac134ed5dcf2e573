"""Thirty GPX files that nobody here wrote: every track point equals gpxpy's reading to the last digit.

gpxpy is the outside reading (Apache-2.0); its own parser turns texts to floats and times to datetimes, so both sides
are compared as `float(text)` and as `datetime`, and nothing is rounded.
"""

from __future__ import annotations

import io
from datetime import datetime
from typing import Any

import gpxpy
import pytest
from lxml import etree

import gpxpy_files
from vambrace.plugin import Claim, Head
from vambrace_plugins.importers.gpx import GpxImporter
from xml_reading import Read, read

# The files without a single measured point, found by hand: a reading of nothing cannot pass for an equal one.
EMPTY = frozenset(
    {
        "custom_schema_locations",
        "default_schema_locations",
        "gpx1.1_with_extensions",
        "gpx1.1_with_extensions_without_namespaces",
        "route",
        "unicode",
        "unicode2",
        "unicode_with_bom",
        "unicode_with_bom_noencoding",
    }
)


@pytest.fixture(scope="module")
def documents() -> dict[str, bytes]:
    found = gpxpy_files.files()
    if isinstance(found, str):
        pytest.skip(found)
    return found


@pytest.fixture(params=range(gpxpy_files.COUNT))
def name(request: pytest.FixtureRequest, documents: dict[str, bytes]) -> str:
    """Return one file's name after the other, by position."""
    return sorted(documents)[request.param]


def test_the_thirty_files_are_there(documents: dict[str, bytes]) -> None:
    assert len(documents) == gpxpy_files.COUNT
    assert set(documents) >= EMPTY


def theirs(document: bytes) -> list[tuple[int, Any]]:
    """Return gpxpy's points with the ordinal of their recording.

    Tracks without points are no recordings. A way point is a place on a map, unless it bears a heart rate: then it
    was measured, and all such way points are one more recording, after the tracks.
    """
    parsed = gpxpy.parse(io.BytesIO(document))
    points: list[tuple[int, Any]] = []
    ordinal = 0
    for track in parsed.tracks:
        own = [point for segment in track.segments for point in segment.points]
        ordinal += bool(own)
        points += [(ordinal, point) for point in own]
    return points + [(ordinal + 1, point) for point in parsed.waypoints if heart_rate(point) is not None]


def number(text: str | None) -> float | None:
    return None if text is None else float(text)


def heart_rate(point: Any) -> float | None:
    for extension in point.extensions:
        for element in extension.iter():
            if element.tag.rpartition("}")[2] == "hr":
                return float(element.text)
    return None


def instant(text: str | None) -> datetime | None:
    return None if text is None else datetime.fromisoformat(text)


def test_every_track_point_equals_gpxpy(documents: dict[str, bytes], name: str) -> None:
    document = documents[name]
    ours = read(GpxImporter(), document)
    assert ours.error is None
    points = theirs(document)
    assert list(ours.rows) == list(range(1, len(points) + 1))
    assert bool(points) is (name not in EMPTY)
    for (recording, time, values), (track, point) in zip(ours.rows.values(), points, strict=True):
        assert recording == track
        assert number(values["latitude"]) == point.latitude
        assert number(values["longitude"]) == point.longitude
        assert number(values.get("altitude")) == point.elevation
        assert instant(time) == point.time
        assert number(values.get("heart_rate")) == heart_rate(point)
        assert number(values.get("speed")) == getattr(point, "speed", None)
    check_rest(ours, points)


def check_rest(ours: Read, points: list[tuple[int, Any]]) -> None:
    """Hold the columns against what gpxpy found anywhere: a signal has a column exactly where the file has it."""
    expected = {
        "altitude": any(point.elevation is not None for _, point in points),
        "heart_rate": any(heart_rate(point) is not None for _, point in points),
        "speed": any(getattr(point, "speed", None) is not None for _, point in points),
    }
    for signal, there in expected.items():
        assert (signal in ours.columns) is there, signal


def test_each_is_claimed_by_its_content(documents: dict[str, bytes], name: str) -> None:
    data = documents[name]
    assert GpxImporter().recognise(Head("walk.bin", data[:4096], len(data))) == Claim.SIGNATURE


def test_pauses_stand_between_segments(documents: dict[str, bytes], name: str) -> None:
    expected = 0
    for track in gpxpy.parse(io.BytesIO(documents[name])).tracks:
        filled = [segment for segment in track.segments if segment.points]
        expected += max(0, len(filled) - 1)
    events = read(GpxImporter(), documents[name]).events
    assert [kind for _, kind, _, _ in events] == ["pause", "resume"] * expected


def test_small_pieces_give_the_same(documents: dict[str, bytes], name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = read(GpxImporter(), documents[name]).comparable
    monkeypatch.setattr("vambrace_plugins.importers.pointcolumns.BATCH_ROWS", 7)
    assert read(GpxImporter(), documents[name], piece=4099).comparable == whole


def test_every_text_is_handed_over_or_counted(documents: dict[str, bytes], name: str) -> None:
    """Hold the count of what was handed over against that of all texts and attributes below the root, by lxml."""
    found = read(GpxImporter(), documents[name])
    document = etree.fromstring(documents[name], etree.XMLParser(remove_comments=True))
    there = sum(1 for text in document.xpath("//text()") if text.strip()) + len(document.xpath("/*/*//@*"))
    handed = sum(value is not None for _, _, values in found.rows.values() for value in values.values())
    handed += sum(time is not None for time in found.times)
    assert handed + sum(sum(about.not_carried.values()) for about in found.about.values()) == there
