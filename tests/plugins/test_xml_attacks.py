"""Hostile documents: refused before a parser sees them, or stopped at a limit; in little time and memory."""

from __future__ import annotations

import codecs
import subprocess
import sys
import time
from pathlib import Path

import pytest

from vambrace.errors import DamagedFile, Refused, SourceError
from vambrace.plugin import Importer
from vambrace_plugins.importers import xmlprolog, xmlstream
from vambrace_plugins.importers.gpx import GpxImporter
from vambrace_plugins.importers.tcx import TcxImporter
from xml_reading import read

GPX = ("<gpx><trk><trkseg>", '<trkpt lat="1" lon="2">', "</trkpt>", "</trkseg></trk></gpx>")
TCX = (
    '<TrainingCenterDatabase><Activities><Activity Sport="Other"><Lap StartTime="t"><Track>',
    "<Trackpoint>",
    "</Trackpoint>",
    "</Track></Lap></Activity></Activities></TrainingCenterDatabase>",
)
FORMATS = [pytest.param(GpxImporter(), GPX, id="gpx"), pytest.param(TcxImporter(), TCX, id="tcx")]
Parts = tuple[str, str, str, str]

LAUGHS = "".join(f'<!ENTITY l{n} "{f"&l{n - 1};" * 10}">' for n in range(1, 10))
BOMB = f'<!DOCTYPE x [<!ENTITY l0 "loom">{LAUGHS}]>'
QUADRATIC = f'<!DOCTYPE x [<!ENTITY a "{"a" * 50_000}">]>'
EXTERNAL = '<!DOCTYPE x [<!ENTITY a SYSTEM "{}">]>'
PARAMETER = '<!DOCTYPE x [<!ENTITY % a SYSTEM "{}"> %a;]>'
OUTSIDE_DTD = '<!DOCTYPE gpx SYSTEM "{}">'
PLAIN = ("<!DOCTYPE gpx>", "<!doctype gpx>", "<!DOCTYPE\tgpx[]>", "<!DOCTYPE gpx PUBLIC 'a' 'b'>")
DOCTYPES = (BOMB, QUADRATIC, EXTERNAL, PARAMETER, OUTSIDE_DTD, *PLAIN)
LONG_COMMENT = f"<?xml version='1.0'?><!--{'-x' * 50_000}-->"
BEFORE = ("", "<?xml version='1.0'?>", "<!-- > <gpx> -->", "<?pi <gpx> ?> \n", "\n\n", LONG_COMMENT)


NO_XML = ("", " ", "\ufeff", "<", "<?xml", "<!DOCTYPE", "<!-", "hello", "\0" * 100, "<1/>", "<gpx", "<gpx/", "<>")
NO_XML += ("<gpx/><gpx/>", "<gpx/>x", "<gpx></GPX>", "<gpx a=1/>", "<gpx a='1' a='2'/>")


def body(parts: Parts, inside: str) -> str:
    return parts[0] + parts[1] + inside + parts[2] + parts[3]


def refused(importer: Importer, data: bytes | str) -> Refused:
    found = read(importer, data)
    assert isinstance(found.error, Refused), found.error
    assert found.error.code == "hostile-file"
    assert found.error.todo
    return found.error


@pytest.mark.parametrize(("importer", "parts"), FORMATS)
@pytest.mark.parametrize("doctype", DOCTYPES)
@pytest.mark.parametrize("before", BEFORE)
def test_a_doctype_is_refused_and_nothing_is_opened(
    importer: Importer, parts: Parts, doctype: str, before: str, tmp_path: Path
) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("1.5", encoding="utf-8")
    document = before + doctype.format(secret.as_uri()) + body(parts, "<ele>&a;</ele>")
    assert "DOCTYPE" in refused(importer, document).what
    assert read(importer, document).rows == {}


