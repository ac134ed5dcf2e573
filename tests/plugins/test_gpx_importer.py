"""What the GPX importer hands over: the file's own texts and units, nothing converted, nothing passed over."""

from __future__ import annotations

from pathlib import Path

import pytest

from vambrace.plugin import SIGNALS, Claim, Head, Importer
from vambrace_plugins.importers.gpx import GpxImporter
from xml_reading import Read, read

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures" / "gpx"
HEAD = '<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">'


def fixture(name: str) -> Read:
    result = read(GpxImporter(), (FIXTURES / f"{name}.gpx").read_bytes())
    assert result.error is None
    return result


def points(inside: str, head: str = HEAD) -> Read:
    result = read(GpxImporter(), f"{head}<trk><trkseg>{inside}</trkseg></trk></gpx>")
    assert result.error is None
    return result


def test_it_keeps_the_protocol() -> None:
    importer = GpxImporter()
    assert isinstance(importer, Importer)
    assert (importer.name, importer.version, importer.end_mark) == ("gpx", "1", True)
    assert importer.Options() == importer.Options()


@pytest.mark.parametrize(
    ("name", "data", "claim"),
    [
        ("walk.gpx", b'<?xml version="1.0"?><gpx version="1.1">', Claim.SIGNATURE),
        ("walk.bin", b"\xef\xbb\xbf<!-- a --><x:gpx xmlns:x='a'>", Claim.SIGNATURE),
        ("walk", "\ufeff<?xml version='1.0' encoding='UTF-16'?><gpx>".encode("utf-16-le"), Claim.SIGNATURE),
        ("walk.GPX", b"", Claim.NAME),
        ("walk.gpx", b"\x89PNG\r\n\x1a\n", Claim.NAME),
        ("walk.xml", b"<TrainingCenterDatabase>", Claim.NONE),
        ("walk.xml", b"<gpxx>", Claim.NONE),
        ("walk.xml", b"<html><gpx>", Claim.NONE),
        ("walk.zip", b"PK\x03\x04", Claim.NONE),
        ("walk.csv", b"time,hr\n", Claim.NONE),
        ("empty", b"", Claim.NONE),
        ("zeros", bytes(4096), Claim.NONE),
    ],
)
def test_it_claims_by_content_and_only_weakly_by_name(name: str, data: bytes, claim: Claim) -> None:
    assert GpxImporter().recognise(Head(name, data, len(data))) == claim


def test_tracks_with_points_are_recordings_and_records_run_on() -> None:
    found = fixture("tracks-and-segments")
    assert [recording for recording, _, _ in found.rows.values()] == [1, 1, 1, 1, 1, 2]
    assert list(found.rows) == [1, 2, 3, 4, 5, 6]


def test_texts_stand_as_in_the_file() -> None:
    found = fixture("tracks-and-segments")
    assert found.values("latitude") == [*(f"38.700000{digit}" for digit in "12345"), "-0"]
    assert found.values("longitude") == ["-27.2"] * 5 + ["1e1"]
    assert found.values("altitude") == ["12.50", "12.75", None, None, "13", "-3.0e0"]
    assert found.times == [
        "2031-03-04T09:00:00Z",
        "2031-03-04T09:00:01.5Z",
        "2031-03-04T09:00:02.1234567Z",
        "2031-03-04T10:00:09+01:00",
        None,
        "2031-03-04T09:30:00",
    ]


def test_a_pause_stands_between_segments_and_none_between_tracks() -> None:
    assert fixture("tracks-and-segments").events == [
        (1, "pause", "2031-03-04T09:00:02.1234567Z", "track segment 1 ends"),
        (1, "resume", "2031-03-04T10:00:09+01:00", "track segment 3 begins"),
    ]


def test_what_is_not_carried_is_counted_once() -> None:
    found = fixture("tracks-and-segments")
    assert dict(found.about[1].not_carried) == {
        "metadata/time": 1,
        "wpt@lat": 1,
        "wpt@lon": 1,
        "wpt/name": 1,
        "trk/name": 2,
    }
    assert dict(found.about[2].not_carried) == {"trk/name": 1}


