"""Importers that mapping files make pass the conformance kit, one for each kind of export."""

from __future__ import annotations

import io
import zipfile

from foreign_exports import EVERY
from vambrace.testing import ImporterConformance, Sample
from vambrace_plugins.mapping import MappedImporter, load

COMMON = """
[device]
column = "{device}"
[[signals]]
field = "{rate}"
signal = "heart_rate"
unit = "Hz"
[[signals]]
field = "{steps}"
signal = "step_count"
unit = "steps"
counting = "increment"
"""


def mapped(name: str, source: str, time: str, **fields: str) -> MappedImporter:
    """Return the importer of a mapping with a rate, steps of intervals and a device."""
    names = {"device": "who", "rate": "hz", "steps": "n"} | fields
    text = f'name = "{name}"\nabsent = [-1]\n{source}\n[time]\n{time}\nstamp = "end"\n{COMMON.format(**names)}'
    return MappedImporter(load(f"{name}.toml", text))


class TestMappedTable(ImporterConformance):
    importer = mapped(
        "odd-table",
        '[source]\nkind = "csv"\ndelimiter = "semicolon"\ndecimal = "comma"',
        'date = "day"\ncolumn = "clock"\ndate_format = "%d.%m.%Y"\nformat = "%H:%M:%S"',
    )
    samples = (
        Sample(
            b"day;clock;who;hz;n;note\n04.03.2031;09:00:00;ring-A;1,5;12;\n04.03.2031;09:00:30;ring-B;-1;4;x\n"
            b"04.03.2031;09:01:00;ring-A;1,25;;y\n",
            "odd.csv",
            zone="Atlantic/Azores",
            values=6,
        ),
    )
    foreign = EVERY


class TestMappedLongTable(ImporterConformance):
    importer = MappedImporter(
        load(
            "long.toml",
            'name = "long-table"\n[source]\nkind = "csv"\n[time]\ncolumn = "at"\nformat = "epoch"\nunit = "ms"\n'
            '[where]\ngrade = ["good", "fair"]\n[[signals]]\nfield = "amount"\nsignal = "heart_rate"\nunit = "Hz"\n'
            'where = { kind = "pulse" }\n[[signals]]\nfield = "amount"\nsignal = "respiratory_rate"\nunit = "/min"\n'
            'where = { kind = "breath" }\n',
        )
    )
    samples = (
        Sample(
            b"at,kind,amount,grade\n1930381200000,pulse,1.5,good\n1930381200000,breath,15,fair\n"
            b"1930381201000,pulse,1.25,bad\n1930381202000,mood,3,good\n1930381203000,pulse,x,good\n",
            "long.csv",
            values=3,
        ),
    )
    foreign = EVERY


class TestMappedJson(ImporterConformance):
    importer = mapped(
        "nested",
        '[recognise]\nheader = ["epochs"]\n[source]\nkind = "json"\nrecords = "days[].epochs"',
        'column = "at"',
        device="../ring",
        rate="v.hz",
        steps="v.n",
    )
    samples = (
        Sample(
            b'{"days": [{"ring": "ring-A", "epochs": [{"at": "2031-03-04T09:00:00Z", "v": {"hz": 1.5, "n": 4}},\n'
            b'{"at": "2031-03-04T09:01:00Z", "v": {"hz": null, "n": 5, "calm": 3}}]},\n'
            b'{"ring": "ring-B", "epochs": [{"at": "2031-03-04T09:00:00Z", "v": {"hz": -1, "n": 6}}]}]}\n',
            "nested.json",
            values=6,
        ),
    )
    foreign = EVERY


