"""A folder made by hand, with one file of each kind and each flaw: what becomes of every entry."""

from __future__ import annotations

import gzip
import os
import shutil
import socket
import struct
import zipfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from converted import digest, ledger, samples, statuses, table
from vambrace.api import convert
from vambrace.demo.fit_encoder import FitEncoder

FIT_EPOCH = 631_065_600
START = 1_709_280_000  # 2024-03-01T08:00:00Z
PNG = b"\x89PNG\r\n\x1a\n" + bytes(range(64))

GPX = """<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="watch-C" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>
<trkpt lat="37.25" lon="-27.5"><ele>12.5</ele><time>2024-03-01T08:00:00Z</time></trkpt>
<trkpt lat="37.2501" lon="-27.5"><time>2024-03-01T08:00:05Z</time></trkpt>
</trkseg></trk></gpx>
"""
TCX = """<?xml version="1.0"?>
<TrainingCenterDatabase><Activities>
<Activity Sport="Other"><Id>2024-03-01T08:00:00Z</Id><Lap StartTime="2024-03-01T08:00:00Z">
<TotalTimeSeconds>2</TotalTimeSeconds><DistanceMeters>3</DistanceMeters><Calories>1</Calories>
<Intensity>Active</Intensity><TriggerMethod>Manual</TriggerMethod><Track>
<Trackpoint><Time>2024-03-01T08:00:00Z</Time><HeartRateBpm><Value>71</Value></HeartRateBpm></Trackpoint>
<Trackpoint><Time>2024-03-01T08:00:01Z</Time><HeartRateBpm><Value>72</Value></HeartRateBpm></Trackpoint>
</Track></Lap></Activity></Activities></TrainingCenterDatabase>
"""
CSV = "time,heart_rate\n2024-03-01T08:00:00Z,70\n2024-03-01T08:00:01Z,71\n"


def fit(rates: list[int]) -> bytes:
    encoder = FitEncoder()
    encoder.define(0, 0, [(0, "enum"), (1, "uint16"), (3, "uint32z"), (4, "uint32")])
    encoder.write(0, 4, 255, 391, START - FIT_EPOCH)
    encoder.define(1, 20, [(253, "uint32"), (3, "uint8")])
    for second, rate in enumerate(rates):
        encoder.write(1, START - FIT_EPOCH + second, rate)
    return bytes(encoder.to_bytes())


