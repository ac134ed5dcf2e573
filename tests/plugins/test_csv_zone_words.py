"""Zones behind times and in headers: UTC, offsets, names of places, and short names that mean several zones."""

from __future__ import annotations

import re
from datetime import UTC, datetime, timedelta
from functools import cache
from importlib import resources
from zoneinfo import ZoneInfo

import pytest

from csv_instants import instants, reading_of, sentences
from vambrace_plugins.importers.csv.zonewords import SHORT

WALL = "2026-07-01 10:00:00"
# Blanks and marks as exports write them; the instant is that of Python's own reading of the offset or zone.
IN_UTC = ["Z", " Z", "UTC", " UTC", " utc", " (UTC)", " GMT", "+00:00", " +0000", "[UTC]", " UTC+0"]
AT_PLUS_2 = [
    *("+02:00", "+0200", "+02", " +02:00", " +0200", " +02", " +2", " UTC+2", " UTC+02:00", " GMT+0200", "−02:00"),
    *("+02:00[Europe/Berlin]", " +02:00 [Europe/Berlin]", " +0200 (CEST)", " GMT+0200 (Central European Summer Time)"),
    *(" Europe/Berlin", "[Europe/Berlin]", " [Europe/Berlin]", " (Europe/Berlin)"),
]


@pytest.mark.parametrize("zone", IN_UTC)
def test_utc_in_all_spellings(zone: str) -> None:
    assert instants(reading_of("time", [WALL + zone])) == ["2026-07-01T10:00:00Z"]


@pytest.mark.parametrize("zone", AT_PLUS_2)
def test_offsets_and_places_in_all_spellings(zone: str) -> None:
    hour = 12 if zone.startswith("−") else 8
    assert instants(reading_of("time", [WALL + zone])) == [f"2026-07-01T{hour:02d}:00:00Z"]


@pytest.mark.parametrize(
    ("header", "cells"),
    [
        ("time", ["07/14/2026 10:00:00 PM {zone}", "07/15/2026 12:30 AM {zone}"]),
        ("time", ["14.07.2026 22:00:00 {zone}", "15.07.2026 0:30 {zone}"]),
        ("time", ["Jul 14, 2026 10:00:00 p.m. {zone}", "Jul 15, 2026 12:30 a.m. {zone}"]),
        ("time", ["Tue, 14 Jul 2026 22:00:00 {zone}", "Wed, 15 Jul 2026 00:30:00 {zone}"]),
        ("date;time", ["14 July 2026;10:00:00 PM {zone}", "15 July 2026;12:30:00 AM {zone}"]),
    ],
)
@pytest.mark.parametrize(
    ("zone", "offset"),
    [("UTC", 0), ("+0200", 2), ("UTC-5", -5), ("America/New_York", -4), ("PDT", -7), ("(PDT)", -7)],
)
def test_zones_behind_every_notation(header: str, cells: list[str], zone: str, offset: int) -> None:
    at = datetime(2026, 7, 14, 22, tzinfo=UTC) - timedelta(hours=offset)
    options = {"zones": "PDT=-07:00"} if "PDT" in zone else {}
    result = reading_of(header, [cell.format(zone=zone) for cell in cells], **options)
    expected = [at, at + timedelta(hours=2, minutes=30)]
    assert instants(result) == [each.isoformat().replace("+00:00", "Z") for each in expected]


@pytest.mark.parametrize("word", ["PST", "CET", "IST", "BST", "XYZ"])
def test_a_short_name_is_refused_with_what_it_may_mean(word: str) -> None:
    result = reading_of("time", [f"{WALL} {word}"], "UTC")
    assert result.code == "zone-word"
    assert all(offset in result.said for offset in (word, f'"csv.zones={word}=', *SHORT.get(word, ()))), result.said
    far = reading_of("time", [*[f"{WALL} UTC"] * 10_500, f"{WALL} {word}"], "UTC")
    if word in SHORT:
        assert far.code == "zone-word"
    else:
        assert [(each.reason, each.time_text) for each in far.rejected] == [("no-time", f"{WALL} {word}")]


@pytest.mark.parametrize(
    ("option", "expected"),
    [
        ("PST=-08:00; PDT=-07:00", ["2026-11-01T08:59:59Z", "2026-11-01T09:00:00Z"]),
        ("pst=America/Los_Angeles;PDT=-07:00", ["2026-11-01T08:59:59Z", None]),
        ("PST=+08:00; PDT=+09:00", ["2026-10-31T16:59:59Z", "2026-10-31T17:00:00Z"]),
    ],
)
def test_the_option_says_what_short_names_mean(option: str, expected: list[str | None]) -> None:
    """The words part the repeated hour where they are offsets; as a place, its second pass stays in doubt."""
    result = reading_of("time", ["2026-11-01 01:59:59 PDT", "2026-11-01 01:00:00 PST"], zones=option)
    assert instants(result) == [each for each in expected if each]
    assert [each.reason for each in result.rejected] == ["time-ambiguous"] * expected.count(None)
    assert [text for text in sentences(result) if "csv.zones" in text][-1].startswith("times: PST read as ")


