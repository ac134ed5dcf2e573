"""Says whether a source is the export that a mapping explains, from its name and first bytes."""

from __future__ import annotations

import csv
import re

from vambrace.plugin import Head
from vambrace_plugins.importers.csv.encoding import first_text
from vambrace_plugins.importers.csv.options import DELIMITERS
from vambrace_plugins.importers.xmlprolog import head_start
from vambrace_plugins.mapping.model import Mapping
from vambrace_plugins.mapping.said import said_of

_SUFFIXES = {"xlsx": (".xlsx",)}


def fits(mapping: Mapping, head: Head) -> bool:
    """Say whether all that a mapping says of how the export is known holds for a source."""
    known = mapping.recognise
    suffixes = known.suffix or _SUFFIXES.get(mapping.layout.kind, ())
    if suffixes and head.suffix not in suffixes:
        return False
    if mapping.layout.kind == "xlsx":
        return head.data.startswith(b"PK\x03\x04") and (not known.marker or known.marker.encode() in head.data)
    text = _text(mapping, head.data)
    if known.marker and known.marker not in text:
        return False
    if mapping.layout.kind == "csv":
        return _has_header(mapping, text)
    if mapping.layout.kind == "xml":
        return head_start(head.data).kind == "root" and all(_in_xml(word, text) for word in known.header)
    begins = text.lstrip()[:1]
    return begins in {"{", "["} and all(re.search(rf'"{re.escape(word)}"\s*:', text) for word in known.header)


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
