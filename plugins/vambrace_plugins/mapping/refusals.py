"""Refusals of the CSV importer's machinery in the words of a mapping, which is where they can be settled."""

from __future__ import annotations

import re
from dataclasses import replace

from vambrace.plugin import Recording, Refused
from vambrace_plugins.mapping.model import Mapping, Place

_BY_CODE: dict[str, tuple[Place, str]] = {
    "time-two-readings": (
        ("time", "format"),
        'Say the format, as in format = "day-first" or format = "%d/%m/%Y %H:%M"',
    ),
    "time-mixed": (("time", "format"), "Write them all in one way, or give the format of most as a pattern"),
    "time-notation": (("time", "format"), 'Say the format as a pattern, as in format = "%d.%m.%Y %H:%M:%S"'),
    "time-two-digit-year": (("time", "format"), 'Say the format and the century, as in "%d.%m.%y %H:%M"'),
    "time-without-date": (
        ("time",),
        "Name the field of dates as date, or give the date of the first row as first_date",
    ),
    "time-days-only": (("time", "column"), "Name the field that has the time of day"),
    "time-unit-contradicts": (("time", "unit"), "Give the unit in which they count"),
    "zone-word": (("time",), 'Say what it means, as in zones = { PST = "-08:00" }'),
    "zone-two-readings": (("time",), "Give the zone of all times as zone"),
    "unit-two-readings": (("signals",), "Mend the cells, or the unit of the field"),
    "decimal-two-readings": (("source",), 'Say the decimal mark, as in decimal = "comma"'),
    "decimal-not-said": (("source",), 'Say the decimal mark, as in decimal = "comma"'),
    "decimal-two-marks": (("source",), 'Say the decimal mark, as in decimal = "comma", or mend the cells'),
    "decimal-late": (("source",), 'Say the decimal mark, as in decimal = "comma"'),
    "delimiter-two-readings": (("source",), 'Say the delimiter, as in delimiter = "semicolon"'),
    "no-known-column": (("source",), "Look whether the fields of the mapping are named as the export names them"),
    "encoding-not-said": (("source",), 'Say the encoding, as in encoding = "cp1252"'),
    "too-many-recordings": (("device",), "Leave out a field that does not tell devices apart"),
}
_SAID = (
    (", as the header says", ", as the mapping says"),
    ("the start that csv.start gives", "the start that the mapping gives"),
    ("as csv.century says", "as the mapping says"),
    ("as csv.date says", "as the mapping says"),
    ("as csv.repeated_hour says", "as the mapping says"),
    ("as csv.zones says", "as the mapping says"),
)
_OPTION = re.compile(r"--option|\bcsv\.")


def in_words_of(mapping: Mapping, error: Refused) -> Refused:
    """Return a refusal whose remedy is an option of the CSV importer with the mapping's remedy in its place."""
    if not _OPTION.search(f"{error.what} {error.todo}"):
        return error
    place, todo = _BY_CODE.get(error.code, ((), "Mend the mapping, or the export"))
    if error.code.startswith("decimal-") and mapping.layout.decimal:
        todo = "Mend the cells: the mapping says the decimal mark already"
    what = re.sub(r"\s*the option csv\.\w+", " the mapping", error.what)
    return Refused(error.code, what, where=mapping.where_is(*place), todo=todo)


def said_by_mapping(item: Recording) -> Recording:
    """Return what is known of a recording with sentences that name the mapping where an option would be named."""
    sentences = item.conversions
    for before, after in _SAID:
        sentences = tuple(sentence.replace(before, after) for sentence in sentences)
    return replace(item, conversions=sentences)
