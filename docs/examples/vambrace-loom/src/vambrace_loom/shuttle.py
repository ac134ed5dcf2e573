"""Reads Shuttle exports: a header of 20 bytes, then records of 10 bytes each, little-endian."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from vambrace.plugin import Claim, Column, DamagedFile, Event, Head, Recording, Rejected, Source, SourceBatch, Times

MAGIC = b"SHTL"
HEADER = np.dtype(
    [("magic", "S4"), ("version", "u1"), ("size", "u1"), ("device", "S6"), ("start", "<u4"), ("count", "<u4")]
)
RECORD = np.dtype([("tenths", "<u4"), ("pulse", "u1"), ("oxygen", "u1"), ("skin", "<i2"), ("steps", "<u2")])
EPOCH_2000 = 946_684_800  # its clock counts seconds from 2000-01-01 UTC; this is that instant in Unix time
BLOCK = 10_000 * RECORD.itemsize


@dataclass(frozen=True, slots=True)
class ShuttleOptions:
    """Shuttle exports say all of themselves: there is nothing to choose."""


class ShuttleImporter:
    """Reads Shuttle exports."""

    name = "shuttle"
    version = "1"
    title = "Shuttle: pulse, SpO2, skin temperature and steps, binary"
    Options: ClassVar[type] = ShuttleOptions
    end_mark = True

    def recognise(self, head: Head) -> Claim:
        """Claim the four bytes that every Shuttle export begins with."""
        if head.data.startswith(MAGIC):
            return Claim.SIGNATURE.because("the first four bytes are SHTL")
        return Claim.NAME.because("the name ends with .shut") if head.suffix == ".shut" else Claim.NONE

    def read(self, source: Source) -> Iterator[SourceBatch | Rejected | Event | Recording]:
        """Yield the records in batches, and what the header says of the device."""
        read, count, start, rest, size = 0, -1, 0, b"", RECORD.itemsize
        with source.open() as stream:
            # A stream may give fewer bytes than it is asked for: what is no whole record yet waits for more.
            while data := stream.read(BLOCK):
                rest += data
                if count < 0 and len(rest) >= HEADER.itemsize:
                    header, rest = np.frombuffer(rest, HEADER, 1)[0], rest[HEADER.itemsize :]
                    if (header["magic"], header["version"], header["size"]) != (MAGIC, 1, size):
                        raise DamagedFile(
                            "it is no Shuttle export of version 1", where="byte 0", todo="Export it again"
                        )
                    count, start = int(header["count"]), EPOCH_2000 + int(header["start"])
                    yield Recording(product=header["device"].decode("ascii", "backslashreplace"))
                whole = min(len(rest) // size, count - read)
                if whole > 0:
                    yield batch(np.frombuffer(rest, RECORD, whole), read + 1, start)
                    read, rest = read + whole, rest[whole * size :]
        if read != count or rest:
            what = f"{read:,} of {max(count, 0):,} records are whole, and {len(rest):,} bytes follow them"
            raise DamagedFile(what, todo="Export it again; --salvage keeps the whole records")


def batch(records: NDArray[Any], first: int, start_s: int) -> SourceBatch:
    """Return records as columns, in the file's own units and counting; each field has its own mark of absence."""
    pulse, oxygen, skin = records["pulse"], records["oxygen"], records["skin"]
    return SourceBatch(
        record=np.arange(first, first + len(records)),
        time=Times(records["tenths"].astype(np.int64) * 100, unit="ms", basis="utc", epoch_s=start_s),
        columns=(
            Column("heart_rate", pulse, "bpm", "pulse", present=pulse != 255),
            Column("oxygen_saturation", oxygen, "%", "oxygen", present=oxygen != 255),
            Column("skin_temperature", skin / 100, "Cel", "skin", present=skin != -32768),
            Column("step_count", records["steps"], "{steps}", "steps", counting="total", modulus=65536),
        ),
    )
