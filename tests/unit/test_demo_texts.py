"""The demo's GPX, TCX and CSV files, read by gpxpy, lxml and the standard library: every value, and every flaw."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from typing import Any

import gpxpy
import numpy as np
import pytest
from lxml import etree

import demo_reading as demo
from vambrace.demo import body, devices, generate
from vambrace.demo.plan import MAIN_VISIT, UTC_OFFSET_S

WALK, ROAD = "watch-C/walk.gpx", "watch-C/to_the_workshop.tcx"
RATES, OXYGEN, STEPS = "ring-B/heart_rate.csv", "ring-B/oxygen.csv", "observer/steps.csv"
FIT_UNIX = 631_065_600
RATE_COLUMN, OXYGEN_COLUMN = "heart rate (Hz)", "oxygen saturation (fraction)"


@pytest.fixture(scope="module")
def truth() -> body.Body:
    return body.live(MAIN_VISIT, generate._noise(MAIN_VISIT))


def unix(instant: datetime) -> int:
    return int(instant.timestamp())


def walk_points() -> list[list[Any]]:
    (track,) = gpxpy.parse(demo.file_bytes(WALK).decode()).tracks
    return [segment.points for segment in track.segments]


def extension(point: Any, name: str) -> int:
    (found,) = [e.text for e in point.extensions if etree.QName(e.tag).localname == name]
    return int(found)


def test_walk_values_are_those_written(truth: body.Body) -> None:
    watch = devices.watch_yard(truth, MAIN_VISIT, generate._noise(MAIN_VISIT))
    points = [point for segment in walk_points() for point in segment]
    assert [unix(p.time) for p in points] == watch.time.tolist()
    assert [p.latitude for p in points] == (watch.latitude / 1e7).tolist()
    assert [p.longitude for p in points] == (watch.longitude / 1e7).tolist()
    assert [p.elevation for p in points] == (watch.altitude_dm / 10).tolist()
    assert [extension(p, "hr") for p in points] == watch.heart_rate.tolist()
    assert [extension(p, "cad") for p in points] == watch.cadence.tolist()


def test_walk_pauses_at_the_gate() -> None:
    first, second = walk_points()
    assert (len(first), len(second)) == (121, 108)
    assert first[0].time == datetime(2031, 3, 4, 10, 5, tzinfo=UTC)
    assert second[0].time - first[-1].time == timedelta(seconds=60)
    assert second[0].time == datetime(2031, 3, 4, 10, 16, tzinfo=UTC)


def test_walk_cadence_counts_one_foot(truth: body.Body) -> None:
    cadences = [extension(p, "cad") for segment in walk_points() for p in segment]
    clock = MAIN_VISIT.span("paced walk")[0]
    assert np.median(cadences) == pytest.approx(np.median(truth.cut(truth.cadence, clock, clock + 600)) / 2, abs=1)


def test_walk_goes_round_the_yard() -> None:
    points = [p for segment in walk_points() for p in segment]
    middle = np.mean([p.latitude for p in points]), np.mean([p.longitude for p in points])
    # The yard measures 120 m by 70 m; the fixes stray by some metres, and half the diagonal is 69 m.
    assert max(p.distance_2d(gpxpy.gpx.GPXTrackPoint(*middle)) for p in points) < 85


@pytest.mark.parametrize("name", [WALK, ROAD])
def test_documents_have_no_doctype_and_no_foreign_namespace(name: str) -> None:
    root = etree.fromstring(demo.file_bytes(name))
    assert root.getroottree().docinfo.doctype == ""
    spaces = {etree.QName(e).namespace for e in root.iter()} - {None}
    assert spaces <= {"http://www.topografix.com/GPX/1/1", "urn:demo:watch-C:point"}


def road_laps() -> list[Any]:
    return etree.fromstring(demo.file_bytes(ROAD)).findall("Activities/Activity/Lap")


def road_points() -> list[Any]:
    return [point for lap in road_laps() for point in lap.iter("Trackpoint")]


def texts(path: str) -> list[str]:
    return [point.findtext(path, "0") for point in road_points()]


def test_road_values_are_those_written(truth: body.Body) -> None:
    watch = devices.watch_road(truth, MAIN_VISIT, generate._noise(MAIN_VISIT))
    assert [unix(datetime.fromisoformat(t)) for t in texts("Time")] == watch.time.tolist()
    assert [float(t) for t in texts("Position/LatitudeDegrees")] == (watch.latitude / 1e7).tolist()
    assert [float(t) for t in texts("Position/LongitudeDegrees")] == (watch.longitude / 1e7).tolist()
    assert [float(t) for t in texts("AltitudeMeters")] == (watch.altitude_dm / 10).tolist()
    assert [float(t) for t in texts("DistanceMeters")] == (watch.distance_dm / 10).tolist()
    assert [int(t) for t in texts("HeartRateBpm/Value")] == watch.heart_rate.tolist()
    assert [int(t) for t in texts("Extensions/TPX/RunCadence")] == watch.cadence.tolist()


def test_road_laps_are_walked_and_run() -> None:
    laps = road_laps()
    assert [len(lap.findall("Track/Trackpoint")) for lap in laps] == [252, 24]
    assert [lap.get("StartTime") for lap in laps] == ["2031-03-04T09:15:00Z", "2031-03-04T09:36:00Z"]
    medians = [np.median([int(t.text) for t in lap.iter("RunCadence")]) for lap in laps]
    assert 50 < medians[0] < 60 < 75 < medians[1] < 90  # of one foot: a walk of 110 and a run of 164 steps a minute
    covered = [
        float(lap.findall("Track/Trackpoint/DistanceMeters")[-1].text)
        - float(lap.findtext("Track/Trackpoint/DistanceMeters"))
        for lap in laps
    ]
    assert [float(lap.findtext("DistanceMeters")) for lap in laps] == pytest.approx(covered, abs=0.05)
    assert [lap.findtext("Calories") for lap in laps] == [str(int(metres * 60 // 1000)) for metres in covered]


def test_road_loses_the_heart_rate_for_forty_seconds() -> None:
    absent = [i for i, point in enumerate(road_points()) if point.find("HeartRateBpm") is None]
    assert absent == list(range(120, 128))
    assert texts("Time")[120] == "2031-03-04T09:25:00Z"


def test_road_ends_at_the_gate() -> None:
    latitude, longitude = float(texts("Position/LatitudeDegrees")[-1]), float(texts("Position/LongitudeDegrees")[-1])
    gate = gpxpy.gpx.GPXTrackPoint(37.25, -27.5)
    assert gate.distance_2d(gpxpy.gpx.GPXTrackPoint(latitude, longitude)) < 15


def test_distances_are_two_percent_too_long(truth: body.Body) -> None:
    first, last = MAIN_VISIT.span("to the workshop")[0], MAIN_VISIT.span("caught in the rain")[1] - 5
    walked = truth.path_m[last - truth.start] - truth.path_m[first - truth.start]
    assert float(texts("DistanceMeters")[-1]) / walked == pytest.approx(1.02, abs=0.0005)


def decimal_comma(text: str) -> float:
    """Read a decimal comma."""
    assert re.fullmatch(r"\d,\d{3,4}", text)
    return float(text.replace(",", "."))


def wall(text: str) -> int:
    """Read a naive wall clock as an instant."""
    naive = datetime.strptime(text, "%Y-%m-%d %H:%M:%S")
    return unix(naive.replace(tzinfo=UTC) - timedelta(seconds=UTC_OFFSET_S))


def test_ring_values_are_those_written(truth: body.Body) -> None:
    ring = devices.wear_ring(truth, MAIN_VISIT, generate._noise(MAIN_VISIT))
    rates, oxygen = demo.rows(RATES, ";"), demo.rows(OXYGEN, ";")
    assert [wall(row["time"]) for row in rates] == ring.rate_time.tolist()
    assert [round(decimal_comma(row[RATE_COLUMN]) * 1e4) for row in rates] == ring.rate_hz_e4.tolist()
    assert [wall(row["time"]) for row in oxygen] == ring.oxygen_time.tolist()
    found = [round(decimal_comma(row[OXYGEN_COLUMN]) * 1000) if row[OXYGEN_COLUMN] else 0 for row in oxygen]
    assert found == ring.oxygen_thousandths.tolist()


def test_ring_rates_are_in_hertz() -> None:
    rates = [decimal_comma(row[RATE_COLUMN]) for row in demo.rows(RATES, ";")]
    assert len(rates) == 840
    strap = [rate for rate in demo.series(demo.by_fitdecode(demo.STRAP), 20, 3).values() if rate]
    assert np.median(rates) * 60 == pytest.approx(np.median(strap), abs=2)


def test_ring_and_watch_are_late_by_some_seconds() -> None:
    ring = {wall(row["time"]) - FIT_UNIX: 60 * decimal_comma(row[RATE_COLUMN]) for row in demo.rows(RATES, ";")}
    watch = {unix(p.time) - FIT_UNIX: extension(p, "hr") for segment in walk_points() for p in segment}
    assert 5 < demo.lag_s(ring, range(-120, 121)) < 30
    assert 0 < demo.lag_s(watch, range(-120, 121)) < 20


def test_one_ring_rate_is_a_glitch() -> None:
    low = [row for row in demo.rows(RATES, ";") if decimal_comma(row[RATE_COLUMN]) < 0.75]
    assert low == [{"time": "2031-03-04 09:56:00", RATE_COLUMN: "0,3000"}]  # 18 a minute


def test_one_oxygen_is_absent_and_one_is_104_percent() -> None:
    rows = demo.rows(OXYGEN, ";")
    assert len(rows) == 140
    assert [row["time"] for row in rows if not row[OXYGEN_COLUMN]] == ["2031-03-04 09:41:00"]
    given = {row["time"]: decimal_comma(row[OXYGEN_COLUMN]) for row in rows if row[OXYGEN_COLUMN]}
    assert {time: value for time, value in given.items() if value > 1} == {"2031-03-04 09:43:30": 1.04}
    assert min(given.values()) >= 0.95


def test_tally_is_saved_as_a_spreadsheet_does() -> None:
    data = demo.file_bytes(STEPS)
    assert data.startswith(b"\xef\xbb\xbftime,")
    assert data.count(b"\r\n") == data.count(b"\n") == 34


def test_tally_counts_every_step(truth: body.Body) -> None:
    rows = demo.rows(STEPS, ",", "utf-8-sig")
    totals = [int(row["cumulative steps"]) for row in rows]
    times = [datetime.fromisoformat(row["time"]) for row in rows]
    assert [unix(time) for time in times] == devices.tally(truth, MAIN_VISIT).time.tolist()
    assert {time.utcoffset() for time in times} == {timedelta(seconds=UTC_OFFSET_S)}
    assert (totals[0], totals[-1], len(totals)) == (0, 2726, 33)
    assert totals == sorted(totals)
    assert [row["note"] for row in rows if row["note"]] == ["start"]
    first, last = MAIN_VISIT.span("paced walk")[0], MAIN_VISIT.span("carrying crates")[1]
    assert totals[-1] == int(truth.walked[last - truth.start] - truth.walked[first - truth.start])


def test_readme_is_no_table() -> None:
    text = demo.file_bytes("README.txt").decode()
    assert max(map(len, text.splitlines())) <= 80
    assert "invented" in text