def test_the_creator_is_the_product_and_a_whole_file_is_complete() -> None:
    found = fixture("tracks-and-segments")
    assert [(about.product, about.complete) for about in found.about.values()] == [("band-A", True)] * 2


def test_extensions_are_read_by_local_name_at_any_depth() -> None:
    found = fixture("extensions")
    track = [values for recording, _, values in found.rows.values() if recording == 1]
    assert [values["heart_rate"] for values in track] == ["101", "102", "103", "104", "105"]
    assert [values["cadence"] for values in track] == ["61", None, "63", None, None]
    assert [values["ambient_temperature"] for values in track] == ["17.5", None, None, None, None]
    assert [values.get("power") for values in track] == [None, "187", None, None, None]
    assert [values.get("speed") for values in track] == [None, None, "2.25", None, None]


def test_of_two_values_in_one_point_the_second_is_counted() -> None:
    not_carried = fixture("extensions").about[1].not_carried
    assert not_carried["trkpt/extensions/heartrate"] == 1
    assert not_carried["trkpt/extensions/TrackPointExtension/depth"] == 1
    assert not_carried["trkpt/extensions/TrackPointExtension/course"] == 1


def test_a_way_point_with_a_heart_rate_was_measured_and_one_without_is_a_place() -> None:
    found = fixture("extensions")
    measured = {record: row for record, row in found.rows.items() if row[0] == 2}
    values = {"latitude": "38.71", "longitude": "-27.21", "heart_rate": "71"}
    assert measured == {1: (2, "2031-03-04T08:59:00Z", values)}
    assert "recording of their own" in found.about[2].conversions[0]
    assert found.about[1].not_carried["wpt/name"] == 1


