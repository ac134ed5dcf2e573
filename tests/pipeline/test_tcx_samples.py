"""Real TCX files that nobody here wrote, against a reading by hand: lxml, whole tree, XPath with the schema's names.

The outside reading shares nothing with the importer but the schema: it names elements in full, with their namespaces,
and walks the finished tree. Texts are compared as they stand, so every digit counts.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

import pytest
from lxml import etree

from vambrace.plugin import Claim, Head
from vambrace_plugins.importers.tcx import TcxImporter
from xml_reading import read

SAMPLES = os.environ.get("VAMBRACE_SAMPLES")
NAMES = ("heart-rate-three-laps", "no-heart-rate", "offset-times")
OF_POINTS = {
    "latitude": "t:Position/t:LatitudeDegrees",
    "longitude": "t:Position/t:LongitudeDegrees",
    "altitude": "t:AltitudeMeters",
    "distance": "t:DistanceMeters",
    "heart_rate": "t:HeartRateBpm/t:Value",
    "speed": "t:Extensions/x:TPX/x:Speed",
}
OF_LAPS = {"energy_expended": "t:Calories", "step_count": "t:Extensions/x:LX/x:Steps"}

pytestmark = pytest.mark.skipif(SAMPLES is None, reason="VAMBRACE_SAMPLES does not name the folder of real files")


def document(name: str) -> bytes:
    return (Path(SAMPLES or "") / "tcx" / f"{name}.tcx").read_bytes()


def namespaces(element: Any) -> dict[str, str]:
    """Return the schema's two namespaces, from the root's own: both stand under one address."""
    own = etree.QName(element.getroottree().getroot()).namespace or ""
    schema, slash, rest = own.partition("/TrainingCenterDatabase/")
    assert (slash, rest) == ("/TrainingCenterDatabase/", "v2")
    return {"t": own, "x": f"{schema}/ActivityExtension/v2"}


def texts(element: Any, path: str) -> str | None:
    found = element.xpath(f"{path}/text()", namespaces=namespaces(element))
    assert len(found) <= 1
    return found[0].strip() if found else None


def elements(name: str, path: str) -> list[Any]:
    root = etree.fromstring(document(name))
    return list(root.xpath(path, namespaces=namespaces(root)))


@pytest.mark.parametrize("name", NAMES)
def test_every_track_point_equals_the_reading_by_hand(name: str) -> None:
    ours = read(TcxImporter(), document(name))
    assert ours.error is None
    points = elements(name, "//t:Trackpoint")
    assert len(points) > 100
    assert list(ours.rows) == list(range(1, len(points) + 1))
    for (recording, time, values), point in zip(ours.rows.values(), points, strict=True):
        assert recording == 1
        assert time == texts(point, "t:Time")
        for signal, path in OF_POINTS.items():
            assert values.get(signal) == texts(point, path), signal


@pytest.mark.parametrize("name", NAMES)
def test_a_signal_has_a_column_exactly_where_the_file_has_it(name: str) -> None:
    ours = read(TcxImporter(), document(name))
    paths = {signal: f"//t:Trackpoint/{path}" for signal, path in OF_POINTS.items()}
    paths |= {signal: f"//t:Lap/{path}" for signal, path in OF_LAPS.items()}
    expected = {signal for signal, path in paths.items() if elements(name, path)}
    assert set(ours.columns) == expected


@pytest.mark.parametrize("name", NAMES)
def test_what_laps_count_stands_at_their_last_track_point(name: str) -> None:
    ours = read(TcxImporter(), document(name))
    record = 0
    for lap in elements(name, "//t:Lap"):
        record += int(lap.xpath("count(.//t:Trackpoint)", namespaces=namespaces(lap)))
        for signal, path in OF_LAPS.items():
            assert ours.rows[record][2].get(signal) == texts(lap, path)
    for signal, path in OF_LAPS.items():
        given = [value for value in ours.values(signal) if value is not None]
        assert len(given) == len(elements(name, f"//t:Lap/{path}"))
        assert all(each.counting == "increment" for each in ours.columns.get(signal, ()))


@pytest.mark.parametrize("name", NAMES)
def test_laps_are_events_at_their_start(name: str) -> None:
    starts = [lap.get("StartTime") for lap in elements(name, "//t:Lap")]
    ours = read(TcxImporter(), document(name))
    assert [(kind, time) for _, kind, time, _ in ours.events] == [("lap", start) for start in starts]


@pytest.mark.parametrize("name", NAMES)
def test_every_text_is_carried_counted_or_known(name: str) -> None:
    """The law behind 'not carried': no text of the file is passed over without a word."""
    ours = read(TcxImporter(), document(name))
    about = ours.about[1]
    everything = [text for text in etree.fromstring(document(name)).xpath("//text()") if text.strip()]
    everything += elements(name, "//@*[namespace-uri() != 'http://www.w3.org/2001/XMLSchema-instance']")
    carried = sum(value is not None for _, _, values in ours.rows.values() for value in values.values())
    times = sum(time is not None for time in ours.times)
    laps = len(ours.events)
    parts_of_version = 0 if about.firmware is None else len(about.firmware.split("."))
    of_device = (about.product is not None) + (about.serial is not None) + parts_of_version
    assert len(everything) == carried + times + laps + of_device + sum(about.not_carried.values())


@pytest.mark.parametrize("name", NAMES)
def test_what_the_file_says_of_its_device(name: str) -> None:
    about = read(TcxImporter(), document(name)).about[1]
    creator = elements(name, "//t:Creator")[0]
    assert about.product == texts(creator, "t:Name")
    serial = texts(creator, "t:UnitId")
    assert about.serial == (None if serial == "0" else serial)
    assert about.firmware == ".".join(creator.xpath("t:Version/*/text()", namespaces=namespaces(creator)))


@pytest.mark.parametrize("name", NAMES)
def test_small_pieces_and_batches_give_the_same(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = read(TcxImporter(), document(name)).comparable
    monkeypatch.setattr("vambrace_plugins.importers.pointcolumns.BATCH_ROWS", 13)
    assert read(TcxImporter(), document(name), piece=1021).comparable == whole


@pytest.mark.parametrize("name", NAMES)
def test_each_is_claimed_by_its_content(name: str) -> None:
    data = document(name)
    assert TcxImporter().recognise(Head("walk.bin", data[:4096], len(data))) == Claim.SIGNATURE
