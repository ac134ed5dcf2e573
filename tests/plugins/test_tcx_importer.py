"""What the TCX importer hands over: the file's own texts and units, nothing converted, nothing passed over."""

from __future__ import annotations

from pathlib import Path

import pytest

from vambrace.plugin import SIGNALS, Claim, Head, Importer
from vambrace_plugins.importers.tcx import TcxImporter
from xml_reading import Read, read

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures" / "tcx"
SCHEMA = "http://example.org/xmlschemas"
HEAD = f'<TrainingCenterDatabase xmlns="{SCHEMA}/TrainingCenterDatabase/v2">'
TAIL = "</TrainingCenterDatabase>"


@pytest.fixture(scope="module")
def found() -> Read:
    result = read(TcxImporter(), (FIXTURES / "laps-and-pauses.tcx").read_bytes())
    assert result.error is None
    return result


def activity(inside: str, sport: str = "Running", head: str = HEAD) -> Read:
    document = f'{head}<Activities><Activity Sport="{sport}">{inside}</Activity></Activities>{TAIL}'
    result = read(TcxImporter(), document)
    assert result.error is None
    return result


def lap(inside: str, start: str = "2031-03-04T09:00:00Z") -> str:
    return f'<Lap StartTime="{start}">{inside}</Lap>'


def track(inside: str) -> str:
    return f"<Track><Trackpoint>{inside}</Trackpoint></Track>"


def test_it_keeps_the_protocol() -> None:
    importer = TcxImporter()
    assert isinstance(importer, Importer)
    assert (importer.name, importer.version, importer.end_mark) == ("tcx", "1", True)
    assert importer.Options() == importer.Options()


@pytest.mark.parametrize(
    ("name", "data", "claim"),
    [
        ("walk.tcx", HEAD.encode(), Claim.SIGNATURE),
        ("walk.bin", b"\xef\xbb\xbf" + HEAD.encode(), Claim.SIGNATURE),
        ("walk", HEAD.encode("utf-16-be"), Claim.SIGNATURE),
        ("walk.bin", b"\n   <?xml version='1.0'?>" + HEAD.encode(), Claim.SIGNATURE),
        ("walk.TCX", b"", Claim.NAME),
        ("walk.xml", b"<gpx>", Claim.NONE),
        ("walk.xml", b"<TrainingCenterDatabases>", Claim.NONE),
        ("zeros", bytes(4096), Claim.NONE),
    ],
)
def test_it_claims_by_content_and_only_weakly_by_name(name: str, data: bytes, claim: Claim) -> None:
    assert TcxImporter().recognise(Head(name, data, len(data))) == claim


def test_activities_are_recordings_and_records_run_on(found: Read) -> None:
    assert list(found.rows) == [1, 2, 3, 4, 5, 6, 7, 8]
    assert [recording for recording, _, _ in found.rows.values()] == [1] * 6 + [2, 2]


def test_texts_stand_as_in_the_file(found: Read) -> None:
    assert found.rows[1][2] == {
        "latitude": "38.7000001",
        "longitude": "-27.20",
        "altitude": "12.50",
        "distance": "0",
        "heart_rate": "100",
        "cadence": "82",
        "speed": "2.125",
        "power": "187",
    }
    assert found.values("heart_rate") == ["100", "102", None, None, None]
    assert found.values("distance") == ["0", "2.5", "20", "40.5", "43"]
    assert found.times == [
        "2031-03-04T09:00:00Z",
        "2031-03-04T09:00:01.5Z",
        "2031-03-04T09:00:11.1234567Z",
        "2031-03-04T10:00:20+01:00",
        "2031-03-04T09:00:20Z",
        "2031-03-04T09:00:40Z",
        "2031-03-04T11:00:00",
        None,
    ]


def test_run_cadence_wins_over_cadence_and_names_its_sensor(found: Read) -> None:
    column = found.columns["cadence"][0]
    assert (column.unit, column.counts, column.sensor) == ("{strides}/min", "steps", "Footpod")
    assert found.about[1].not_carried["Trackpoint/Cadence"] == 1
    assert any("one foot" in sentence for sentence in found.about[1].conversions)