def test_way_points_beyond_the_limit_are_counted_and_said(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("vambrace_plugins.importers.pointcolumns.BATCH_ROWS", 2)
    monkeypatch.setattr("vambrace_plugins.importers.gpx._MOST_BATCHES_BACK", 2)
    one = '<wpt lat="1" lon="2"><extensions><hr>60</hr></extensions></wpt>'
    found = read(GpxImporter(), HEAD + one * 7 + "</gpx>")
    assert found.values("heart_rate") == ["60"] * 4
    assert found.about[1].not_carried["wpt/extensions/hr"] == 3
    assert [count for (rule, _, _), count in found.notes.items() if rule == "way-points"] == [3]


def test_odd_namespaces_are_said_once() -> None:
    notes = fixture("extensions").notes
    warned = [message for (rule, severity, message) in notes if (rule, severity) == ("namespace", "warning")]
    assert len(warned) == 1
    assert "example.org/xmlschemes" in warned[0]
    assert not any("<hr>" in message for _, _, message in notes)


def test_cadence_says_what_it_counts_only_where_the_track_says_cycling() -> None:
    column = fixture("extensions").columns["cadence"][0]
    assert (column.unit, column.counts) == ("/min", "revolutions")
    cadence = "<trkpt lat='1' lon='2'><extensions><cad>80</cad></extensions></trkpt>"
    found = points(cadence)
    assert (found.columns["cadence"][0].unit, found.columns["cadence"][0].counts) == ("/min", "unknown")
    assert "does not say" in found.about[1].conversions[0]
    assert "cycling" in fixture("extensions").about[1].conversions[0]


def test_speed_and_course_of_version_1_0() -> None:
    found = fixture("version-1.0")
    assert found.values("speed") == ["1.25", "1.50"]
    assert found.columns["speed"][0].unit == "m/s"
    assert dict(found.about[1].not_carried) == {"trkpt/course": 1}
    assert found.notes == {}


def test_a_speed_that_version_1_1_does_not_know_is_not_carried() -> None:
    found = points("<trkpt lat='1' lon='2'><speed>3</speed></trkpt>")
    assert "speed" not in found.columns
    assert dict(found.about[1].not_carried) == {"trkpt/speed": 1}


@pytest.mark.parametrize(
    ("head", "words"),
    [
        ('<gpx version="1.1">', "in no namespace"),
        ('<gpx version="1.1" xmlns="urn:odd">', "urn:odd"),
        ('<gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">', ""),
        ('<gpx version="1.0" xmlns="http://www.topografix.com/GPX/1/0">', ""),
    ],
)
def test_a_missing_or_odd_namespace_is_read_and_noted(head: str, words: str) -> None:
    found = points("<trkpt lat='1.5' lon='2.5'/>", head)
    assert found.values("latitude") == ["1.5"]
    notes = [message for _, _, message in found.notes]
    assert len(notes) == bool(words)
    assert all(words in note for note in notes)


def test_prefixed_elements_are_read() -> None:
    document = (
        '<g:gpx xmlns:g="http://www.topografix.com/GPX/1/1" version="1.1"><g:trk><g:trkseg>'
        '<g:trkpt lat="1" lon="2"><g:ele>3</g:ele></g:trkpt></g:trkseg></g:trk></g:gpx>'
    )
    found = read(GpxImporter(), document)
    assert found.rows == {1: (1, None, {"latitude": "1", "longitude": "2", "altitude": "3"})}


def test_empty_elements_are_absent_and_half_a_fix_stays_half() -> None:
    found = points("<trkpt lat='1' lon='2'><ele/><time/></trkpt><trkpt lat=''><ele>  </ele></trkpt><trkpt/>")
    assert found.values("latitude") == ["1", None, None]
    assert found.values("longitude") == ["2", None, None]
    assert found.values("altitude") == [None, None, None]
    assert found.times == [None, None, None]


def test_white_space_comments_and_cdata_do_not_change_a_value() -> None:
    found = points("<trkpt lat=' 1 ' lon='2'><ele>\n 3<!-- x -->.5 </ele><time><![CDATA[2031-03-04]]></time></trkpt>")
    assert found.rows == {1: (1, "2031-03-04", {"latitude": "1", "longitude": "2", "altitude": "3.5"})}


@pytest.mark.parametrize(
    "document", [f"{HEAD}</gpx>", f"{HEAD}<trk/></gpx>", "<gpx/>", f"{HEAD}<rte><rtept/></rte></gpx>"]
)
def test_a_document_without_points_gives_nothing_and_no_error(document: str) -> None:
    found = read(GpxImporter(), document)
    assert (found.rows, found.events, found.error) == ({}, [], None)


def test_routes_are_plans_and_are_counted() -> None:
    found = read(
        GpxImporter(), f"{HEAD}<rte><rtept lat='1' lon='2'><extensions><hr>70</hr></extensions></rtept></rte></gpx>"
    )
    assert found.rows == {}
    assert dict(found.about[1].not_carried) == {"rte/rtept@lat": 1, "rte/rtept@lon": 1, "rte/rtept/extensions/hr": 1}


def test_a_track_point_out_of_place_is_counted() -> None:
    found = read(GpxImporter(), f"{HEAD}<trkpt lat='1' lon='2'/></gpx>")
    assert found.rows == {}
    assert dict(found.about[1].not_carried) == {"trkpt@lat": 1, "trkpt@lon": 1}


def test_a_segment_out_of_place_is_counted() -> None:
    found = read(GpxImporter(), f"{HEAD}<trkseg odd='7'/><trk/></gpx>")
    assert dict(found.about[1].not_carried) == {"trkseg@odd": 1}


def test_every_unit_is_one_that_its_signal_takes() -> None:
    takes = {name: {signal.unit, signal.shown_unit, *signal.accepts} for name, signal in SIGNALS.items()}
    for name in ("extensions", "version-1.0", "tracks-and-segments"):
        for signal, columns in fixture(name).columns.items():
            assert {column.unit for column in columns} <= takes[signal], signal
