"""The door: all that an importer or a writer needs, and all that a plugin may import.

A plugin is a module (or object) with functions marked `hookimpl` that return importers or writers; its package names
it under the entry-point group `vambrace`. Importers translate and never convert: they hand over what the file says,
in the file's own units and clock.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from enum import IntEnum
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO, ClassVar, Protocol, runtime_checkable

import pluggy

from vambrace import clock
from vambrace.batch import Column, Event, Instants, Recording, SourceBatch, Times
from vambrace.errors import DamagedFile, Refused, Rejected, VambraceError
from vambrace.schema import SIGNALS

if TYPE_CHECKING:
    import pyarrow as pa

__all__ = [
    "SIGNALS",
    "Claim",
    "Column",
    "DamagedFile",
    "Event",
    "Head",
    "Importer",
    "Recording",
    "Refused",
    "Rejected",
    "Source",
    "SourceBatch",
    "Times",
    "Writer",
    "hookimpl",
]

HEAD_BYTES = 4096
_MOST_NOTES = 100

hookspec = pluggy.HookspecMarker("vambrace")
hookimpl = pluggy.HookimplMarker("vambrace")
"""Marks a plugin's functions `vambrace_importers` and `vambrace_writers`."""


class Claim(IntEnum):
    """How strongly an importer claims a source; the strongest wins, two equal strongest are refused."""

    NONE = 0
    NAME = 1
    CONTENT = 2
    SIGNATURE = 3

    def because(self, evidence: str) -> Claim:
        """Return the same claim with what it rests on, for people to read: `the first bytes are PULSE1`."""
        claim = int.__new__(type(self), self.value)
        claim._name_, claim._value_ = self._name_, self._value_
        claim.__dict__["_evidence"] = evidence
        return claim

    @property
    def evidence(self) -> str:
        """Return what the claim rests on, "" where the importer does not say."""
        return str(self.__dict__.get("_evidence", ""))


@dataclass(frozen=True, slots=True)
class Head:
    """What an importer sees when asked whether a source is its own.

    `name` is the last part of the path, `data` the first 4,096 bytes (or all, if fewer), `size` counts all bytes.
    """

    name: str
    data: bytes
    size: int

    @property
    def suffix(self) -> str:
        """Return the last suffix of the name in lower case, with its dot, or an empty text."""
        stem, dot, suffix = self.name.rpartition(".")
        return f".{suffix.lower()}" if dot and stem else ""


@dataclass(slots=True)
class Source:
    """One source, open for reading: a file, or a member of an archive.

    `zone` is where the user says that clocks stood whose times carry no zone; the core reads them by it.
    """

    name: str
    size: int
    opener: Callable[[], BinaryIO]
    options: Any = None
    notes: dict[tuple[str, str, str], int] = field(default_factory=dict)
    zone: str | None = None

    def open(self) -> BinaryIO:
        """Return a new binary stream from the first byte; use it in a `with` block.

        Reading a number of bytes may give fewer, and gives none only at the end.
        Of a damaged archive reading raises `DamagedFile` behind the last byte that can be read, in place of an end.
        """
        return self.opener()

    def read(self, most: int = 1 << 30) -> bytes:
        """Return all bytes; raise `Refused` where there are more than `most`."""
        if self.size > most:
            raise Refused(
                "too-large",
                f"it has {self.size:,} bytes, and this format is read whole, which takes at most {most:,}",
                todo="Split the file",
            )
        with self.opener() as stream:
            return stream.read()

    def in_both_passes(self, times: Times) -> tuple[Instants, Instants]:
        """Return the instants of times as if each were in the first pass of an hour that comes twice, or the second.

        They differ where the clock of the source's zone shows a local time twice, and nowhere else.
        """
        return clock.in_both_passes(times, self.zone)

    @staticmethod
    def check_zone(name: str) -> None:
        """Raise `Refused` for a name that is no time zone, with the names that come near."""
        try:
            clock.check_zone(name)
        except VambraceError as error:
            raise Refused("zone-word", error.what, todo=error.todo) from None

    def note(self, rule: str, message: str, severity: str = "note", count: int = 1) -> None:
        """Record a finding about the source; the same one again only raises its count."""
        key = (rule, severity, message)
        if key not in self.notes and len(self.notes) >= _MOST_NOTES:
            key = ("more-notes", "note", f"more than {_MOST_NOTES} different notes")
        self.notes[key] = self.notes.get(key, 0) + count


@runtime_checkable
class Importer(Protocol):
    """Reads one format. `Options` is a frozen dataclass; its fields are the importer's options with their defaults.

    `end_mark` is True where the format itself shows that a file is whole (a length, a checksum, a closing tag).
    """

    name: str
    version: str
    title: str
    Options: ClassVar[type]
    end_mark: bool

    def recognise(self, head: Head) -> Claim:
        """Say how strongly the importer claims a source with this head; never opens the file."""
        ...

    def read(self, source: Source) -> Iterator[SourceBatch | Rejected | Event | Recording]:
        """Yield what the source says, in batches of about 10,000 rows and in file order.

        Rows that stand before a damage are yielded before `DamagedFile` is raised: the core decides whether they
        are kept.
        """
        ...


@runtime_checkable
class Writer(Protocol):
    """Writes a table to one file format, chosen by the target's suffix."""

    name: str
    title: str
    suffixes: tuple[str, ...]

    def write(self, target: BinaryIO, schema: pa.Schema, batches: Iterable[pa.RecordBatch]) -> None:
        """Write every batch to the open target; an empty table still has its columns and types."""
        ...


class Hooks:
    """The hooks a plugin may implement."""

    @hookspec
    def vambrace_importers(self) -> Sequence[Importer | Path]:  # type: ignore[empty-body]
        """Return the plugin's importers; a `pathlib.Path` among them is a mapping file that makes one."""

    @hookspec
    def vambrace_writers(self) -> Sequence[Writer]:  # type: ignore[empty-body]
        """Return the plugin's writers."""