@pytest.mark.parametrize(
    ("sport", "unit", "counts", "said"),
    [
        ("Running", "{strides}/min", "steps", "one foot"),
        ("Biking", "/min", "revolutions", ""),
        ("Other", "/min", "unknown", "does not say"),
    ],
)
def test_what_cadence_counts_follows_the_sport(sport: str, unit: str, counts: str, said: str) -> None:
    result = activity(lap(track("<Cadence>80</Cadence>")), sport)
    column = result.columns["cadence"][0]
    assert (column.values, column.unit, column.counts) == (["80"], unit, counts)
    assert [said in sentence for sentence in result.about[1].conversions] == ([True] if said else [])


def test_the_sensor_state_is_a_flag_of_what_sensors_give(found: Read) -> None:
    flags = [flag for column in found.columns["heart_rate"] for flag in column.flags or ()]
    assert flags == ["sensor_state=Present", "sensor_state=Absent", None]
    assert all(column.flags is None for column in found.columns["latitude"])


def test_laps_and_pauses_are_events(found: Read) -> None:
    assert found.events == [
        (1, "lap", "2031-03-04T09:00:00Z", "lap 1"),
        (1, "pause", "2031-03-04T09:00:01.5Z", "track 1 of lap 1 ends"),
        (1, "resume", "2031-03-04T09:00:11.1234567Z", "track 2 of lap 1 begins"),
        (1, "lap", "2031-03-04T09:00:20Z", "lap 2"),
        (1, "lap", "2031-03-04T09:00:40Z", "lap 3"),
        (2, "lap", "2031-03-04T11:00:00Z", "lap 1"),
    ]


def test_what_laps_count_stands_at_their_ends(found: Read) -> None:
    assert {
        record: values["step_count"] for record, (_, _, values) in found.rows.items() if "step_count" in values
    } == {
        4: "48",
        5: "7",
    }
    energy = {record: row[2]["energy_expended"] for record, row in found.rows.items() if "energy_expended" in row[2]}
    assert energy == {4: "3", 5: "2", 6: "1"}
    for signal in ("step_count", "energy_expended"):
        assert {(each.counting, each.statistic) for each in found.columns[signal]} == {("increment", "total")}


def test_a_lap_without_track_points_covers_its_own_time(found: Read) -> None:
    (alone,) = [batch for batch in found.batches if batch.interval_s is not None]
    assert (alone.record.tolist(), alone.time.values, alone.stamp) == ([5], ["2031-03-04T09:00:20Z"], "start")
    assert alone.interval_s == 12.5


@pytest.mark.parametrize("seconds", [None, "", "-1", "nan", "1e99", "five"])
def test_a_lap_without_points_and_without_length_has_no_time(seconds: str | None) -> None:
    length = "" if seconds is None else f"<TotalTimeSeconds>{seconds}</TotalTimeSeconds>"
    result = activity(lap(f"{length}<Calories>9</Calories>"))
    assert result.rows == {1: (1, None, {"energy_expended": "9"})}
    assert result.batches[0].interval_s is None


def test_what_is_not_carried_is_counted_once(found: Read) -> None:
    assert dict(found.about[1].not_carried) == {
        "Id": 1,
        "Lap/DistanceMeters": 3,
        "Lap/AverageHeartRateBpm/Value": 1,
        "Lap/Intensity": 3,
        "Lap/TriggerMethod": 3,
        "Lap/TotalTimeSeconds": 2,
        "Lap/Extensions/LX/AvgSpeed": 1,
        "Trackpoint/Cadence": 1,
        "Activity@Sport": 1,
        "Creator/ProductID": 1,
        "Courses/Course/Name": 1,
        "Courses/Course/Track/Trackpoint/Time": 1,
        "Courses/Course/Track/Trackpoint/HeartRateBpm/Value": 1,
        "Author/Name": 1,
    }


def test_what_the_file_says_of_its_devices(found: Read) -> None:
    first, second = found.about[1], found.about[2]
    assert (first.product, first.serial, first.firmware, first.complete) == ("band-A", "391", "5.10.0.2", True)
    assert (second.product, second.serial, second.firmware, second.complete) == ("18", None, None, True)
    assert second.not_carried["Creator/UnitId"] == 1


def test_the_activity_id_is_never_taken_for_a_time() -> None:
    result = activity(
        "<Id>2031-03-04T00:00:00Z</Id>" + lap(track("<HeartRateBpm><Value>60</Value></HeartRateBpm>"), "")
    )
    assert result.times == [None]
    assert result.events == [(1, "lap", None, "lap 1")]


