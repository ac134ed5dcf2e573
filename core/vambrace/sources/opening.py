"""Open what an entry points at, as often as wanted; read it once for its digest and its head."""

from __future__ import annotations

import hashlib
import io
import os
from functools import partial
from typing import TYPE_CHECKING, BinaryIO

from vambrace.errors import Refused
from vambrace.plugin import HEAD_BYTES
from vambrace.sources.entry import LIMITS, Entry, Limits, Location, Scanned, Slice, Unpack
from vambrace.sources.spool import spooled
from vambrace.sources.streams import BLOCK, Blocks, PlainFile, Window, hold_to_stamp, open_descriptor
from vambrace.sources.unpack import member_blocks, unpacked

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer


def open_entry(entry: Entry, limits: Limits = LIMITS) -> BinaryIO:
    """Return a new stream from the source's first byte; of a `.gz`, of what is packed in it.

    Reading raises `DamagedFile`, `HostileFile` or `Refused` (with the operating system's words), never OSError.
    """
    return open_location(_location(entry), entry.path, limits)


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
            return outer.part(step.offset, step.size, where)
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

    def __init__(self, inner: BinaryIO) -> None:
        self._inner, self.digest, self.size = inner, hashlib.sha256(), 0

    def readable(self) -> bool:
        return True

    def tell(self) -> int:
        return self.size

    def readinto(self, buffer: WriteableBuffer, /) -> int:
        view = memoryview(buffer)
        data = self._inner.read(len(view))
        view[: len(data)] = data
        self.digest.update(data)
        self.size += len(data)
        return len(data)


def scan(entry: Entry, block: int = 1 << 20, limits: Limits = LIMITS) -> Scanned:
    """Read a source once from end to end; raises as reading from `open_entry` does."""
    location = _location(entry)
    step = location.steps[-1] if location.steps else None
    if not isinstance(step, Unpack):
        with open_location(location, entry.path, limits) as stream:
            head, size, digest = stream.read(HEAD_BYTES), 0, hashlib.sha256()
            part = head
            while part:
                digest.update(part)
                size += len(part)
                part = stream.read(block)
        return Scanned(digest.hexdigest(), head, size, size)
    with open_location(_parent(location), entry.path, limits) as stream:
        outer = _Digesting(stream)
        head, size = b"", 0
        for part in unpacked(lambda: io.BufferedReader(outer, block), step.codec, limits, entry.path):
            head += part[: HEAD_BYTES - len(head)] if len(head) < HEAD_BYTES else b""
            size += len(part)
    return Scanned(outer.digest.hexdigest(), head, outer.size, size)
