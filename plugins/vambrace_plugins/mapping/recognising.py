"""Says whether a source is the export that a mapping explains, from its name and first bytes."""

from __future__ import annotations

import csv
import re

from vambrace.plugin import Claim, Head
from vambrace_plugins.importers.csv.encoding import first_text
from vambrace_plugins.importers.csv.options import DELIMITERS
from vambrace_plugins.importers.xmlprolog import head_start
from vambrace_plugins.mapping.model import Mapping
from vambrace_plugins.mapping.said import said_of

_SUFFIXES = {"xlsx": (".xlsx",)}
# Every member of a spreadsheet that holds cells stands below this, and one is among the first (ECMA-376, part 1).
_SHEETS = b"xl/"


def claim_of(mapping: Mapping, head: Head) -> Claim:
    """Claim a source for which all holds that a mapping says of how the export is known; say what does not hold."""
    known = mapping.recognise
    suffixes = known.suffix or _SUFFIXES.get(mapping.layout.kind, ())
    if suffixes and head.suffix not in suffixes:
        return _not(mapping, f"its name does not end in {' or '.join(suffixes)}")
    if mapping.layout.kind == "xlsx":
        return _sheet(mapping, head)
    text = _text(mapping, head.data)
    if known.marker and known.marker not in text:
        return _not(mapping, f'its beginning does not hold "{known.marker}"')
    names = known.header or (mapping.fields if mapping.layout.kind == "csv" else ())
    shown = ", ".join(f'"{name}"' for name in names[:4]) + (", …" if len(names) > 4 else "")
    if mapping.layout.kind == "csv":
        there, where = _has_header(mapping, text), "in a line of"
    elif mapping.layout.kind == "xml":
        there, where = head_start(head.data).kind == "root" and all(_in_xml(name, text) for name in names), "in"
    else:
        begins = text.lstrip()[:1] in {"{", "["}
        there, where = begins and all(re.search(rf'"{re.escape(name)}"\s*:', text) for name in names), "in"
    if not there:
        what = (
            f"{shown} {'does' if len(names) == 1 else 'do'} not stand {where} its beginning"
            if names
            else f"it does not begin as {mapping.layout.kind}"
        )
        return _not(mapping, what)
    found = (
        f"{shown} {'stands' if len(names) == 1 else 'stand'} {where} its beginning"
        if names
        else f'"{known.marker}" stands in its beginning'
    )
    return Claim.SIGNATURE.because(f"{found}, as {mapping.file} says")


def _sheet(mapping: Mapping, head: Head) -> Claim:
    if not (head.data.startswith(b"PK\x03\x04") and _SHEETS in head.data):
        return _not(mapping, "it does not begin as a spreadsheet")
    if mapping.recognise.marker.encode() not in head.data:
        return _not(mapping, f'its beginning does not hold "{mapping.recognise.marker}"')
    return Claim.SIGNATURE.because(f"it is a spreadsheet, as {mapping.file} says")


def _not(mapping: Mapping, what: str) -> Claim:
    return Claim.NONE.because(f"{what}, as {mapping.file} says")


def _text(mapping: Mapping, data: bytes) -> str:
    encoding = mapping.layout.encoding
    return data.decode(encoding, "ignore") if encoding else first_text(data).lstrip("\ufeff")


def _in_xml(word: str, text: str) -> bool:
    return re.search(rf"[<\s:]{re.escape(word)}[\s=>/]", text) is not None


def _has_header(mapping: Mapping, text: str) -> bool:
    """Say whether a line has all words of the header: those that are said, or else every field that is mapped."""
    words = {*(mapping.recognise.header or mapping.fields)}
    said = said_of(mapping).delimiter
    delimiters = (said,) if said in DELIMITERS else DELIMITERS
    lines = text.splitlines()[mapping.layout.skip_lines :]
    if not all(word in text for word in words):
        return False
    if said == "fixed":
        return any(all(word in line for word in words) for line in lines)
    return any(words <= _cells(line, delimiter) for line in lines for delimiter in delimiters)


def _cells(line: str, delimiter: str) -> set[str]:
    try:
        row = next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return set()
    return {cell.strip() for cell in row}
