"""Checks that a mapping makes sense as a whole, before any row is read."""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from datetime import date, datetime

from vambrace.plugin import SIGNALS, Refused, Source
from vambrace_plugins.importers.csv.vocabulary import is_total
from vambrace_plugins.mapping.model import Mapping, Place, SignalField
from vambrace_plugins.mapping.timeformats import FORMATS, Pattern

_SETTINGS = {
    "csv": ("delimiter", "decimal", "encoding", "skip_lines"),
    "json": ("records", "columns"),
    "jsonl": ("records", "columns"),
    "xml": ("records", "decimal"),
    "xlsx": ("sheet", "header_row", "decimal"),
}
_OFFSET = re.compile(r"^[+-](?:[01][0-9]|2[0-3]):[0-5][0-9]$")
_COUNTED = ("epoch", "elapsed", "serial-1900", "serial-1904")


def checked(mapping: Mapping) -> Mapping:
    """Return the mapping; raise Refused for the first thing in it that makes no sense."""
    for check in (
        _check_layout,
        _check_recognise,
        _check_signals,
        _check_twins,
        _check_time,
        _check_zone,
        _check_spans,
    ):
        for fault in check(mapping):
            raise fault
    return mapping


def _check_layout(mapping: Mapping) -> Iterator[Refused]:
    layout = mapping.layout
    known = _SETTINGS[layout.kind]
    for place in mapping.lines:
        if place[:1] == ("source",) and len(place) == 2 and place[1] not in {"kind", *known}:
            what = f"source.{place[1]} has no meaning for {layout.kind}"
            yield mapping.fault(place, what, f"Leave it out; {layout.kind} has {', '.join(known)}")
    if layout.records and layout.columns:
        what = "both source.records and source.columns say where the values stand"
        yield mapping.fault(("source", "columns"), what, "Leave one out")
    if layout.kind == "xml" and not layout.records:
        what = "source.records is missing: it names the element that is repeated for each row"
        yield mapping.fault(("source",), what, 'Add it there, as in records = "Record"')
    if layout.encoding and not _is_encoding(layout.encoding):
        what = f'source.encoding cannot be "{layout.encoding}"'
        yield mapping.fault(("source", "encoding"), what, "Give the name of a text encoding, as in cp1252")


def _is_encoding(name: str) -> bool:
    try:
        codecs.lookup(name)
        "x".encode(name)
    except (LookupError, UnicodeError):
        return False
    return True


def _check_recognise(mapping: Mapping) -> Iterator[Refused]:
    known = mapping.recognise
    if mapping.layout.kind in {"csv", "xlsx"} or known.header or known.marker:
        return
    what = f"recognise says nothing by which this {mapping.layout.kind} can be told from any other"
    todo = "Add recognise.header, names that stand in its beginning, or recognise.marker, a text that does"
    yield mapping.fault(("recognise",) if ("recognise",) in mapping.lines else ("source",), what, todo)


def _check_signals(mapping: Mapping) -> Iterator[Refused]:
    for at, each in enumerate(mapping.signals):
        signal = SIGNALS[each.signal]
        if not signal.ucum(each.unit):
            units = dict.fromkeys((signal.unit, signal.shown_unit or signal.unit, *signal.accepts))
            what = f'"{each.unit}" is no unit of {each.signal}'
            yield mapping.fault(("signals", at, "unit"), what, f"Give one of {', '.join(units)}")
        if is_total(each.signal) and not each.counting:
            what = f'"{each.field}" does not say whether its values are a running total or the count of one interval'
            yield mapping.fault(("signals", at), what, 'Add counting = "total" or counting = "increment" there')
        if each.counting and not is_total(each.signal):
            what = f"counting has no meaning for {each.signal}, which counts nothing"
            yield mapping.fault(("signals", at, "counting"), what, "Leave it out")
        if each.counts and each.signal != "cadence":
            what = f"counts has no meaning for {each.signal}; it says what a cadence counts"
            yield mapping.fault(("signals", at, "counts"), what, "Leave it out")
        if each.field in mapping.constants:
            what = f'the field "{each.field}" of {each.signal} is a constant'
            yield mapping.fault(("signals", at, "field"), what, "Name a field of the export")


def _check_twins(mapping: Mapping) -> Iterator[Refused]:
    """Find two fields for one signal of one device, and two signals for one field in the same rows."""
    signals: dict[tuple[str, str], tuple[int, SignalField]] = {}
    fields: dict[tuple[object, ...], tuple[int, SignalField]] = {}
    for at, each in enumerate(mapping.signals):
        where, twin = signals.setdefault((each.signal, each.device), (at, each))
        if twin is not each:
            line = mapping.where_is("signals", where).rpartition("line ")[2]
            of = f'the device "{each.device}"' if each.device else "one device"
            what = f'both "{twin.field}" (line {line}) and "{each.field}" are {each.signal} of {of}'
            todo = 'Leave one out, or give each the device that it belongs to, as in device = "band-A"'
            yield mapping.fault(("signals", at), what, todo)
        where, twin = fields.setdefault((each.field, each.where), (at, each))
        if twin is not each:
            line = mapping.where_is("signals", where).rpartition("line ")[2]
            what = f'the field "{each.field}" is both {twin.signal} (line {line}) and {each.signal}'
            todo = 'Leave one out, or say in which rows it is which, as in where = { type = "…" }'
            yield mapping.fault(("signals", at, "field"), what, todo)


