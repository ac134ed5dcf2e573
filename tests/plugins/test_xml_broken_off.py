"""Documents cut at every byte, cut into pieces, read twice; and that no text of a document is passed over."""

from __future__ import annotations

from pathlib import Path

import pytest
from lxml import etree

from vambrace.errors import DamagedFile
from vambrace.plugin import Importer
from vambrace_plugins.importers.gpx import GpxImporter
from vambrace_plugins.importers.tcx import TcxImporter
from xml_reading import Read, read

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
FILES = ("gpx/tracks-and-segments.gpx", "gpx/extensions.gpx", "gpx/version-1.0.gpx", "tcx/laps-and-pauses.tcx")
BATCH_ROWS = "vambrace_plugins.importers.pointcolumns.BATCH_ROWS"
SCHEMA_INSTANCE = "http://www.w3.org/2001/XMLSchema-instance"


def importer_of(name: str) -> Importer:
    return GpxImporter() if name.endswith(".gpx") else TcxImporter()


def data_of(name: str) -> bytes:
    return (FIXTURES / name).read_bytes()


LAP_TOTALS = frozenset({"step_count", "energy_expended"})
Row = tuple[int, int, str | None, dict[str, str]]


def point_rows(found: Read) -> list[Row]:
    """Return the rows of track points, without what a lap's end adds to its last one: a cut takes that away first."""
    rows: list[Row] = []
    for record, (recording, time, values) in found.rows.items():
        if not set(values) <= LAP_TOTALS:
            kept = {signal: text for signal, text in values.items() if text is not None and signal not in LAP_TOTALS}
            rows.append((record, recording, time, kept))
    return rows


def in_file_order(rows: list[Row]) -> list[Row]:
    """Return rows without way points: those are held back, and their recording is numbered after the tracks."""
    return [row for row in rows if row[3].get("heart_rate") != "71"]


@pytest.mark.parametrize("name", FILES)
def test_cut_at_every_byte_it_is_damaged_and_gives_an_honest_prefix(name: str) -> None:
    data = data_of(name)
    whole = read(importer_of(name), data)
    expected = in_file_order(point_rows(whole))
    longest = 0
    for cut in range(len(data.rstrip())):
        found = read(importer_of(name), data[:cut])
        assert isinstance(found.error, DamagedFile), cut
        assert found.error.what
        assert found.error.todo
        rows = in_file_order(point_rows(found))
        assert rows == expected[: len(rows)], cut
        assert len(rows) >= longest, "a longer part gave fewer rows"
        longest = len(rows)
        for about in found.about.values():
            if about.complete:
                assert of_recording(found, about.recording) == of_recording(whole, about.recording), cut
    assert longest == len(expected) > 0


def of_recording(found: Read, recording: int) -> dict[int, tuple[int, str | None, dict[str, str | None]]]:
    return {record: row for record, row in found.rows.items() if row[0] == recording}


@pytest.mark.parametrize("name", FILES)
def test_what_stands_behind_the_end_is_damage(name: str) -> None:
    whole = read(importer_of(name), data_of(name))
    for tail in (b"<gpx/>", b"x", b"&#49;", b"</gpx>"):
        found = read(importer_of(name), data_of(name) + tail)
        assert isinstance(found.error, DamagedFile)
        assert found.error.where.startswith("line ")
        assert list(found.rows) == list(whole.rows)
    for tail in (b" \r\n", b"<!-- x -->", b"<?x?>"):
        assert read(importer_of(name), data_of(name) + tail).rows == whole.rows


@pytest.mark.parametrize("name", FILES)
def test_malformed_in_the_middle_says_the_line_and_keeps_what_stands_before(name: str) -> None:
    lines = data_of(name).splitlines(keepends=True)
    at = len(lines) * 3 // 4
    found = read(importer_of(name), b"".join([*lines[:at], b"<oops></ouch>\n", *lines[at:]]))
    assert isinstance(found.error, DamagedFile)
    assert found.error.where.startswith(f"line {at + 1},")
    assert "oops" in found.error.what
    assert len(found.rows) >= 1
    assert len(found.rows) <= len(read(importer_of(name), data_of(name)).rows)


@pytest.mark.parametrize("name", FILES)
def test_reading_twice_gives_the_same(name: str) -> None:
    importer = importer_of(name)
    assert read(importer, data_of(name)).comparable == read(importer, data_of(name)).comparable


@pytest.mark.parametrize("name", FILES)
@pytest.mark.parametrize("rows", [1, 2, 3, 100])
@pytest.mark.parametrize("piece", [1, 17, 5_000])
def test_any_batch_and_piece_gives_the_same(name: str, rows: int, piece: int, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = read(importer_of(name), data_of(name))
    monkeypatch.setattr(BATCH_ROWS, rows)
    found = read(importer_of(name), data_of(name), piece)
    assert found.comparable == whole.comparable
    assert max(len(batch) for batch in found.batches) <= rows


@pytest.mark.parametrize("name", FILES)
def test_every_text_is_carried_counted_or_known(name: str) -> None:
    """Hold the count of what was handed over against the count of all texts and attributes, by lxml's whole tree."""
    found = read(importer_of(name), data_of(name))
    root = etree.fromstring(data_of(name))
    texts = [text for text in root.xpath("//text()") if text.strip()]
    texts += root.xpath("/*/*//@*[namespace-uri() != $xsi]", xsi=SCHEMA_INSTANCE)
    handed = sum(value is not None for _, _, values in found.rows.values() for value in values.values())
    handed += sum(time is not None for time in found.times)
    handed += sum(flag is not None for flag in flags_of(found))
    if name.endswith(".tcx"):
        handed += of_device_and_laps(found)
    not_carried = sum(sum(about.not_carried.values()) for about in found.about.values())
    assert len(texts) == handed + not_carried


def flags_of(found: Read) -> list[str | None]:
    return [flag for column in found.columns.get("heart_rate", []) for flag in column.flags or ()]


def of_device_and_laps(found: Read) -> int:
    """Count the texts that went into what is said of devices, sensors and laps.

    A lap without track points gives its StartTime twice, as the event and as the row's time, and its
    TotalTimeSeconds as the row's length instead of a count: together that is one text each.
    """
    abouts = found.about.values()
    words = sum((about.product is not None) + (about.serial is not None) for about in abouts)
    words += sum(len(about.firmware.split(".")) for about in abouts if about.firmware)
    sensors = len({column.sensor for column in found.columns.get("cadence", []) if column.sensor})
    return words + sensors + len([kind for _, kind, _, _ in found.events if kind == "lap"])
