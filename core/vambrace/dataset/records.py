"""What became of one content under one set of settings: the commit record, to JSON and back."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, field, fields
from typing import Any, TypeVar

from vambrace.errors import VambraceError
from vambrace.rules import Severity

STATUSES = ("converted", "partial", "duplicate", "superseded", "unrecognised", "rejected", "ignored")
"""The closed list of what can become of a source, as the ledger shows it."""

OWN_STATUSES = ("converted", "partial", "unrecognised", "rejected", "ignored")
"""What a record itself may say; `duplicate` and `superseded` follow from the other records."""

SEVERITIES = tuple(str(each) for each in Severity)


@dataclass(frozen=True, slots=True, order=True)
class Occurrence:
    """One place where the content was found: the SOURCE as given, and the path below it."""

    root: str
    path: str


@dataclass(frozen=True, slots=True)
class Stamp:
    """What a committed Parquet file holds: its rows, its bytes, and the SHA-256 of these."""

    rows: int
    bytes: int
    sha256: str


@dataclass(frozen=True, slots=True)
class RecordingRow:
    """One row of `recordings`; path, root, sha256 and importer stand in the record. Times are µs of Unix time."""

    recording: str
    format: str
    manufacturer: str | None = None
    product: str | None = None
    serial: str | None = None
    firmware: str | None = None
    zone: str | None = None
    zone_known_by: str | None = None
    start_us: int | None = None
    end_us: int | None = None
    complete: bool | None = None
    conversions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ChannelRow:
    """One row of `channels`; `signal` is None for a source field that is not carried, `n` then counts its values."""

    recording: str
    signal: str | None
    n: int = 0
    n_set_aside: int = 0
    n_suspect: int = 0
    n_absent: int = 0
    field_in_source: str | None = None
    unit_in_source: str | None = None
    statistic: str | None = None
    counts: str | None = None
    sensor: str | None = None
    median_interval_s: float | None = None
    gaps: int | None = None
    longest_gap_s: float | None = None


@dataclass(frozen=True, slots=True)
class EventRow:
    """One row of `events`."""

    recording: str
    time_us: int | None
    kind: str
    text: str | None = None


@dataclass(frozen=True, slots=True)
class FindingRow:
    """One row of `findings`; its path stands in the record."""

    rule: str
    severity: str
    message: str
    recording: str | None = None
    signal: str | None = None
    first_us: int | None = None
    last_us: int | None = None
    count: int = 1

    def __post_init__(self) -> None:
        """Raise ValueError for a severity that is not in the closed list."""
        if self.severity not in SEVERITIES:
            raise ValueError(f"a finding has one of the severities {', '.join(SEVERITIES)}, not {self.severity!r}")


@dataclass(frozen=True, slots=True)
class Record:
    """What became of one content (or, without `sha256`, of one entry that has none) under one set of settings.

    `rows_…` count sample candidates, and rows_read = rows_kept + rows_set_aside + rows_outside. `shard` and `aside`
    stamp the Parquet files of the rows kept and set aside. `code` names a refusal, `reason` is its sentence.
    `replaces` holds the keys of the records whose place this one took, and `revision` is one more than theirs, so that
    which of two records is the newer never depends on a clock. The store fills in both.
    """

    key: str
    sha256: str | None
    bytes: int | None
    status: str
    occurrences: tuple[Occurrence, ...]
    reason: str | None = None
    code: str | None = None
    importer: str | None = None
    importer_version: str | None = None
    settings: Mapping[str, Any] = field(default_factory=dict)
    rows_read: int = 0
    rows_kept: int = 0
    rows_set_aside: int = 0
    rows_outside: int = 0
    rows_absent: int = 0
    recordings: tuple[RecordingRow, ...] = ()
    channels: tuple[ChannelRow, ...] = ()
    events: tuple[EventRow, ...] = ()
    findings: tuple[FindingRow, ...] = ()
    shard: Stamp | None = None
    aside: Stamp | None = None
    replaces: tuple[str, ...] = ()
    revision: int = 1

    def __post_init__(self) -> None:
        """Raise ValueError where the record contradicts itself: an unknown status, or rows that do not add up."""
        if self.status not in OWN_STATUSES:
            raise ValueError(f"a record has one of the statuses {', '.join(OWN_STATUSES)}, not {self.status!r}")
        if not self.occurrences:
            raise ValueError("a record names at least one place where its content was found")
        if self.rows_read != self.rows_kept + self.rows_set_aside + self.rows_outside:
            raise ValueError(
                f"rows read ({self.rows_read}) are not rows kept ({self.rows_kept}) + set aside "
                f"({self.rows_set_aside}) + outside ({self.rows_outside})"
            )
        if self.rows_kept != (self.shard.rows if self.shard else 0):
            raise ValueError(f"rows kept ({self.rows_kept}) are not the rows of the shard ({self.shard})")
        if self.rows_set_aside != (self.aside.rows if self.aside else 0):
            raise ValueError(f"rows set aside ({self.rows_set_aside}) are not the rows of their file ({self.aside})")


def content_key(sha256: str, settings: Mapping[str, Any]) -> str:
    """Return the key of a content under settings: everything that changes a value or an instant."""
    return hashlib.sha256(_canonical(["content", sha256, settings])).hexdigest()


def entry_key(root: str, path: str) -> str:
    """Return the key of an entry whose content was not read: ignored, a pipe, unreadable."""
    return hashlib.sha256(_canonical(["entry", root, path])).hexdigest()


def _canonical(document: Any) -> bytes:
    text = json.dumps(document, sort_keys=True, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    # Names that are no UTF-8 reach us with lone surrogates; this error handler writes them as JSON's own \udcff.
    return text.encode("utf-8", "backslashreplace")


def record_to_json(record: Record) -> bytes:
    """Return a record as JSON: sorted keys, UTF-8, one newline at the end; the same record gives the same bytes."""
    text = json.dumps(asdict(record), sort_keys=True, ensure_ascii=False, allow_nan=False, indent=1)
    return text.encode("utf-8", "backslashreplace") + b"\n"


def record_from_json(data: bytes, where: str) -> Record:
    """Return the record in JSON bytes; raise VambraceError that names the file where they are damaged."""
    try:
        document = json.loads(data.decode("utf-8"))
        return _record(document)
    except (ValueError, TypeError, RecursionError) as error:
        raise VambraceError(
            f"the commit record is damaged: {error}",
            where=where,
            todo="Restore the file from a copy, or remove it and convert its source again",
        ) from error


def _record(document: Any) -> Record:
    plain = _checked(Record, document, nested=_NESTED)
    return Record(**plain)


def _rows_of(kind: type[_Row], document: Any) -> tuple[_Row, ...]:
    if not isinstance(document, Sequence) or isinstance(document, str):
        raise TypeError(f"a list of {kind.__name__} was expected")
    return tuple(kind(**_checked(kind, item, nested={})) for item in document)


def _stamp(document: Any) -> Stamp | None:
    return None if document is None else Stamp(**_checked(Stamp, document, nested={}))


_Row = TypeVar("_Row", Occurrence, RecordingRow, ChannelRow, EventRow, FindingRow)

_NESTED = {
    "occurrences": lambda document: _rows_of(Occurrence, document),
    "recordings": lambda document: _rows_of(RecordingRow, document),
    "channels": lambda document: _rows_of(ChannelRow, document),
    "events": lambda document: _rows_of(EventRow, document),
    "findings": lambda document: _rows_of(FindingRow, document),
    "shard": _stamp,
    "aside": _stamp,
}


def _checked(kind: type[Any], document: Any, nested: Mapping[str, Any]) -> dict[str, Any]:
    """Return the fields of a dataclass from JSON; raise ValueError or TypeError where names or types are others."""
    if not isinstance(document, dict):
        raise TypeError(f"an object for {kind.__name__} was expected")
    types = {one.name: str(one.type) for one in fields(kind)}
    if types.keys() != document.keys():
        odd = sorted(types.keys() ^ document.keys())
        raise ValueError(f"{kind.__name__} has missing or unknown names: {', '.join(odd)}")
    return {
        name: nested[name](value) if name in nested else _typed(f"{kind.__name__}.{name}", types[name], value)
        for name, value in document.items()
    }


_JSON_TYPES: Mapping[str, type | tuple[type, ...]] = {
    "str": str,
    "int": int,
    "float": (float, int),
    "bool": bool,
    "None": type(None),
    "Mapping[str, Any]": dict,
}


def _typed(name: str, declared: str, value: Any) -> Any:
    """Return the value if it is of the declared type."""
    if declared == "tuple[str, ...]" and isinstance(value, list) and all(isinstance(one, str) for one in value):
        return tuple(value)
    for part in declared.split(" | "):
        kind = _JSON_TYPES.get(part)
        # JSON's true and false are integers to Python; a count is not a truth value.
        if kind is not None and isinstance(value, kind) and (part == "bool" or not isinstance(value, bool)):
            return value
    raise TypeError(f"{name} should be {declared}, not {type(value).__name__}")
