"""What a mapping file says of an export, in plain frozen values."""

from __future__ import annotations

from collections.abc import Mapping as Dict
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Literal, TypeAlias, get_args

from vambrace.plugin import Refused

Kind: TypeAlias = Literal["csv", "json", "jsonl", "xml", "xlsx"]
KINDS: tuple[str, ...] = get_args(Kind)
Word: TypeAlias = str | int | float | bool
"""What a cell is compared with: a text as it stands, or a number whatever zeros are written behind it."""
Place: TypeAlias = tuple[str | int, ...]
"""Where something stands in a mapping file: the names of tables and keys from the outermost on."""


@dataclass(frozen=True, slots=True)
class Recognise:
    """How the export is known; all that is said must hold.

    `header` are words of the header line of a table, names of members in JSON, of elements or attributes in XML;
    `marker` is a text in the first 4,096 bytes.
    """

    suffix: tuple[str, ...] = ()
    header: tuple[str, ...] = ()
    marker: str = ""


@dataclass(frozen=True, slots=True)
class Layout:
    """What kind of file it is, and where the rows stand in it; each setting belongs to some kinds only.

    `records` is the path of the array of records in JSON (`days[].samples`), or the repeated element in XML;
    `columns` is the path of the object whose members are arrays, a column each (`.` for the document itself).
    """

    kind: Kind
    delimiter: str = ""
    decimal: str = ""
    encoding: str = ""
    skip_lines: int = 0
    records: str = ""
    columns: str = ""
    sheet: str = ""
    header_row: int = 1


@dataclass(frozen=True, slots=True)
class Time:
    """Which fields say when a row was measured, and how.

    `format` is a name (`iso`, `epoch`, `elapsed`, `day-first`, …) or a pattern such as `%d.%m.%Y %H:%M`. `unit` is that
    of counts, `epoch` and `start` the instants from which they count. `stamp` says what a time marks of its interval;
    `zones` what the short names of zones behind times mean; `repeated_hour` what parts an hour that comes twice.
    """

    column: str
    date: str = ""
    end: str = ""
    format: str = "iso"
    date_format: str = ""
    unit: str = ""
    epoch: str = ""
    start: str = ""
    first_date: str = ""
    century: str = ""
    repeated_hour: str = ""
    zone: str = ""
    zone_column: str = ""
    stamp: str = ""
    interval_s: float | None = None
    zones: tuple[tuple[str, str], ...] = ()


@dataclass(frozen=True, slots=True)
class Where:
    """Takes the rows in which a field is one of the words."""

    field: str
    words: tuple[Word, ...]


@dataclass(frozen=True, slots=True)
class SignalField:
    """One field that holds a signal, perhaps in some rows only, perhaps of one device among several."""

    field: str
    signal: str
    unit: str
    counting: Literal["", "total", "increment"] = ""
    statistic: str = "instant"
    counts: str = ""
    device: str = ""
    sensor: str = ""
    absent: tuple[Word, ...] = ()
    where: tuple[Where, ...] = ()


@dataclass(frozen=True, slots=True)
class Device:
    """What tells the devices of the rows apart (fields), and what is the same for all of them (texts)."""

    column: str = ""
    serial_column: str = ""
    sensor_column: str = ""
    recording_column: str = ""
    manufacturer: str = ""
    product: str = ""
    serial: str = ""
    firmware: str = ""


@dataclass(frozen=True, slots=True)
class Mapping:
    """A whole mapping; `file` and `digest` name its text, `lines` says where each key stands in it."""

    name: str
    layout: Layout
    time: Time
    signals: tuple[SignalField, ...]
    title: str = ""
    recognise: Recognise = Recognise()
    where: tuple[Where, ...] = ()
    device: Device = Device()
    absent: tuple[Word, ...] = ()
    constants: Dict[str, str] = field(default_factory=lambda: MappingProxyType({}))
    file: str = "mapping"
    digest: str = ""
    lines: Dict[Place, int] = field(default_factory=lambda: MappingProxyType({}), compare=False, repr=False)

    @property
    def fields(self) -> tuple[str, ...]:
        """Return every field of the export that the mapping names, each once."""
        time, device = self.time, self.device
        found = [time.column, time.date, time.end, time.zone_column]
        found += [device.column, device.serial_column, device.sensor_column, device.recording_column]
        for each in self.signals:
            found += [each.field, *(one.field for one in each.where)]
        found += [one.field for one in self.where]
        return tuple(dict.fromkeys(name for name in found if name and name not in self.constants))

    def where_is(self, *place: str | int) -> str:
        """Return where a key stands, for people: the file and the line of the key, or of the table around it."""
        line = next((self.lines[place[:n]] for n in range(len(place), 0, -1) if place[:n] in self.lines), 0)
        return f"{self.file}, line {line}" if line else self.file

    def refusal(self, code: str, place: Place, what: str, todo: str) -> Refused:
        """Return the refusal of a source that does not fit what the mapping says at a place."""
        return Refused(code, what, where=self.where_is(*place), todo=todo)

    def fault(self, place: Place, what: str, todo: str) -> Refused:
        """Return the error of a mapping that is wrong at a place."""
        return Refused("mapping-wrong", what, where=self.where_is(*place), todo=todo)
