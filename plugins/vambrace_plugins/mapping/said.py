"""Says in the CSV importer's words what a mapping says, so that one machinery reads both."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, date, datetime

from vambrace_plugins.importers.csv.options import EPOCHS, ORDERS, Options, Said, check
from vambrace_plugins.importers.csv.timewords import TimeWords
from vambrace_plugins.importers.csv.vocabulary import Heading, counted, is_total
from vambrace_plugins.mapping.model import Mapping, SignalField, Time

_DECIMAL = {"comma": ",", "dot": "."}


def said_of(mapping: Mapping) -> Said:
    """Return the options of a table that the mapping stands for."""
    layout, time = mapping.layout, mapping.time
    decimal = _DECIMAL.get(layout.decimal, layout.decimal)
    if not decimal and layout.kind != "csv":
        # Only tables of text are written by the customs of a place.
        decimal = "."
    plain = check(Options(delimiter=layout.delimiter, decimal=decimal, encoding=layout.encoding))
    return _with_times(plain, time)


def _with_times(plain: Said, time: Time) -> Said:
    kind, unit, epoch_s = "", "", 0
    if time.format in ORDERS:
        kind = time.format
    elif time.format in {"epoch", "elapsed"}:
        kind, unit = time.format, time.unit
        epoch_s = _seconds(time.epoch) if time.epoch else 0
    elif time.format.startswith("serial"):
        kind, unit, epoch_s = "serial", "d", EPOCHS[time.format]
    return Said(
        delimiter=plain.delimiter,
        decimal=plain.decimal,
        encoding=plain.encoding,
        columns={},
        units={},
        time_kind=kind,
        time_unit=unit,
        epoch_s=epoch_s,
        start_s=_seconds(time.start) if time.start else None,
        date=date.fromisoformat(time.first_date) if time.first_date else None,
        century=time.century,
        zones={},
        row_order=False,
        counting={},
        stamp=time.stamp,
        interval_s=time.interval_s,
    )


def _seconds(instant: str) -> int:
    return int((datetime.fromisoformat(instant) - datetime(1970, 1, 1, tzinfo=UTC)).total_seconds())


def headings(names: Sequence[str], mapping: Mapping, signals: Sequence[SignalField]) -> list[Heading]:
    """Return what each field is to the mapping, for rows in which these signals stand."""
    held = {each.field: each for each in signals}
    return [_heading(name, mapping, held.get(name)) for name in names]


def _heading(name: str, mapping: Mapping, held: SignalField | None) -> Heading:
    time, device = mapping.time, mapping.device
    if held is not None:
        found = Heading(
            name,
            signal=held.signal,
            unit=held.unit,
            statistic=held.statistic,
            counting=held.counting if is_total(held.signal) else "",
            counts=held.counts,
            sensor=held.sensor,
            device=held.device,
        )
        return found if held.counts else counted(found)
    words = TimeWords(told=True, zone="Z" if time.zone == "UTC" else time.zone)
    if name == time.column:
        return Heading(name, time=words)
    keys = {
        device.column: "product",
        device.serial_column: "serial",
        device.sensor_column: "sensor",
        device.recording_column: "recording",
    }
    parts = {time.date: ("date", ""), time.end: ("time", "end"), time.zone_column: ("offset", "")}
    if name in parts:
        part, edge = parts[name]
        return Heading(name, time=TimeWords(part, edge, told=True, zone=words.zone if edge else ""))
    return Heading(name, key=keys.get(name, ""))
