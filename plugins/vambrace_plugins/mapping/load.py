"""Reads a mapping file; every fault is one sentence with the file, the line and the remedy."""

from __future__ import annotations

import hashlib
import re
import tomllib
from types import MappingProxyType
from typing import Any, cast

from vambrace.plugin import SIGNALS, Refused
from vambrace_plugins.mapping.checks import checked
from vambrace_plugins.mapping.model import (
    KINDS,
    Device,
    Kind,
    Layout,
    Mapping,
    Recognise,
    SignalField,
    Time,
    Where,
)
from vambrace_plugins.mapping.tables import Table, Text
from vambrace_plugins.mapping.toml_lines import lines_of

_NAME = re.compile(r"^[a-z][a-z0-9]*(?:[-_][a-z0-9]+)*$")
_STATISTICS = ("instant", "mean", "max", "min", "total")
_COUNTS = ("steps", "revolutions", "unknown")


def load(file: str, text: str) -> Mapping:
    """Return the mapping that a text holds; `file` names it in messages. Raise Refused for a wrong one."""
    return checked(_read(file, text))


def _read(file: str, text: str) -> Mapping:
    lines = lines_of(text)
    top = Table(Text(file, lines), (), _parsed(file, text))
    name = top.text("name", needed="it names the importer that the mapping makes")
    if not _NAME.match(name):
        todo = "Use small letters, digits and single hyphens, as in band-a-minutes"
        raise top.fault("name", f'name cannot be "{name}"', todo)
    mapping = Mapping(
        name=name,
        title=top.text("title") or f"Table explained by the mapping {name}",
        recognise=_recognise(top.table("recognise")),
        layout=_layout(top.table("source", needed="it says what kind of file the export is")),
        time=_time(top.table("time", needed="it says which field holds the times")),
        signals=tuple(map(_signal, top.members("signals", needed="it says which fields hold signals"))),
        where=_where(top.table("where")),
        device=_device(top.table("device")),
        absent=top.words("absent"),
        constants=_constants(top.table("constants")),
        file=file,
        digest=hashlib.sha256(text.encode()).hexdigest(),
        lines=MappingProxyType(lines),
    )
    top.end()
    return mapping


def _parsed(file: str, text: str) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        what, _, place = str(error).partition(" (at ")
        line = re.search(r"line (\d+)", place)
        where = f"{file}, line {line[1]}" if line else f"{file}, last line"
        what = f"it is no TOML: {what[:1].lower()}{what[1:]}"
        raise Refused(
            "mapping-wrong", what, where=where, todo="Mend the line; texts stand in quotation marks"
        ) from None


def _recognise(table: Table) -> Recognise:
    found = Recognise(tuple(map(str.lower, table.texts("suffix"))), table.texts("header"), table.text("marker"))
    table.end()
    for suffix in found.suffix:
        if not re.match(r"^\.[a-z0-9]+$", suffix):
            raise table.fault("suffix", f'recognise.suffix cannot be "{suffix}"', 'Write it as in ".csv"')
    return found


def _layout(table: Table) -> Layout:
    kind = cast(Kind, table.choice("kind", KINDS, needed="it says what kind of file the export is"))
    found = Layout(
        kind,
        delimiter=table.choice("delimiter", ("comma", "semicolon", "tab", "pipe", ",", ";", "\t", "|", "fixed")),
        decimal=table.choice("decimal", ("dot", "comma", ".", ",")),
        encoding=table.text("encoding"),
        skip_lines=table.whole("skip_lines", 0, 0),
        records=table.text("records"),
        columns=table.text("columns"),
        sheet=table.text("sheet"),
        header_row=table.whole("header_row", 1, 1),
    )
    table.end()
    return found


def _time(table: Table) -> Time:
    found = Time(
        table.text("column", needed="it names the field that holds the times"),
        date=table.text("date"),
        end=table.text("end"),
        format=table.text("format") or "iso",
        date_format=table.text("date_format"),
        unit=table.choice("unit", ("s", "ms", "us", "ns", "mm:ss", "hh:mm")),
        epoch=table.text("epoch"),
        start=table.text("start"),
        first_date=table.text("first_date"),
        century=table.choice("century", ("19", "20")),
        repeated_hour=table.choice("repeated_hour", ("row-order",)),
        zone=table.text("zone"),
        zone_column=table.text("zone_column"),
        stamp=table.choice("stamp", ("start", "middle", "end")),
        interval_s=table.seconds("interval_s"),
        zones=_zones(table.table("zones")),
    )
    table.end()
    return found


def _zones(table: Table) -> tuple[tuple[str, str], ...]:
    return tuple((word.upper(), table.text(word)) for word in table.names)


def _signal(table: Table) -> SignalField:
    found = SignalField(
        table.text("field", needed="it names the field of the export that holds the values"),
        table.choice("signal", tuple(SIGNALS), needed="it says which signal the field is"),
        table.text("unit", needed="it says in which unit the values are"),
        counting=cast(Any, table.choice("counting", ("total", "increment"))),
        statistic=table.choice("statistic", _STATISTICS) or "instant",
        counts=table.choice("counts", _COUNTS),
        device=table.text("device"),
        sensor=table.text("sensor"),
        absent=table.words("absent"),
        where=_where(table.table("where")),
    )
    table.end()
    return found


def _where(table: Table) -> tuple[Where, ...]:
    return tuple(Where(key, table.words(key)) for key in table.names)


def _device(table: Table) -> Device:
    found = Device(
        table.text("column"),
        table.text("serial_column"),
        table.text("sensor_column"),
        table.text("recording_column"),
        manufacturer=table.text("manufacturer"),
        product=table.text("product"),
        serial=table.text("serial"),
        firmware=table.text("firmware"),
    )
    table.end()
    return found


def _constants(table: Table) -> MappingProxyType[str, str]:
    return MappingProxyType({key: table.text(key) for key in table.names})