@pytest.fixture
def folder(tmp_path: Path) -> Iterator[Path]:
    root = tmp_path / "in"
    (root / "deep" / "er").mkdir(parents=True)
    whole = fit([60, 61, 62])
    files = {
        "good.fit": whole,
        "deep/er/good.gpx": GPX.encode(),
        "good.tcx": TCX.encode(),
        "good.csv": CSV.encode(),
        "copy of good.fit": whole,
        "empty.fit": b"",
        "cut.fit": whole[:-7],
        "flipped.fit": whole[:-9] + bytes([whole[-9] ^ 1]) + whole[-8:],
        "picture.fit": PNG,
        "notes.txt": b"Strap was dry until 09:02.\n",
        "malformed.gpx": GPX.replace("</trkseg>", "</trksegs>").encode(),
        "cut.tcx": TCX[:400].encode(),
        "entity.gpx": GPX.replace("<gpx", '<!DOCTYPE gpx [<!ENTITY x SYSTEM "file:///etc/passwd">]>\n<gpx').encode(),
        "no time.csv": b"heart_rate,cadence\n70,80\n",
        "two readings.csv": b"time,heart_rate\n03/04/2024 08:00:00,70\n04/05/2024 08:00:00,71\n",
        "local.csv": b"time,heart_rate\n2024-03-01 08:00:00,70\n",
        "fraction or percent.csv": b"time,oxygen saturation\n2024-03-01T08:00:00Z,0.97\n2024-03-01T08:01:00Z,1\n",
        "no header.csv": b"1,2,3\n4,5,6\n",
        "skip.tmp": b"time,heart_rate\n",
        "packed.csv.gz": gzip.compress(CSV.replace("70", "80").encode(), mtime=0),
        "cut.csv.gz": gzip.compress(CSV.encode() * 50, mtime=0)[:-12],
    }
    for name, data in files.items():
        (root / name).write_bytes(data)
    with zipfile.ZipFile(root / "members.zip", "w") as archive:
        archive.writestr("inner/again.csv", CSV)
        archive.writestr("inner/other.csv", CSV.replace("70", "90"))
        archive.writestr("../escape.csv", CSV.replace("70", "91"))
    with zipfile.ZipFile(root / "bomb.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("bomb.csv", b"\0" * (120 << 20))
    os.mkfifo(root / "pipe.csv")
    (root / "broken link.fit").symlink_to("nowhere.fit")
    (root / "linked folder").symlink_to(root / "deep", target_is_directory=True)
    bound = socket.socket(socket.AF_UNIX)
    here = Path.cwd()
    os.chdir(root)
    try:
        bound.bind("socket.fit")
    finally:
        os.chdir(here)
    yield root
    bound.close()
    shutil.rmtree(root)


EXPECTED = {
    "bomb.zip": "rejected",
    "bomb.zip!bomb.csv": "rejected",
    "broken link.fit": "rejected",
    "copy of good.fit": "converted",
    "cut.csv.gz": "rejected",
    "cut.fit": "rejected",
    "cut.tcx": "rejected",
    "deep/er/good.gpx": "converted",
    "empty.fit": "rejected",
    "entity.gpx": "rejected",
    "flipped.fit": "rejected",
    "fraction or percent.csv": "rejected",
    "good.csv": "converted",
    "good.fit": "duplicate",
    "good.tcx": "converted",
    "linked folder": "rejected",
    "local.csv": "rejected",
    "malformed.gpx": "rejected",
    "members.zip": "rejected",
    "members.zip!../escape.csv": "rejected",
    "members.zip!inner/again.csv": "duplicate",
    "members.zip!inner/other.csv": "converted",
    "no header.csv": "unrecognised",
    "no time.csv": "rejected",
    "notes.txt": "unrecognised",
    "packed.csv.gz": "converted",
    "picture.fit": "rejected",
    "pipe.csv": "rejected",
    "skip.tmp": "ignored",
    "socket.fit": "rejected",
    "two readings.csv": "rejected",
}


def test_every_entry_ends_with_a_status_and_what_is_not_read_with_a_reason(folder: Path, tmp_path: Path) -> None:
    summary = convert([folder], tmp_path / "ds", ignore=["*.tmp"])
    rows = ledger(tmp_path / "ds")
    assert {path: row["status"] for path, row in rows.items()} == EXPECTED
    assert sum(summary.files_by_status.values()) == len(rows)
    for path, row in rows.items():
        if row["status"] != "converted":
            assert row["reason"], path
            assert row["reason"].endswith((".", "!")) or row["status"] in ("duplicate", "ignored"), path
        assert row["rows_read"] == row["rows_kept"] + row["rows_set_aside"] + row["rows_outside"], path
    assert sum(row["rows_kept"] for row in rows.values()) == len(samples(tmp_path / "ds"))


SENTENCES = {
    "empty.fit": ("empty",),
    "cut.fit": ("byte",),
    "flipped.fit": ("checksum",),
    "malformed.gpx": ("line 5",),
    "entity.gpx": ("DOCTYPE",),
    "no time.csv": ("time",),
    "two readings.csv": ("day", "month"),
    "local.csv": ("--zone",),
    "fraction or percent.csv": ("fraction", "%", "csv."),
    "picture.fit": ("FIT",),
    "bomb.zip!bomb.csv": ("unpack",),
    "pipe.csv": ("pipe",),
    "socket.fit": ("socket",),
    "broken link.fit": ("link",),
    "linked folder": ("link",),
    "members.zip!../escape.csv": ("leaves the archive",),
    "skip.tmp": ("*.tmp",),
    "copy of good.fit": (),
    "good.fit": ("copy of good.fit",),
}


def test_reasons_say_what_is_wrong_in_words(folder: Path, tmp_path: Path) -> None:
    convert([folder], tmp_path / "ds", ignore=["*.tmp"])
    rows = ledger(tmp_path / "ds")
    for path, words in SENTENCES.items():
        for word in words:
            assert word in (rows[path]["reason"] or ""), (path, rows[path]["reason"])


def test_what_was_refused_for_want_of_a_word_converts_once_the_word_is_given(folder: Path, tmp_path: Path) -> None:
    to = tmp_path / "ds"
    convert([folder], to)
    before = {row["recording"] for row in table(to, "recordings")}
    convert([folder], to, zone="Atlantic/Azores")
    (zoned,) = [row for row in table(to, "recordings") if row["path"] == "local.csv"]
    assert (zoned["zone"], zoned["zone_known_by"]) == ("Atlantic/Azores", "command line")
    # The Azores are an hour behind UTC in winter (IANA zone data).
    assert zoned["start_time"].isoformat() == "2024-03-01T09:00:00+00:00"
    assert before < {row["recording"] for row in table(to, "recordings")}


def test_a_corrected_zone_moves_the_instants(folder: Path, tmp_path: Path) -> None:
    to = tmp_path / "ds"
    starts = []
    for zone in ("Atlantic/Azores", "UTC"):
        convert([folder / "local.csv"], to, zone=zone)
        (row,) = table(to, "recordings")
        starts.append(row["start_time"].isoformat())
    assert starts == ["2024-03-01T09:00:00+00:00", "2024-03-01T08:00:00+00:00"]
    assert len(list((to / "samples").iterdir())) == 1


def test_a_second_conversion_does_no_work(folder: Path, tmp_path: Path) -> None:
    to = tmp_path / "ds"
    first = convert([folder], to, ignore=["*.tmp"])
    before = digest(to)
    stamps = {path: path.stat().st_mtime_ns for path in (to / "samples").iterdir()}
    second = convert([folder], to, ignore=["*.tmp"])
    assert digest(to) == before
    assert {path: path.stat().st_mtime_ns for path in (to / "samples").iterdir()} == stamps
    assert (second.new, second.unchanged) == (0, first.new + first.unchanged)
    assert second.files_by_status == first.files_by_status


def test_salvage_keeps_what_stands_before_the_damage(folder: Path, tmp_path: Path) -> None:
    to = tmp_path / "ds"
    convert([folder], to)
    assert statuses(to)["cut.fit"] == "rejected"
    convert([folder], to, salvage=True)
    row = ledger(to)["cut.fit"]
    assert (row["status"], row["rows_kept"] > 0) == ("partial", True)
    assert "byte" in row["reason"]
    complete = {one["path"]: one["complete"] for one in table(to, "recordings")}
    assert complete["cut.fit"] is False
    assert complete["copy of good.fit"] is True


def test_a_mended_file_takes_the_place_of_the_broken_one(folder: Path, tmp_path: Path) -> None:
    to = tmp_path / "ds"
    convert([folder / "cut.fit"], to)
    (folder / "cut.fit").write_bytes(fit([60, 61, 62, 63]))
    convert([folder / "cut.fit"], to)
    assert sorted(row["status"] for row in table(to, "files")) == ["converted", "superseded"]


def test_a_longer_export_of_the_same_device_and_start_supersedes(tmp_path: Path) -> None:
    source, to = tmp_path / "day.fit", tmp_path / "ds"
    source.write_bytes(fit([60, 61]))
    convert([source], to)
    source.write_bytes(fit([60, 61, 62]))
    convert([source], to)
    assert sorted(row["status"] for row in table(to, "files")) == ["converted", "superseded"]
    assert len(samples(to)) == 3


def test_new_bytes_at_a_path_without_a_serial_stay_beside_the_old_ones_with_a_warning(tmp_path: Path) -> None:
    source, to = tmp_path / "day.csv", tmp_path / "ds"
    source.write_text(CSV)
    convert([source], to)
    source.write_text(CSV + "2024-03-01T08:00:02Z,72\n")
    convert([source], to)
    assert [row["status"] for row in table(to, "files")] == ["converted", "converted"]
    found = [(row["rule"], row["severity"]) for row in table(to, "findings")]
    assert [each for each in found if each[0] != "too-few-samples"] == [("same-path", "warning")]


def test_big_numbers_of_a_header_do_not_cost_memory(tmp_path: Path) -> None:
    # A FIT header that promises 4 GB of data in a file of 14 bytes.
    (tmp_path / "huge.fit").write_bytes(struct.pack("<BBHI4sH", 14, 16, 2100, 0xFFFFFFFF, b".FIT", 0))
    convert([tmp_path / "huge.fit"], tmp_path / "ds")
    assert statuses(tmp_path / "ds") == {"huge.fit": "rejected"}


def test_a_dataset_among_the_sources_is_one_entry_that_is_not_looked_into(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "a.csv").write_text(CSV)
    convert([tmp_path / "in"], tmp_path / "in" / "first")
    convert([tmp_path / "in"], tmp_path / "second")
    assert statuses(tmp_path / "second") == {"a.csv": "converted", "first": "ignored"}
    convert([tmp_path / "second"], tmp_path / "third")
    assert statuses(tmp_path / "third") == {".": "ignored"}