@pytest.mark.parametrize(
    ("head", "words"),
    [
        ("<TrainingCenterDatabase>", "in no namespace"),
        ('<TrainingCenterDatabase xmlns="urn:odd">', "urn:odd"),
        (f'<TrainingCenterDatabase xmlns="{SCHEMA}/TrainingCenterDatabase/v1">', "/v1"),
        (HEAD, ""),
    ],
)
def test_a_missing_or_odd_namespace_is_read_and_noted(head: str, words: str) -> None:
    result = activity(lap(track("<AltitudeMeters>5</AltitudeMeters>")), head=head)
    assert result.values("altitude") == ["5"]
    notes = [message for _, _, message in result.notes]
    assert len(notes) == bool(words)
    assert all(words in note for note in notes)


@pytest.mark.parametrize("prefix", ["", "ns3:", "odd:"])
def test_extensions_are_read_by_local_name(prefix: str) -> None:
    declared = f'xmlns{":" if prefix else ""}{prefix.rstrip(":")}="{SCHEMA}/ActivityExtension/v2"'
    inside = f"<{prefix}Speed>1.5</{prefix}Speed><{prefix}Watts>9</{prefix}Watts>"
    result = activity(lap(track(f"<Extensions><{prefix}TPX {declared}>{inside}</{prefix}TPX></Extensions>")))
    assert (result.values("speed"), result.values("power"), result.notes) == (["1.5"], ["9"], {})


def test_activities_of_a_multi_sport_session_are_recordings() -> None:
    one = f'<Activity Sport="Other">{lap(track("<AltitudeMeters>5</AltitudeMeters>"))}</Activity>'
    session = f"<MultiSportSession><FirstSport>{one}</FirstSport><NextSport>{one}</NextSport></MultiSportSession>"
    result = read(TcxImporter(), f"{HEAD}<Activities>{session}</Activities>{TAIL}")
    assert [recording for recording, _, _ in result.rows.values()] == [1, 2]


@pytest.mark.parametrize(
    "inside",
    ["", "<Activities/>", '<Activities><Activity Sport="Other"/></Activities>', "<Courses><Course/></Courses>"],
)
def test_a_document_without_points_gives_nothing_and_no_error(inside: str) -> None:
    result = read(TcxImporter(), HEAD + inside + TAIL)
    assert (result.rows, result.events, result.error) == ({}, [], None)


def test_an_activity_that_is_planned_is_counted_and_not_read() -> None:
    planned = (
        f'<Workouts><Activity Sport="Other">{lap(track("<AltitudeMeters>5</AltitudeMeters>"))}</Activity></Workouts>'
    )
    result = read(TcxImporter(), f"{HEAD}{planned}{TAIL}")
    assert result.rows == {}
    assert result.about[1].not_carried["Workouts/Activity/Lap/Track/Trackpoint/AltitudeMeters"] == 1


def test_a_lap_without_anything_to_carry_is_counted() -> None:
    result = activity(lap("<TotalTimeSeconds>5</TotalTimeSeconds><Intensity>Active</Intensity>"))
    assert result.rows == {}
    assert dict(result.about[1].not_carried) == {
        "Lap/TotalTimeSeconds": 1,
        "Lap@StartTime": 1,
        "Lap/Intensity": 1,
        "Activity@Sport": 1,
    }


def test_the_totals_of_a_lap_that_was_cut_off_are_counted_not_placed() -> None:
    open_lap = f'<Lap StartTime="x"><Calories>9</Calories>{track("<Time>t</Time>")}'
    document = f'{HEAD}<Activities><Activity Sport="Running">{open_lap}'
    result = read(TcxImporter(), document)
    assert result.error is not None
    assert list(result.rows) == [1]
    assert "energy_expended" not in result.columns
    assert result.about[1].complete is False
    assert result.about[1].not_carried["Lap/Calories"] == 1


def test_every_unit_is_one_that_its_signal_takes(found: Read) -> None:
    takes = {name: {signal.unit, signal.shown_unit, *signal.accepts} for name, signal in SIGNALS.items()}
    for signal, columns in found.columns.items():
        assert {column.unit for column in columns} <= takes[signal], signal