def _check_time(mapping: Mapping) -> Iterator[Refused]:
    time = mapping.time
    yield from _check_formats(mapping)
    counted = time.format in _COUNTED
    for key, value, wanted in (
        ("unit", time.unit, ("epoch", "elapsed")),
        ("epoch", time.epoch, ("epoch",)),
        ("start", time.start, ("elapsed",)),
    ):
        if value and time.format not in wanted:
            what = f'time.{key} has no meaning for the format "{time.format}"'
            yield mapping.fault(("time", key), what, f'Leave it out, or say format = "{wanted[0]}"')
    if time.format in {"epoch", "elapsed"} and not time.unit:
        yield mapping.fault(("time",), "time.unit is missing: it says what the times count", "Add one of s, ms, us, ns")
    if time.format == "epoch" and ":" in time.unit:
        yield mapping.fault(("time", "unit"), f'"{time.unit}" is no unit of an epoch', "Give one of s, ms, us, ns")
    if time.format == "elapsed" and not time.start:
        todo = 'Add the instant from which they count, as in start = "2031-03-04T09:00:00Z"'
        yield mapping.fault(("time",), "time.start is missing, and the times count from a start", todo)
    if counted and (time.date or time.first_date):
        key = "date" if time.date else "first_date"
        yield mapping.fault(("time", key), f'time.{key} has no meaning for the format "{time.format}"', "Leave it out")
    for key, value, example in (
        ("start", time.start, "2031-03-04T09:00:00Z"),
        ("epoch", time.epoch, "1970-01-01T00:00:00Z"),
    ):
        if value and not _is_instant(value):
            what = f'time.{key} cannot be "{value}"'
            yield mapping.fault(("time", key), what, f"Give an instant in whole seconds with its zone, as in {example}")
    if time.first_date and not _is_date(time.first_date):
        what = f'time.first_date cannot be "{time.first_date}"'
        yield mapping.fault(("time", "first_date"), what, "Give the date of the first row, as in 2031-03-04")


def _check_formats(mapping: Mapping) -> Iterator[Refused]:
    time = mapping.time
    for key, text in (("format", time.format), ("date_format", time.date_format)):
        place: Place = ("time", key)
        if not text or ("%" not in text and text in FORMATS):
            continue
        if "%" not in text:
            todo = f"Give one of {', '.join(FORMATS)}, or a pattern such as %d.%m.%Y %H:%M:%S"
            yield mapping.fault(place, f'time.{key} cannot be "{text}"', todo)
            continue
        try:
            pattern = Pattern.of(text)
        except ValueError as error:
            todo = "Use %Y %m %d %H %M %S, and %f %y %b %B %I %p %z, each once"
            yield mapping.fault(place, f'time.{key} cannot be "{text}": {error}', todo)
            continue
        if pattern.short_year and not time.century:
            what = f'"{text}" has years of two digits'
            yield mapping.fault(place, what, 'Add their first two digits, as in century = "20"')
        if key == "format" and not pattern.clock:
            yield mapping.fault(place, f'"{text}" has no hours', "Add %H, and what stands around it")
        if key == "format" and not (pattern.day or time.date or time.first_date):
            todo = 'Add the field that has dates, as in date = "day", or the date of the first row as first_date'
            yield mapping.fault(place, f'"{text}" has no date, and nothing else says it', todo)
        if key == "date_format" and not pattern.day:
            yield mapping.fault(place, f'"{text}" is no date of year, month and day', "Add what is missing")
    if time.date_format and not time.date:
        yield mapping.fault(
            ("time", "date_format"), "time.date_format has no field of dates", "Add date, or leave it out"
        )


def _is_instant(text: str) -> bool:
    try:
        found = datetime.fromisoformat(text)
    except ValueError:
        return False
    return found.tzinfo is not None and not found.microsecond


def _is_date(text: str) -> bool:
    try:
        date.fromisoformat(text)
    except ValueError:
        return False
    return True


def _check_zone(mapping: Mapping) -> Iterator[Refused]:
    time = mapping.time
    key = "zone" if time.zone else "zone_column"
    if (time.zone or time.zone_column) and time.format in {"epoch", "elapsed"}:
        what = f'time.{key} has no meaning for the format "{time.format}": such counts are instants'
        yield mapping.fault(("time", key), what, "Leave it out")
    if time.zone and time.zone_column:
        what = "both time.zone and time.zone_column say the zone"
        yield mapping.fault(("time", "zone_column"), what, "Leave one out")
    if time.format.startswith("serial") and (time.zone not in {"", "UTC"} or time.zone_column):
        what = "days of a spreadsheet are of its own clock, whose zone a mapping can only say to be UTC"
        yield mapping.fault(("time", key), what, "Leave it out, and give the zone with --zone")
    if not time.zone or time.zone in {"UTC", "Z"} or _OFFSET.match(time.zone):
        return
    try:
        Source.check_zone(time.zone)
    except Refused as error:
        yield mapping.fault(("time", "zone"), error.what, f"{error.todo}, or an offset such as +01:00")


def _check_spans(mapping: Mapping) -> Iterator[Refused]:
    time = mapping.time
    if time.stamp in {"start", "middle"} and time.interval_s is None and not time.end:
        what = f"the times mark the {time.stamp} of their intervals, and nothing says how long these are"
        yield mapping.fault(("time", "stamp"), what, "Add interval_s, their length in seconds, or end, a field")
    for key in ("stamp", "interval_s"):
        if time.end and getattr(time, key):
            what = f"time.{key} has no meaning where time.end names the ends"
            yield mapping.fault(("time", key), what, "Leave it out")
    counts = [each.field for each in mapping.signals if each.counting == "increment"]
    if counts and not (time.stamp or time.end):
        what = f'nothing says whether a time is the start, the middle or the end of what "{counts[0]}" counts'
        yield mapping.fault(("time",), what, 'Add stamp = "start", "middle" or "end" to [time]')