@pytest.mark.parametrize("codec", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"])
@pytest.mark.parametrize("piece", [0, 1, 7])
def test_no_encoding_hides_a_doctype(codec: str, piece: int) -> None:
    data = ("<?xml version='1.0'?>" + BOMB + body(GPX, "<ele>&l9;</ele>")).encode(codec)
    found = read(GpxImporter(), data, piece)
    assert isinstance(found.error, Refused)
    assert "DOCTYPE" in found.error.what


@pytest.mark.parametrize(
    "data",
    [
        # UTF-7 writes the same DOCTYPE in other bytes; a reader that believes the declaration would see it.
        b"<?xml version='1.0' encoding='UTF-7'?>+ADwAIQ-DOCTYPE x+AFsAPA-+ACE-ENTITY a 'b'+AD4AXQA+-<gpx>&a;</gpx>",
        # The mark says one thing, the declaration another.
        codecs.BOM_UTF8 + b"<?xml version='1.0' encoding='UTF-16'?><!DOCTYPE x [<!ENTITY a 'b'>]><gpx>&a;</gpx>",
        codecs.BOM_UTF16_LE + "<?xml version='1.0' encoding='UTF-8'?><!DOCTYPE x><gpx/>".encode("utf-16-le"),
        # UTF-16 text without a mark under a declaration in single bytes.
        b"<?xml version='1.0' encoding='UTF-16'?>" + "<!DOCTYPE x><gpx/>".encode("utf-16-le"),
        b"<?xml version='1.0' encoding='UTF-8'?>" + "<!DOCTYPE x><gpx/>".encode("utf-16-be"),
        "<!DOCTYPE x [<!ENTITY a 'b'>]><gpx>&a;</gpx>".encode("utf-32-le"),
    ],
)
def test_tricks_with_encodings_give_an_error_of_ours_and_no_row(data: bytes) -> None:
    found = read(GpxImporter(), data)
    assert isinstance(found.error, SourceError)
    assert found.rows == {}


@pytest.mark.parametrize("where", ["<ele>1</ele>{}", "{}<ele>1</ele>", "<ele>{}</ele>"])
def test_a_doctype_inside_is_malformed(where: str) -> None:
    found = read(GpxImporter(), body(GPX, where.format("<!DOCTYPE x [<!ENTITY a 'b'>]>&a;")))
    assert isinstance(found.error, DamagedFile)
    assert found.rows == {}


def test_an_entity_that_nobody_declared_is_damage_not_an_empty_text() -> None:
    found = read(GpxImporter(), body(GPX, "<ele>1&a;2</ele>"))
    assert isinstance(found.error, DamagedFile)
    assert "Entity 'a'" in found.error.what
    assert found.error.where.startswith("line 1")


def test_the_five_entities_of_xml_and_character_references_are_text() -> None:
    found = read(GpxImporter(), body(GPX, "<ele>&#49;&#x2e;5</ele><name>&lt;&amp;&gt;&quot;&apos;</name>"))
    assert (found.error, found.values("altitude")) == (None, ["1.5"])


def test_a_web_page_is_named_as_one() -> None:
    found = read(GpxImporter(), "<!DOCTYPE html><html><body>sign in</body></html>")
    assert isinstance(found.error, Refused)
    assert "web page" in found.error.what


def test_an_inclusion_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "secret.txt").write_text("1.5", encoding="utf-8")
    href = (tmp_path / "secret.txt").as_uri()
    include = f'<ele><i:include xmlns:i="http://www.w3.org/2001/XInclude" href="{href}" parse="text"/></ele>'
    found = read(GpxImporter(), "<?xml-stylesheet href='a.xsl'?>" + body(GPX, include))
    assert found.error is None
    assert "altitude" not in found.columns or found.values("altitude") == [None]


@pytest.mark.parametrize(("importer", "parts"), FORMATS)
@pytest.mark.parametrize("depth", [110, 300, 100_000])
def test_deep_nesting_is_refused_in_a_point_and_beside_it(importer: Importer, parts: Parts, depth: int) -> None:
    refused(importer, body(parts, "<a>" * depth + "</a>" * depth))
    refused(importer, parts[0] + "<a>" * depth + "</a>" * depth + parts[3])
    refused(importer, "<gpx>".replace("gpx", parts[0].split(">")[0][1:]) + "<a>" * depth)


@pytest.mark.parametrize(("importer", "parts"), FORMATS)
def test_nesting_that_is_merely_odd_is_read(importer: Importer, parts: Parts) -> None:
    found = read(importer, body(parts, "<a>" * 80 + "</a>" * 80))
    assert (found.error, len(found.rows)) == (None, 1)


@pytest.mark.parametrize(("importer", "parts"), FORMATS)
@pytest.mark.parametrize(
    ("inside", "size"),
    [
        ("<name>{}</name>", 1_048_577),
        ("<name>{}</name>", 11_000_000),
        ("<name/>{}", 1_048_577),
        ("<name a='{}'/>", 11_000_000),
        ("{}", 11_000_000),
    ],
)
def test_a_huge_text_is_refused(importer: Importer, parts: Parts, inside: str, size: int) -> None:
    refused(importer, body(parts, inside.format("x" * size)))


@pytest.mark.parametrize(("importer", "parts"), FORMATS)
@pytest.mark.parametrize(("inside", "size"), [("<name>{}</name>", 1_048_577), ("<name a='{}'/>", 11_000_000)])
def test_a_huge_text_beside_the_points_is_refused(importer: Importer, parts: Parts, inside: str, size: int) -> None:
    refused(importer, parts[0] + inside.format("x" * size) + parts[3])


@pytest.mark.parametrize(("importer", "parts"), FORMATS)
def test_many_attributes_are_refused(importer: Importer, parts: Parts) -> None:
    many = "<name " + " ".join(f"a{n}='1'" for n in range(xmlstream.MOST_ATTRIBUTES + 1)) + "/>"
    refused(importer, body(parts, many))
    refused(importer, parts[0] + many + parts[3])