@pytest.mark.parametrize("header", ["time_pst", "timestamp_PST", "time (PST)", "time [pst]", "date_time_pst"])
def test_a_short_name_in_a_header_is_known_and_refused_until_it_is_said(header: str) -> None:
    result = reading_of(header, [WALL], "UTC")
    assert result.code == "zone-word"
    assert all(word in result.said for word in ("-08:00", "+08:00", "csv.zones=PST=", f"csv.columns={header}=time"))
    assert instants(reading_of(header, [WALL], zones="PST=-08:00")) == ["2026-07-01T18:00:00Z"]
    assert instants(reading_of(header, [WALL], zones="PST=America/Los_Angeles")) == ["2026-07-01T17:00:00Z"]
    assert instants(reading_of(header, [WALL], "Asia/Manila", columns=f"{header}=time")) == ["2026-07-01T02:00:00Z"]
    # What the cells say themselves needs no word.
    assert instants(reading_of(header, [f"{WALL}+02:00"])) == ["2026-07-01T08:00:00Z"]


@pytest.mark.parametrize("header", ["time (CET/CEST)", "time (EST or EDT)"])
def test_two_short_names_in_a_header_are_refused(header: str) -> None:
    assert reading_of(header, [WALL], "UTC").code == "zone-word"


@pytest.mark.parametrize(("header", "behind"), [("time", " Europe/Berlim"), ("time (Europe/Berlim)", "")])
def test_a_place_that_is_no_zone_is_refused_with_those_that_come_near(header: str, behind: str) -> None:
    result = reading_of(header, [WALL + behind], "UTC")
    assert result.code == "zone-word"
    assert all(word in result.said for word in ("Europe/Berlim", "near it: Europe/Berlin", "csv.zones=Europe/Berlim="))
    said = {"zones": "Europe/Berlim=Europe/Berlin"}
    assert instants(reading_of(header, [WALL + behind], **said)) == ["2026-07-01T08:00:00Z"]


@pytest.mark.parametrize("header", ["time_utc", "time (UTC)", "utc_time", "UTC time", "time [Z]", "timestamp_gmt"])
def test_headers_that_say_utc(header: str) -> None:
    assert instants(reading_of(header, [WALL])) == ["2026-07-01T10:00:00Z"]


@pytest.mark.parametrize("header", ["time (UTC+2)", "time (GMT+02:00)", "time [Europe/Berlin]", "time (+02:00)"])
def test_headers_that_say_an_offset_or_a_place(header: str) -> None:
    assert instants(reading_of(header, [WALL])) == ["2026-07-01T08:00:00Z"]


@pytest.mark.parametrize("option", ["Europe/Berlin", "PST=8", "PST=Europe/Berlim", "P=+01:00", "1/T=+01:00", "PST="])
def test_an_option_that_makes_no_sense_is_refused(option: str) -> None:
    result = reading_of("time", [f"{WALL} PST"], zones=option)
    assert result.code == "bad-option"
    assert "csv.zones" in result.said


@pytest.mark.parametrize("header", ["time;timezone", "date;time;timezone"])
def test_short_names_in_a_column_of_zones(header: str) -> None:
    cells = [f"{WALL.replace(' ', ';') if 'date' in header else WALL};{zone}" for zone in ("PST", "UTC+0100", "")]
    said = {"columns": "timezone=offset", "zones": "PST=-08:00"}
    assert instants(reading_of(header, cells, "Asia/Tokyo", **said)) == [
        "2026-07-01T18:00:00Z",
        "2026-07-01T09:00:00Z",
        "2026-07-01T01:00:00Z",
    ]
    assert reading_of(header, cells, "Asia/Tokyo", columns="timezone=offset").code == "zone-word"


def test_the_zone_in_the_header_of_the_date_is_that_of_the_time() -> None:
    assert instants(reading_of("date (UTC);time", [WALL.replace(" ", ";")])) == ["2026-07-01T10:00:00Z"]


@cache
def offsets_by_name() -> dict[str, set[timedelta | None]]:
    """Return the offsets that each short name has stood for since 1970, in any zone of the tz database."""
    found: dict[str, set[timedelta | None]] = {}
    months = [datetime(year, month, 1, tzinfo=UTC) for year in range(1970, 2027) for month in (1, 7)]
    for name in resources.files("tzdata").joinpath("zones").read_text("utf-8").split():
        for local in (month.astimezone(ZoneInfo(name)) for month in months):
            found.setdefault(local.tzname() or "", set()).add(local.utcoffset())
    return found


@pytest.mark.parametrize("word", SHORT)
def test_the_tz_database_has_every_meaning_that_a_refusal_names(word: str) -> None:
    """Outside source: the tz database, as the package tzdata carries it."""
    known = offsets_by_name()[word]
    for text in SHORT[word]:
        hours, minutes = text[1:].split(":")
        size = timedelta(hours=int(hours), minutes=int(minutes))
        assert (size if text[0] == "+" else -size) in known


def test_a_short_name_before_the_year() -> None:
    """Outside check: Python's strptime of the same texts, the name taken out."""
    cells = ["Wed Mar 13 09:00:00 EST 2024", "Thu Mar 14 23:59:10 EST 2024", "Fri Mar 15 00:00:00 UTC 2024"]
    refused = reading_of("time", cells)
    assert refused.code == "zone-word"
    assert "csv.zones=EST=-05:00" in refused.said
    plain = [datetime.strptime(re.sub(" (EST|UTC)", "", cell), "%a %b %d %H:%M:%S %Y") for cell in cells]
    expected = [each + timedelta(hours=5 if "EST" in cell else 0) for each, cell in zip(plain, cells, strict=True)]
    found = instants(reading_of("time", cells, zones="EST=-05:00"))
    assert found == [f"{each.isoformat()}Z" for each in expected]
