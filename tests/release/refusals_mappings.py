"""Refusals of tables that a mapping file explains."""

from __future__ import annotations

import io
import sys
from pathlib import Path
from unittest.mock import patch

from openpyxl import Workbook
from refusal_example import Call

from vambrace.plugin import Source
from vambrace_plugins.mapping import MappedImporter, load

MAPPING = """name = "band"

[source]
kind = "csv"

[time]
column = "when"
format = "%d.%m.%Y %H:%M"
zone = "UTC"

[[signals]]
field = "puls"
signal = "heart_rate"
unit = "bpm"
"""
IN_JSON = MAPPING.replace('"csv"', '"json"\nrecords = "days"').replace(
    "[source]", '[recognise]\nmarker = "{"\n[source]'
)
SHEET = MAPPING.replace('"csv"', '"xlsx"')
GOOD = b"when,puls\n04.03.2031 09:00,60\n"


def read(mapping: str, data: bytes) -> None:
    importer = MappedImporter(load("band.toml", mapping))
    list(importer.read(Source("a", len(data), lambda: io.BytesIO(data))))


def sheet() -> bytes:
    book = Workbook()
    book.active.append(["when", "puls"])
    book.active.append(["04.03.2031 09:00", 60])
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def other_times(folder: Path) -> None:
    read(MAPPING, b"when,puls\n2031-03-04T09:00,60\n")


def no_such_field(folder: Path) -> None:
    read(MAPPING, b"when,pulse\n04.03.2031 09:00,60\n")


def a_fitting_table(folder: Path) -> None:
    read(MAPPING, GOOD)


def no_such_records(folder: Path) -> None:
    read(IN_JSON, b'{"weeks": [{"when": "04.03.2031 09:00", "puls": 60}]}')


def fitting_records(folder: Path) -> None:
    read(IN_JSON, b'{"days": [{"when": "04.03.2031 09:00", "puls": 60}]}')


def without_the_library(folder: Path) -> None:
    data = sheet()
    with patch.dict(sys.modules, {"openpyxl": None}):
        read(SHEET, data)


def with_the_library(folder: Path) -> None:
    read(SHEET, sheet())


def wrong(folder: Path) -> None:
    load("band.toml", MAPPING.replace('"bpm"', '"km/h"'))


def right(folder: Path) -> None:
    load("band.toml", MAPPING)


EXAMPLES = (
    Call("mapping-wrong", "The mapping file makes no sense; no row is read.", wrong, right),
    Call(
        "mapping-time",
        "The format that the mapping gives fits none of the first times, or they are empty.",
        other_times,
        a_fitting_table,
    ),
    Call("mapping-field", "The export lacks a field that the mapping names.", no_such_field, a_fitting_table),
    Call(
        "mapping-records",
        "The export has nothing where the mapping says that its rows stand.",
        no_such_records,
        fitting_records,
    ),
    Call("not-installed", "A library that this kind of file needs is missing.", without_the_library, with_the_library),
)
