"""One document in many encodings: the same values, or a refusal with a sentence; a DOCTYPE hides in none of them."""

from __future__ import annotations

import codecs

import pytest

from vambrace.errors import DamagedFile, Refused
from vambrace.plugin import Importer
from vambrace_plugins.importers.gpx import GpxImporter
from vambrace_plugins.importers.tcx import TcxImporter
from xml_reading import read

GPX = '<gpx version="1.1" creator="loom é {}"><trk><trkseg><trkpt lat="1.5" lon="2"/></trkseg></trk></gpx>'
TCX = (
    '<TrainingCenterDatabase><Activities><Activity Sport="Other"><Lap StartTime="t"><Track><Trackpoint>'
    "<AltitudeMeters>1.5</AltitudeMeters></Trackpoint></Track></Lap><Creator><Name>loom é {}</Name></Creator>"
    "</Activity></Activities></TrainingCenterDatabase>"
)
FORMATS = [
    pytest.param(GpxImporter(), GPX, "latitude", id="gpx"),
    pytest.param(TcxImporter(), TCX, "altitude", id="tcx"),
]


OTHERS = ("UTF-7", "utf_7", "EBCDIC-CP-BE", "IBM037", "rot13", "no-such-encoding", "UTF-32", "punycode", "idna")
OTHERS += ("shift_jis", "iso-2022-jp", "hz", "unicode-escape", "raw_unicode_escape", "base64", "undefined")


def declared(encoding: str) -> str:
    return f'<?xml version="1.0" encoding="{encoding}"?>\n' if encoding else ""


@pytest.mark.parametrize(("importer", "document", "signal"), FORMATS)
@pytest.mark.parametrize(
    ("declaration", "mark", "codec"),
    [
        ("", b"", "utf-8"),
        ("UTF-8", b"", "utf-8"),
        ("utf-8", codecs.BOM_UTF8, "utf-8"),
        ("", codecs.BOM_UTF8, "utf-8"),
        ("ISO-8859-1", b"", "latin-1"),
        ("latin1", b"", "latin-1"),
        ("windows-1252", b"", "cp1252"),
        ("iso-8859-15", b"", "iso8859-15"),
        ("UTF-16", codecs.BOM_UTF16_LE, "utf-16-le"),
        ("UTF-16", codecs.BOM_UTF16_BE, "utf-16-be"),
        ("UTF-16LE", b"", "utf-16-le"),
        ("UTF-16BE", b"", "utf-16-be"),
        ("", codecs.BOM_UTF16_LE, "utf-16-le"),
        ("", b"", "utf-16-le"),
        ("", b"", "utf-16-be"),
        ("UTF-8", codecs.BOM_UTF16_LE, "utf-16-le"),
        ("ISO-8859-1", codecs.BOM_UTF8, "utf-8"),
    ],
)
@pytest.mark.parametrize("piece", [0, 1])
def test_it_reads_the_same_in_every_encoding(
    importer: Importer, document: str, signal: str, declaration: str, mark: bytes, codec: str, piece: int
) -> None:
    data = mark + (declared(declaration) + document.format("x" * 2000)).encode(codec)
    found = read(importer, data, piece)
    assert found.error is None
    assert found.values(signal) == ["1.5"]
    assert (found.about[1].product or "")[:6] == "loom é"


@pytest.mark.parametrize(("importer", "document", "signal"), FORMATS)
def test_a_declaration_of_utf_16_on_single_bytes_is_noted(importer: Importer, document: str, signal: str) -> None:
    found = read(importer, (declared("UTF-16") + document).encode())
    assert (found.error, found.values(signal)) == (None, ["1.5"])
    assert [rule for rule, _, message in found.notes if "read as UTF-8" in message] == ["encoding"]


@pytest.mark.parametrize(("importer", "document", "signal"), FORMATS)
@pytest.mark.parametrize("mark", [b"", codecs.BOM_UTF8])
def test_white_space_before_the_declaration_is_passed_over_and_noted(
    importer: Importer, document: str, signal: str, mark: bytes
) -> None:
    encoding = "utf-8" if mark else "ISO-8859-1"
    found = read(importer, mark + ("\r\n   " + declared(encoding) + document).encode(encoding))
    assert (found.error, found.values(signal)) == (None, ["1.5"])
    assert (found.about[1].product or "")[:6] == "loom é"
    assert [rule for rule, _, message in found.notes if "white space" in message] == ["encoding"]


@pytest.mark.parametrize(("importer", "document", "signal"), FORMATS)
@pytest.mark.parametrize("name", OTHERS)
def test_other_encodings_are_refused_with_a_way_out(importer: Importer, document: str, signal: str, name: str) -> None:
    found = read(importer, (declared(name) + document.replace("é", "e")).encode())
    assert isinstance(found.error, Refused)
    assert found.error.code == "unknown-encoding"
    assert name in found.error.what
    assert found.error.todo
    assert found.rows == {}


@pytest.mark.parametrize("mark", [codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE, b""])
def test_utf_32_is_refused(mark: bytes) -> None:
    codec = "utf-32-be" if mark == codecs.BOM_UTF32_BE else "utf-32-le"
    found = read(GpxImporter(), mark + GPX.encode(codec))
    assert isinstance(found.error, Refused)
    assert found.error.code == "unknown-encoding"


@pytest.mark.parametrize("cut", [0, 300, 70_000])
@pytest.mark.parametrize(
    ("declaration", "bad"), [("", b"\xe9"), ("UTF-8", b"\xed\xa0\x80"), ("ascii", b"\xe9"), ("cp1252", b"\x81")]
)
def test_bytes_that_are_no_text_are_damage_with_their_place(declaration: str, bad: bytes, cut: int) -> None:
    before = (declared(declaration) + '<gpx><trk><trkseg><trkpt lat="1.5" lon="2"/>' + " " * cut).encode()
    found = read(GpxImporter(), before + bad + b"</trkseg></trk></gpx>")
    assert isinstance(found.error, DamagedFile)
    assert found.error.where == f"byte {len(before):,}"
    assert found.values("latitude") == ["1.5"]
    assert found.about[1].complete is False


def test_half_a_character_at_the_end_is_damage() -> None:
    for codec in ("utf-16-le", "utf-16-be"):
        found = read(GpxImporter(), GPX.format("").encode(codec)[:-1])
        assert isinstance(found.error, DamagedFile), codec