class TestMappedArrays(ImporterConformance):
    importer = mapped(
        "arrays",
        '[recognise]\nheader = ["series"]\n[source]\nkind = "json"\ncolumns = "series"',
        'column = "t"\nformat = "elapsed"\nunit = "s"\nstart = "2031-03-04T09:00:00Z"',
        device="../ring",
    )
    samples = (
        Sample(
            b'{"ring": "ring-A", "series": {"t": [60, 120, 180], "hz": [1.5, -1, 1.25], "n": [4, 5, 6], "x": [1]}}',
            "arrays.json",
            values=6,
        ),
    )
    foreign = EVERY


class TestMappedJsonLines(ImporterConformance):
    importer = mapped(
        "lines",
        '[recognise]\nheader = ["hz", "who"]\n[source]\nkind = "jsonl"',
        'column = "at"\nformat = "epoch"\nunit = "s"',
    )
    samples = (
        Sample(
            b'{"who": "ring-A", "hz": 1.5, "n": 4, "at": 1930381200}\n'
            b'{"who": "ring-B", "hz": 1.25, "n": 5, "at": 1930381200}\n'
            b'{"who": "ring-A", "hz": -1, "n": 6, "at": 1930381260, "x": [1, 2]}\n',
            "lines.jsonl",
            values=6,
        ),
    )
    foreign = EVERY


class TestMappedXml(ImporterConformance):
    importer = mapped(
        "elements",
        '[recognise]\nheader = ["vitals"]\n[source]\nkind = "xml"\nrecords = "session/r"',
        'column = "@t"',
        device="../@ring",
        rate="hz",
        steps="@n",
    )
    samples = (
        Sample(
            b'<vitals><session ring="ring-A">\n<r t="2031-03-04T09:00:00Z" n="4"><hz>1.5</hz></r>\n'
            b'<r t="2031-03-04T09:01:00Z" n="5"><hz/><x>3</x></r>\n</session><session ring="ring-B">\n'
            b'<r t="2031-03-04T09:00:00Z" n="6"><hz>-1</hz></r>\n</session></vitals>\n',
            "elements.xml",
            values=6,
        ),
    )
    foreign = EVERY


PARTS = {
    "[Content_Types].xml": '<Types xmlns="http://schemas.openxmlformats.org/package/2006/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    '<Override PartName="/xl/workbook.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"/>'
    '<Override PartName="/xl/s.xml" '
    'ContentType="application/vnd.openxmlformats-officedocument.spreadsheetml.worksheet+xml"/></Types>',
    "_rels/.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="a" Type="{office}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml": '<workbook xmlns="{main}" xmlns:r="{office}"><sheets>'
    '<sheet name="a" sheetId="1" r:id="b"/></sheets></workbook>',
    "xl/_rels/workbook.xml.rels": '<Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">'
    '<Relationship Id="b" Type="{office}/worksheet" Target="s.xml"/></Relationships>',
}
OFFICE = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
ROWS = (("at", "who", "hz", "n"), *((f"2031-03-04T09:0{n}:00Z", "ring-A", hz, n) for n, hz in enumerate((1.5, "", -1))))


def sheet() -> bytes:
    """Return a spreadsheet small enough to be cut at every byte: what ECMA-376 asks for, and three rows."""
    cells = ("".join(f'<c t="inlineStr"><is><t>{cell}</t></is></c>' for cell in row) for row in ROWS)
    rows = "".join(f"<row>{each}</row>" for each in cells)
    parts = PARTS | {"xl/s.xml": f'<worksheet xmlns="{{main}}"><sheetData>{rows}</sheetData></worksheet>'}
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, text in parts.items():
            archive.writestr(zipfile.ZipInfo(name), text.replace("{main}", MAIN).replace("{office}", OFFICE))
    return data.getvalue()


class TestMappedSheet(ImporterConformance):
    # Its name leaves out the kit's own spreadsheet: what the rows of one are cannot be seen in its first bytes.
    importer = mapped("xlsx", '[source]\nkind = "xlsx"', 'column = "at"\nzone = "UTC"')
    samples = (Sample(sheet(), "small.xlsx", values=6),)
    foreign = EVERY
