"""Documents that gpxpy writes, an encoder that owes nothing to this project, equal gpxpy's own reading of them."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from typing import Any
from xml.etree import ElementTree

import gpxpy
import gpxpy.gpx
import hypothesis.strategies as st
import pytest
from hypothesis import HealthCheck, given, settings

from vambrace_plugins.importers.gpx import GpxImporter
from xml_reading import read

SLOW = settings(
    max_examples=40, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
EXTENSION = "http://example.org/xmlschemas/TrackPointExtension/v1"
BATCH_ROWS = "vambrace_plugins.importers.pointcolumns.BATCH_ROWS"

words = st.text(st.characters(codec="utf-8", exclude_categories=("Cc", "Cs", "Cn")), max_size=20)
finite = st.floats(allow_nan=False, allow_infinity=False)
zones = st.sampled_from([None, UTC, timezone(timedelta(hours=5, minutes=45)), timezone(timedelta(hours=-3))])
times = st.none() | st.datetimes(datetime(1990, 1, 1), datetime(2099, 12, 31), timezones=zones)


@st.composite
def track_points(draw: st.DrawFn) -> gpxpy.gpx.GPXTrackPoint:
    point = gpxpy.gpx.GPXTrackPoint(
        latitude=draw(st.floats(-90, 90)),
        longitude=draw(st.floats(-180, 180)),
        elevation=draw(st.none() | finite),
        time=draw(times),
        comment=draw(st.none() | words),
    )
    rate = draw(st.none() | st.integers(0, 300))
    if rate is not None:
        outer = ElementTree.Element(f"{{{EXTENSION}}}TrackPointExtension")
        ElementTree.SubElement(outer, f"{{{EXTENSION}}}hr").text = str(rate)
        point.extensions.append(outer)
    return point


@st.composite
def documents(draw: st.DrawFn) -> gpxpy.gpx.GPX:
    document = gpxpy.gpx.GPX()
    document.nsmap["t"] = EXTENSION
    # gpxpy does not escape the creator.
    document.creator = draw(st.sampled_from(["band-A", "loom é", ""]))
    for points in draw(st.lists(st.lists(st.lists(track_points(), max_size=4), max_size=3), max_size=3)):
        track = gpxpy.gpx.GPXTrack(name=draw(st.none() | words))
        track.segments = [gpxpy.gpx.GPXTrackSegment(segment) for segment in points]
        document.tracks.append(track)
    document.waypoints = [gpxpy.gpx.GPXWaypoint(1.0, 2.0) for _ in range(draw(st.integers(0, 2)))]
    return document


def number(text: str | None) -> float | None:
    return None if text is None else float(text)


def rate_of(point: Any) -> float | None:
    return number(point.extensions[0][0].text) if point.extensions else None


@SLOW
@given(
    document=documents(),
    version=st.sampled_from(["1.0", "1.1"]),
    encoding=st.sampled_from(["utf-8", "utf-8-sig", "utf-16"]),
    rows=st.integers(1, 5),
    piece=st.sampled_from([0, 1, 100]),
)
def test_what_gpxpy_writes_is_handed_over(
    document: gpxpy.gpx.GPX, version: str, encoding: str, rows: int, piece: int
) -> None:
    text = document.to_xml(version=version)
    # Very small and very large numbers lose digits on gpxpy's way out, so its reading is the measure, not its input.
    back = gpxpy.parse(text)
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(BATCH_ROWS, rows)
        found = read(GpxImporter(), text.encode(encoding), piece)
    assert found.error is None
    tracks = [track for track in back.tracks if any(segment.points for segment in track.segments)]
    points = [
        (ordinal, point)
        for ordinal, track in enumerate(tracks, start=1)
        for segment in track.segments
        for point in segment.points
    ]
    assert list(found.rows) == list(range(1, len(points) + 1))
    for (recording, time, values), (ordinal, point) in zip(found.rows.values(), points, strict=True):
        assert recording == ordinal
        assert (number(values["latitude"]), number(values["longitude"])) == (point.latitude, point.longitude)
        assert number(values.get("altitude")) == point.elevation
        assert (None if time is None else datetime.fromisoformat(time)) == point.time
        assert number(values.get("heart_rate")) == rate_of(point)
    put_in = [point for track in document.tracks for segment in track.segments for point in segment.points]
    assert len(points) == len(put_in)
    # Version 1.0 has no extensions, so gpxpy does not write them there.
    assert [rate_of(point) for _, point in points] == [rate_of(each) if version == "1.1" else None for each in put_in]


@SLOW
@given(document=documents(), data=st.data())
def test_any_cut_is_damage_and_any_flipped_byte_an_error_of_ours_or_a_reading(
    document: gpxpy.gpx.GPX, data: st.DataObject
) -> None:
    written = document.to_xml(version="1.1").rstrip().encode()
    cut = data.draw(st.integers(0, len(written) - 1))
    whole = read(GpxImporter(), written)
    part = read(GpxImporter(), written[:cut])
    assert part.error is not None
    assert len(part.rows) <= len(whole.rows)
    flipped = bytearray(written)
    flipped[cut] = data.draw(st.integers(0, 255))
    read(GpxImporter(), bytes(flipped))
