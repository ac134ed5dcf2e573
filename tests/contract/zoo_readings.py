"""Importers that are wrong in what they hand over, whole or cut, and in how they behave while they read."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any, BinaryIO

import numpy as np

from contract.toy_importer import SIGNATURE, Changed, Endless, Toy, with_column
from vambrace.errors import VambraceError
from vambrace.plugin import DamagedFile, Recording, Refused, Rejected, Source, SourceBatch

# What its batches hold


class RaggedFlags(Changed):
    def change(self, batch: SourceBatch) -> Iterator[Any]:
        yield with_column(batch, flags=["a"])


class RaggedValues(Changed):
    def change(self, batch: SourceBatch) -> Iterator[Any]:
        yield with_column(batch, values=np.array([60.0]))


class DropsRows(Toy):
    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        yield from (row for row in super().rows(source, stream) if row[1])


class CountsTwice(Changed):
    def change(self, batch: SourceBatch) -> Iterator[Any]:
        yield batch
        yield Rejected("heart_rate", 0, "outside-domain", "61")


class NoTimes(Changed):
    def change(self, batch: SourceBatch) -> Iterator[Any]:
        yield replace(batch, time=replace(batch.time, values=None))  # type: ignore[arg-type]


class FailsAlways(Toy):
    def read(self, source: Source) -> Iterator[Any]:
        yield from {}["rows"]


class InventsASignal(Changed):
    def change(self, batch: SourceBatch) -> Iterator[Any]:
        yield with_column(batch, signal="vigour")


class SetsAnInventionAside(Changed):
    def change(self, batch: SourceBatch) -> Iterator[Any]:
        yield batch
        yield Rejected("vigour", 0, "not-a-number", "x")


class OddUnit(Changed):
    def change(self, batch: SourceBatch) -> Iterator[Any]:
        yield with_column(batch, unit="parsec")


class OddStatistic(Changed):
    def change(self, batch: SourceBatch) -> Iterator[Any]:
        yield with_column(batch, statistic="median")


class OddBasis(Changed):
    def change(self, batch: SourceBatch) -> Iterator[Any]:
        yield replace(batch, time=replace(batch.time, basis="UTC"))  # type: ignore[arg-type]


class BeginsAnew(Toy):
    def batch(self, at: int, rows: list[tuple[str, str]]) -> Iterator[Any]:
        yield from super().batch(0, rows)


class CountsDown(Changed):
    def change(self, batch: SourceBatch) -> Iterator[Any]:
        yield replace(batch, record=batch.record[::-1])


class FloatRecords(Changed):
    def change(self, batch: SourceBatch) -> Iterator[Any]:
        yield replace(batch, record=batch.record.astype(np.float64))


# What it makes of a file that breaks off


class StopsSilently(Toy):
    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        try:
            yield from super().rows(source, stream)
        except DamagedFile:
            return


class SaysComplete(StopsSilently):
    """Says that a second recording, which is not there, is incomplete, and the cut one complete."""

    def read(self, source: Source) -> Iterator[Any]:
        yield from super().read(source)
        yield Recording(2, complete=False)


class HalfARow(Toy):
    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        for line in self.lines(stream):
            time, comma, beats = line.decode("ascii", "replace").rstrip("\n").partition(",")
            if line == b"END\n":
                return
            if comma:
                yield time, beats
        raise DamagedFile("it breaks off", todo="Export it again")


class RefusesACut(Toy):
    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        try:
            yield from super().rows(source, stream)
        except DamagedFile:
            raise Refused("odd", "it is odd", todo="Export it again") from None


class CrashesAtACut(Toy):
    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        *lines, end = self.lines(stream)
        for line in lines[1:]:
            time, beats = line.decode().split(",")
            yield time, beats.strip()
        if end != b"END\n":
            raise DamagedFile("it breaks off", todo="Export it again")


class SilentWithoutEnd(Endless):
    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        notes = dict(source.notes)
        yield from super().rows(source, stream)
        source.notes.clear()
        source.notes.update(notes)


class HalfARowWithoutEnd(Endless):
    """Sees that a row is cut only where nothing is left of its value."""

    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        lines = self.lines(stream)
        if next(lines, b"") != SIGNATURE:
            raise DamagedFile("it does not begin with TOY1", todo="Export it again")
        for line in lines:
            time, comma, beats = line.decode("ascii", "replace").rstrip("\n").partition(",")
            if comma and beats:
                yield time, beats
            elif not line.endswith(b"\n"):
                source.note("possibly-cut", "the last row has no value")


# How it behaves


class Remembers(Toy):
    def __init__(self) -> None:
        self.readings = 0

    def batch(self, at: int, rows: list[tuple[str, str]]) -> Iterator[Any]:
        self.readings += 1
        yield from super().batch(at + self.readings, rows)


class RemembersNames(Toy):
    def __init__(self) -> None:
        self.known: dict[str, list[Any]] = {}

    def read(self, source: Source) -> Iterator[Any]:
        if source.name not in self.known:
            self.known[source.name] = list(super().read(source))
        yield from self.known[source.name]


class ReadsOnce(Toy):
    def lines(self, stream: BinaryIO) -> Iterator[bytes]:
        yield from stream.read(1 << 20).splitlines(keepends=True)


class BatchesByPieces(Toy):
    """Numbers a row by the piece that it came in."""

    def lines(self, stream: BinaryIO) -> Iterator[bytes]:
        held, pieces = b"", 0
        while piece := stream.read(4096):
            held, pieces = held + piece, pieces + 1
            *whole, held = held.split(b"\n")
            yield from (line + b"\n" for line in whole)
        self.pieces = pieces
        if held:
            yield held

    def read(self, source: Source) -> Iterator[Any]:
        yield from super().read(source)
        source.note("pieces", f"read in {self.pieces} pieces")


class CachesBeside(Toy):
    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        place = getattr(stream, "name", None)
        if place is not None:
            Path(place).with_suffix(".cache").write_bytes(b"x")
        yield from super().rows(source, stream)


class CachesHere(Toy):
    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        Path("toy.cache").write_bytes(b"x")
        yield from super().rows(source, stream)


class LeavesOpen(Toy):
    def read(self, source: Source) -> Iterator[Any]:
        yield from self.batches(source, self.rows(source, source.open()))


class ClosesAtTheEnd(Toy):
    def read(self, source: Source) -> Iterator[Any]:
        stream = source.open()
        yield from self.batches(source, self.rows(source, stream))
        stream.close()


class ClosesUnlessGivenUp(Toy):
    def read(self, source: Source) -> Iterator[Any]:
        stream = source.open()
        try:
            yield from self.batches(source, self.rows(source, stream))
        except DamagedFile:
            stream.close()
            raise
        stream.close()


class TrustsBytes(Toy):
    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        lines = self.lines(stream)
        next(lines)
        for line in lines:
            if line == b"END\n":
                return
            if not line.endswith(b"\n"):
                break
            time, beats = line.decode().rstrip("\n").split(",")
            yield time, beats
        raise DamagedFile("it breaks off", todo="Export it again")


class Raises(Toy):
    """Raises what is no error of the door where bytes are odd."""

    kind: type[BaseException] = ValueError

    def read(self, source: Source) -> Iterator[Any]:
        try:
            yield from super().read(source)
        except DamagedFile:
            raise self.kind("odd bytes") from None


class RaisesMemoryError(Raises):
    kind = MemoryError


class RaisesOSError(Raises):
    kind = OSError


class RaisesVambraceError(Raises):
    kind = VambraceError


class Leaves(Raises):
    kind = SystemExit


WRONG: dict[str, list[tuple[type, str]]] = {
    "keeps_the_row_law": [
        (RaggedFlags, "1 entries in flags of the column heart_rate"),
        (RaggedValues, "1 entries in values of the column heart_rate"),
        (DropsRows, "5 values as its author counts them, but 4 came"),
        (CountsTwice, "handed over as well"),
        (NoTimes, "the core cannot take"),
        (FailsAlways, "fails on its own sample: the importer toy 1 failed: KeyError"),
    ],
    "names_known_signals_and_units": [
        (InventsASignal, "'vigour' is no signal"),
        (SetsAnInventionAside, "'vigour' is no signal"),
        (OddUnit, "parsec"),
        (OddStatistic, "'median'"),
        (OddBasis, "'UTC'"),
    ],
    "numbers_records_rising": [
        (BeginsAnew, "comes behind record 1"),
        (CountsDown, "record 0 of heart_rate in recording 1 comes behind record 1"),
        (FloatRecords, "no int64 array"),
    ],
    "stands_a_cut_at_every_byte": [
        (StopsSilently, "passes as a whole one"),
        (SaysComplete, "says that it is complete"),
        (HalfARow, "that the whole file does not hold"),
        (RefusesACut, "refuses a file that breaks off"),
        (CrashesAtACut, "ValueError"),
        (SilentWithoutEnd, "passes without a word"),
        (HalfARowWithoutEnd, "that the whole file does not hold"),
    ],
    "reads_twice_the_same": [(Remembers, "read again"), (RemembersNames, "remembers it by its name")],
    "reads_the_same_in_any_pieces": [(ReadsOnce, "cannot be read|in pieces of 1"), (BatchesByPieces, "findings")],
    "writes_nothing": [(CachesBeside, "source/sample.cache"), (CachesHere, "working/toy.cache")],
    "closes_its_handles": [
        (LeavesOpen, "read to the end"),
        (ClosesAtTheEnd, "cut in half"),
        (ClosesUnlessGivenUp, "given up"),
    ],
    "raises_only_the_errors_of_the_door": [
        (TrustsBytes, "UnicodeDecodeError"),
        (RaisesMemoryError, "MemoryError"),
        (RaisesOSError, "OSError"),
        (RaisesVambraceError, "VambraceError"),
        (Leaves, "SystemExit"),
    ],
}
"""The wrong importers of each check, each with words that the check's sentence must hold."""
