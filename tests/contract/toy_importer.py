"""A right importer of a toy format, and wrong ones: each breaks one promise, and one check must see it.

The toy format: the line `TOY1`, a line `SECONDS,BEATS` for each row, and the line `END` if it has an end mark.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any, BinaryIO, ClassVar

import numpy as np

from vambrace.plugin import (
    Claim,
    Column,
    DamagedFile,
    Head,
    Recording,
    Source,
    SourceBatch,
    Times,
)

SIGNATURE = b"TOY1\n"
ROWS = b"TOY1\n1700000000,61\n1700000001,172\n1700000002,73\n1700000003,\n1700000004,75\n"
WHOLE = ROWS + b"END\n"


@dataclass(frozen=True)
class ToyOptions:
    """One option of each kind."""

    word: str = field(default="", metadata={"help": "a word"})
    most: int | None = field(default=None, metadata={"help": "a number"})


class Toy:
    """Keeps every promise."""

    name = "toy"
    version = "1"
    title = "Toy"
    Options: ClassVar[type] = ToyOptions
    end_mark = True

    def recognise(self, head: Head) -> Claim:
        if head.data.startswith(SIGNATURE):
            return Claim.SIGNATURE
        return Claim.NAME if head.suffix == ".toy" else Claim.NONE

    def read(self, source: Source) -> Iterator[Any]:
        with source.open() as stream:
            yield from self.batches(source, self.rows(source, stream))
        yield Recording(1, complete=True)

    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        lines = self.lines(stream)
        if next(lines, b"") != SIGNATURE:
            raise DamagedFile("it does not begin with TOY1", where="byte 0", todo="Export it again")
        for line in lines:
            if line == b"END\n":
                if next(lines, None) is not None:
                    raise DamagedFile("more stands behind its end", todo="Export it again")
                return
            time, comma, beats = line.decode("ascii", "replace").rstrip("\n").partition(",")
            if not line.endswith(b"\n") or not comma or not time.isdecimal() or len(time) > 12:
                break
            yield time, beats
        raise DamagedFile("it breaks off", where="the last line", todo="Export it again")

    def lines(self, stream: BinaryIO) -> Iterator[bytes]:
        held = b""
        while piece := stream.read(4096):
            held += piece
            *whole, held = held.split(b"\n")
            yield from (line + b"\n" for line in whole)
        if held:
            yield held

    def batches(self, source: Source, rows: Iterator[tuple[str, str]]) -> Iterator[Any]:
        at, damage = 0, None
        rows = iter(rows)
        while damage is None:
            held: list[tuple[str, str]] = []
            try:
                while len(held) < 2 and (row := next(rows, None)) is not None:
                    held.append(row)
            except Exception as error:
                damage = error
            if not held:
                break
            yield from self.batch(at, held)
            at += len(held)
        if damage is not None:
            raise damage

    def batch(self, at: int, rows: list[tuple[str, str]]) -> Iterator[Any]:
        record = np.arange(at, at + len(rows), dtype=np.int64)
        times = Times(np.array([int(time) for time, _ in rows], np.int64), "s", "utc")
        yield SourceBatch(record, times, (Column("heart_rate", [beats for _, beats in rows], "bpm"),))


class Endless(Toy):
    """Keeps every promise without an end mark."""

    end_mark = False

    def read(self, source: Source) -> Iterator[Any]:
        with source.open() as stream:
            yield from self.batches(source, self.rows(source, stream))

    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        lines = self.lines(stream)
        if next(lines, b"") != SIGNATURE:
            raise DamagedFile("it does not begin with TOY1", where="byte 0", todo="Export it again")
        for line in lines:
            time, comma, beats = line.decode("ascii", "replace").rstrip("\n").partition(",")
            if not line.endswith(b"\n"):
                source.note("possibly-cut", "the last row has no end and is set aside", "warning")
                return
            if not comma or not time.isdecimal() or len(time) > 12:
                raise DamagedFile("a line is no row", todo="Export it again")
            yield time, beats


class Changed(Toy):
    """Changes what a right importer yields: the first batch, by `change`."""

    def read(self, source: Source) -> Iterator[Any]:
        first = True
        for item in super().read(source):
            if first and isinstance(item, SourceBatch):
                first = False
                yield from self.change(item)
            else:
                yield item

    def change(self, batch: SourceBatch) -> Iterator[Any]:
        yield batch


def with_column(batch: SourceBatch, **changes: Any) -> SourceBatch:
    return replace(batch, columns=(replace(batch.columns[0], **changes),))
