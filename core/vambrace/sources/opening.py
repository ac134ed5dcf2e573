"""Open what an entry points at, as often as wanted; read it once for its digest and its head."""

from __future__ import annotations

import hashlib
import io
import os
from functools import partial
from typing import TYPE_CHECKING, BinaryIO, cast

from vambrace.errors import DamagedFile, Refused
from vambrace.plugin import HEAD_BYTES
from vambrace.sources import tars
from vambrace.sources.entry import LIMITS, Entry, Limits, Location, Scanned, Slice, Unpack, ZipMember
from vambrace.sources.spool import spooled
from vambrace.sources.streams import (
    AGAIN,
    BLOCK,
    SALVAGE,
    Blocks,
    PlainFile,
    UntilDamage,
    Window,
    hold_to_stamp,
    open_descriptor,
)
from vambrace.sources.unpack import member_blocks, member_start, unpacked

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer


def open_entry(entry: Entry, limits: Limits = LIMITS, scanned: Scanned | None = None) -> BinaryIO:
    """Return a new stream from the source's first byte; of a `.gz`, of what is packed in it.

    Reading raises `DamagedFile`, `HostileFile` or `Refused` (with the operating system's words), never OSError. For a
    source that was scanned, damage comes after all bytes that stand before it.
    """
    stream = open_location(_location(entry), entry.path, limits)
    if scanned is None or scanned.damage is None:
        return stream
    return cast(BinaryIO, UntilDamage(stream, scanned.content_size, scanned.damage))


def first_bytes(stream: io.BufferedReader, most: int) -> bytes:
    """Return the first bytes of a stream, up to a damage: whoever reads on is told of that."""
    found = b""
    try:
        while len(found) < most and (more := stream.read1(most - len(found))):
            found += more
    except DamagedFile:
        pass
    return found


def _location(entry: Entry) -> Location:
    if entry.location is None:
        todo = "Open only entries of the kind content"
        raise Refused("unreadable", entry.reason or "there is nothing to read", where=entry.path, todo=todo)
    return entry.location


def open_location(location: Location, where: str, limits: Limits) -> io.BufferedReader:
    """Return a buffered stream of the bytes at a place."""
    return io.BufferedReader(_raw(location, where, limits), BLOCK)


def _raw(location: Location, where: str, limits: Limits) -> io.RawIOBase:
    if not location.steps:
        return PlainFile(location.file, where, location.stamp)
    before, step = _parent(location), location.steps[-1]
    if isinstance(step, Unpack):
        return Blocks(partial(unpacked, partial(open_location, before, where, limits), step.codec, limits, where))
    if isinstance(step, Slice):
        return ground(location, where, limits)
    return Blocks(partial(member_blocks, partial(ground, before, where, limits), step, where))


def _parent(location: Location) -> Location:
    return Location(location.file, location.steps[:-1], location.stamp)


def ground(location: Location, where: str, limits: Limits) -> Window:
    """Return a window on the bytes at a place in which any position can be read at once."""
    if not location.steps:
        return _whole_file(location, where)
    step = location.steps[-1]
    if isinstance(step, Slice):
        with ground(_parent(location), where, limits) as outer:
            return outer.member(step.offset, step.size, where)
    with _raw(location, where, limits) as raw:
        return spooled(location, iter(lambda: raw.read(BLOCK), b""), limits.spool, where)


def _whole_file(location: Location, where: str) -> Window:
    descriptor = open_descriptor(location.file, where)
    try:
        hold_to_stamp(descriptor, location.stamp, where)
    except Refused:
        os.close(descriptor)
        raise
    return Window(descriptor, 0, os.fstat(descriptor).st_size, where)


class _Digesting(io.RawIOBase):
    """Passes a stream on and digests what goes through."""

    def __init__(self, inner: io.BufferedReader) -> None:
        self._inner, self.digest, self.size = inner, hashlib.sha256(), 0

    def readable(self) -> bool:
        return True

    def tell(self) -> int:
        return self.size

    def readinto(self, buffer: WriteableBuffer, /) -> int:
        view = memoryview(buffer)
        data = self._inner.read1(len(view))
        view[: len(data)] = data
        self.digest.update(data)
        self.size += len(data)
        return len(data)

    def reaches_end(self) -> bool:
        """Digest what nobody read, and say whether that goes without damage."""
        block = bytearray(BLOCK)
        try:
            while self.readinto(block):
                pass
        except DamagedFile:
            return False
        return True


def scan(entry: Entry, block: int = 1 << 20, limits: Limits = LIMITS) -> Scanned:
    """Read a source once from end to end; raises as reading from `open_entry` does, but for bytes before a damage.

    Where there are such bytes they are scanned, and the damage is part of the result.
    """
    location = _location(entry)
    step = location.steps[-1] if location.steps else None
    stored = _parent(location) if isinstance(step, Unpack) else location
    with open_location(stored, entry.path, limits) as stream:
        outer = _Digesting(stream)
        if isinstance(step, Unpack):
            parts = unpacked(lambda: io.BufferedReader(outer, block), step.codec, limits, entry.path)
        else:
            parts = iter(partial(outer.read, block), b"")
        head, size = b"", 0
        try:
            for part in parts:
                head += part[: HEAD_BYTES - len(head)] if len(head) < HEAD_BYTES else b""
                size += len(part)
        except DamagedFile as error:
            damage = _measured(error, size, entry.path)
            if outer.reaches_end():
                return Scanned(outer.digest.hexdigest(), head, outer.size, size, damage)
            exported = outer.size if entry.size is None else entry.size
            return Scanned(_digest_as_stored(stored, entry.path, limits), head, exported, size, damage)
    return Scanned(outer.digest.hexdigest(), head, outer.size, size)


def _measured(damage: DamagedFile, size: int, where: str) -> DamagedFile:
    """Return a damage with the number of bytes that stand before it; raise it where there are none."""
    if not size:
        raise DamagedFile(f"{damage.what}; nothing stands before that", where=where, todo=AGAIN) from damage
    return DamagedFile(f"{damage.what}; {size:,} bytes can be read before that", todo=SALVAGE)


def _digest_as_stored(location: Location, where: str, limits: Limits) -> str:
    """Return the SHA-256 of a member's header and bytes as they stand in its archive, as far as they are there."""
    digest, step = hashlib.sha256(), location.steps[-1]
    with ground(_parent(location), where, limits) as outer:
        if isinstance(step, ZipMember):
            first, end = step.offset, member_start(outer, step, where) + step.packed
        elif isinstance(step, Slice):
            first, end = step.offset - tars.HEAD_BYTES, step.offset + step.size
        else:
            raise TypeError(f"{step} is no member")
        with outer.part(first, min(end, outer.there) - first, where) as part:
            while data := part.read(BLOCK):
                digest.update(data)
    return digest.hexdigest()