@pytest.mark.parametrize(("importer", "parts"), FORMATS)
def test_many_and_long_names_are_refused(importer: Importer, parts: Parts) -> None:
    refused(importer, parts[0] + "".join(f"<n{n}/>" for n in range(10_100)) + parts[3])
    refused(importer, body(parts, f"<{'n' * 300}/>"))
    refused(importer, body(parts, f"<{'n' * 60_000}/>"))


@pytest.mark.parametrize(("importer", "parts"), FORMATS)
def test_a_point_without_end_is_refused(importer: Importer, parts: Parts) -> None:
    refused(importer, parts[0] + parts[1] + "<a/>" * 1_000_000)


def test_a_prolog_without_end_is_refused() -> None:
    refused(GpxImporter(), "<!-- " + "x" * (2 << 20))
    refused(GpxImporter(), "<?x " + "x" * (2 << 20))
    refused(GpxImporter(), " " * (2 << 20))


@pytest.mark.parametrize("data", NO_XML)
def test_what_is_no_xml_is_damage_with_a_sentence(data: str) -> None:
    for importer in (GpxImporter(), TcxImporter()):
        found = read(importer, data)
        assert isinstance(found.error, SourceError), data
        assert found.error.what
        assert found.error.todo


@pytest.mark.parametrize("root", ["kml", "html", "svg", "TrainingCenterDatabase", "GPX", "x:kml"])
def test_another_format_is_refused_by_its_name(root: str) -> None:
    found = read(GpxImporter(), f"<{root}><trk><trkseg><trkpt lat='1' lon='2'/></trkseg></trk></{root}>")
    assert isinstance(found.error, Refused)
    assert found.error.code == "other-format"
    assert root.rpartition(":")[2] in found.error.what


def test_a_prefix_declared_nowhere_is_damage() -> None:
    found = read(GpxImporter(), "<x:gpx><trk><trkseg><trkpt lat='1' lon='2'><a/></trkpt></trkseg></trk></x:gpx>")
    assert isinstance(found.error, DamagedFile)
    assert (found.rows, found.events, found.about) == ({}, [], {})
    found = read(GpxImporter(), body(GPX, "<x:hr>5</x:hr>"))
    assert isinstance(found.error, DamagedFile)
    assert "prefix" in found.error.what
    assert len(found.rows) == 1


MEASURE = """
import resource, sys
from vambrace.plugin import Source, SourceBatch
from vambrace_plugins.importers import pointcolumns
from vambrace_plugins.importers.gpx import GpxImporter
from vambrace_plugins.importers.tcx import TcxImporter

pointcolumns.BATCH_ROWS = 500
name, blocks, head, block, tail = sys.argv[1], int(sys.argv[2]), *(each.encode() for each in sys.argv[3:6])
importer = GpxImporter() if name == "gpx" else TcxImporter()


class Pieces:
    def __init__(self):
        self.pieces = iter([head, *[block * 500] * blocks, tail])

    def read(self, size):
        return next(self.pieces, b"")

    def __enter__(self):
        return self

    def __exit__(self, *error):
        pass


rows = sum(len(item) for item in importer.read(Source(name, 0, Pieces)) if isinstance(item, SourceBatch))
print(rows, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss)
"""


def rows_and_peak(importer: Importer, parts: Parts, each: str, blocks: int) -> tuple[int, int]:
    """Return the rows read and the most memory held, in KiB, by a process of its own: the tree is not Python's."""
    arguments = [importer.name, str(blocks), parts[0], parts[1] + each + parts[2], parts[3]]
    done = subprocess.run([sys.executable, "-c", MEASURE, *arguments], capture_output=True, text=True, check=True)
    rows, peak = done.stdout.split()
    return int(rows), int(peak)


@pytest.mark.skipif(sys.platform != "linux", reason="the unit of ru_maxrss is KiB on Linux only")
@pytest.mark.parametrize(("importer", "parts"), FORMATS)
def test_memory_does_not_grow_with_the_document(importer: Importer, parts: Parts) -> None:
    each = "<a xmlns='relative'>1</a><b c='1'><d>2</d></b>"
    few, peak_of_few = rows_and_peak(importer, parts, each, 10)
    many, peak_of_many = rows_and_peak(importer, parts, each, 100)
    assert (few, many) == (5_000, 50_000)
    # 45,000 more points kept as a tree would be some 40 MB.
    assert peak_of_many - peak_of_few < 4_000


def test_refusing_is_quick() -> None:
    start = time.perf_counter()
    for document in (
        BOMB,
        "<!--" + "-" * (xmlprolog.CHUNK_BYTES * 20),
        "<!DOCTYPE" + " " * 2_000_000,
        "<gpx" + " " * 2_000_000,
    ):
        assert read(GpxImporter(), document).error is not None
    assert time.perf_counter() - start < 5
