"""Decompress streams block by block, counting: what lies about its size or costs too much is stopped early."""

from __future__ import annotations

import bz2
import io
import lzma
import re
import struct
import zlib
from collections.abc import Callable, Generator, Iterator
from typing import Any, Protocol

from vambrace.errors import DamagedFile, HostileFile
from vambrace.sources.entry import Codec, Limits, ZipMember
from vambrace.sources.streams import BLOCK, SALVAGE, Cut, Window

STORED, DEFLATED, BZIP2 = 0, 8, 12
NO_CHECKSUM = -1
"""Stands for the checksum of a member that can no longer be known."""
METHODS = (STORED, DEFLATED, BZIP2)
PACKED_BLOCK = 1 << 16
_SLICE = 256
"""Packed bytes that bzip2 and xz are given at once: what a damage among them costs."""
_ZSTD_READ = 1 << 12
_LOCAL = struct.Struct("<26sHH")
_XZ_MEMORY = 256 << 20
_BY_HAND = "If you trust it, unpack it yourself and give the folder as a SOURCE"

_MAGIC: dict[Codec, re.Pattern[bytes]] = {
    "gzip": re.compile(rb"\x1f\x8b\x08"),
    "bzip2": re.compile(rb"BZh[1-9](?:1AY&SY|\x17rE8P\x90)"),
    "xz": re.compile(rb"\xfd7zXZ\x00"),
    "zstd": re.compile(rb"\x28\xb5\x2f\xfd"),
}


_NOT_READ = {
    b"7z\xbc\xaf\x27\x1c": "a 7z archive",
    b"Rar!\x1a\x07": "a RAR archive",
    b"MSCF\0\0\0\0": "a cabinet archive",
    b"!<arch>\n": "an ar archive",
    b"LZIP\x01": "packed by lzip",
    b"\x04\x22\x4d\x18": "packed by LZ4",
    b"\x1f\x9d": "packed by compress (.Z)",
}
"""What formats that are not read begin with, as their specifications say."""


_ZIP = re.compile(rb"PK\x03\x04[\x0a-\x3f]\x00")
"""How a zip archive's first member begins, with the version that it needs (APPNOTE 4.3.7)."""


def packed_otherwise(head: bytes, outer: Codec | None = None) -> str:
    """Say what kind of archive begins so that cannot be read here, or return an empty text.

    `outer` is how the stream is compressed that the bytes were unpacked from.
    """
    what = next((words for mark, words in _NOT_READ.items() if head.startswith(mark)), "")
    found = None if what else _ZIP.search(head)
    inner = "zip" if found and not found.start() else codec_of(head)
    if outer and inner:
        return f"packed twice, by {inner} and then by {outer}"
    if found and found.start():
        return f"a zip archive behind {found.start():,} other bytes, as in a program that unpacks itself"
    return what


def codec_of(head: bytes) -> Codec | None:
    """Return how a stream with these first bytes is compressed, or None."""
    return next((codec for codec, magic in _MAGIC.items() if magic.match(head)), None)


class Unpacker(Protocol):
    """What bz2 and lzma offer, and zlib does with a little help."""

    @property
    def eof(self) -> bool:
        """True after the end mark."""
        ...

    @property
    def needs_input(self) -> bool:
        """True when more packed bytes are needed before more can come out."""
        ...

    @property
    def unused_data(self) -> bytes:
        """What stands behind the end mark."""
        ...

    def decompress(self, data: bytes | memoryview, max_length: int = -1) -> bytes:
        """Return at most so many bytes."""
        ...


class _Zlib:
    """Gives zlib's decompressor the face of the others."""

    def __init__(self, window_bits: int) -> None:
        self._inner = zlib.decompressobj(window_bits)
        self._before, self._data = self._inner, b""

    @property
    def eof(self) -> bool:
        return self._inner.eof

    @property
    def needs_input(self) -> bool:
        return not self._inner.unconsumed_tail

    @property
    def unused_data(self) -> bytes:
        return self._inner.unused_data

    def decompress(self, data: bytes | memoryview, max_length: int = -1) -> bytes:
        self._before, self._data = self._inner.copy(), self._inner.unconsumed_tail + data
        return self._inner.decompress(self._data, max_length)

    def rescued(self) -> tuple[bytes, int]:
        """Return what the last call, which failed, unpacked before the damage, and how many bytes it left unread."""
        out = bytearray()
        for at in range(len(self._data)):
            try:
                out += self._before.decompress(self._data[at : at + 1])
            except zlib.error:
                return bytes(out), len(self._data) - at - 1
        return bytes(out), 0


_FRESH: dict[str, Callable[[], Unpacker]] = {
    "deflate": lambda: _Zlib(-15),
    "gzip": lambda: _Zlib(31),
    "bzip2": bz2.BZ2Decompressor,
    "xz": lambda: lzma.LZMADecompressor(lzma.FORMAT_XZ, memlimit=_XZ_MEMORY),
}


def unpacked(open_packed: Callable[[], io.BufferedReader], codec: Codec, limits: Limits, where: str) -> Iterator[bytes]:
    """Yield the blocks of a compressed stream, one stream after another; closes what it opened."""
    with open_packed() as packed:
        blocks = _zstd(packed, where) if codec == "zstd" else _streams(packed, codec, where)
        count = 0
        for block in blocks:
            count += len(block)
            _hold_to(limits, count, packed, where)
            yield block


def _hold_to(limits: Limits, count: int, packed: io.BufferedReader, where: str) -> None:
    if count > limits.total:
        what = f"it unpacks to more than {limits.total:,} bytes, the most that is read"
        raise HostileFile(what, where=where, todo=_BY_HAND)
    if count > limits.floor and count > limits.ratio * packed.tell():
        what = f"{packed.tell():,} of its bytes unpack to {count:,}, more than {limits.ratio} times as much"
        raise HostileFile(what, where=where, todo=_BY_HAND)


def _streams(packed: io.BufferedReader, codec: Codec, where: str) -> Iterator[bytes]:
    # Here and below `read1`: what was read before an error must not be lost to it.
    data = packed.read1(PACKED_BLOCK)
    if not data:
        raise DamagedFile("it is empty where a compressed stream should stand", where=where, todo=SALVAGE)
    while data:
        data = yield from _one_stream(packed, data, _FRESH[codec](), where)
        # Zeros may fill up the space between and behind streams.
        data = data.lstrip(b"\0")
        while not data and (more := packed.read1(PACKED_BLOCK)):
            data = more.lstrip(b"\0")


def one_stream(packed: io.BufferedReader[Any], codec: str, where: str) -> Generator[bytes, None, bytes]:
    """Yield one stream's blocks and return the packed bytes that were read beyond its end mark."""
    return _one_stream(packed, b"", _FRESH[codec](), where)


def _one_stream(
    packed: io.BufferedReader[Any], data: bytes, unpacker: Unpacker, where: str
) -> Generator[bytes, None, bytes]:
    left, ended = memoryview(data), False
    most = PACKED_BLOCK if isinstance(unpacker, _Zlib) else _SLICE
    while not unpacker.eof:
        if not left and unpacker.needs_input and not ended:
            left = memoryview(packed.read1(PACKED_BLOCK))
            ended = not left
        piece, left = (left[:most], left[most:]) if unpacker.needs_input else (left[:0], left)
        try:
            block = unpacker.decompress(piece, BLOCK)
        except (zlib.error, lzma.LZMAError, OSError, EOFError) as error:
            block, unread = unpacker.rescued() if isinstance(unpacker, _Zlib) else (b"", 0)
            if block:
                yield block
            raise _contradiction(packed.tell() - len(left) - unread, error, where) from error
        if block:
            yield block
        elif ended and not unpacker.eof:
            raise _cut(packed.tell(), where)
    return unpacker.unused_data + left


def _contradiction(at: int, error: Exception, where: str) -> DamagedFile:
    what = f"its compressed bytes are damaged at or before byte {at:,} ({error}), and what they gave last may be wrong"
    return DamagedFile(what, where=where, todo=SALVAGE)


def _cut(at: int, where: str) -> Cut:
    return Cut(f"it is cut: its compressed bytes end at byte {at:,}, before their end mark", where=where, todo=SALVAGE)


class _ShortReads:
    """Gives Arrow what can be read at once: what was read before an error must not be lost to it."""

    def __init__(self, packed: io.BufferedReader) -> None:
        self._packed, self.closed = packed, False
        self.error: Exception | None = None

    def read(self, size: int) -> bytes:
        try:
            return self._packed.read1(size)
        except Exception as error:
            self.error = error
            raise

    def close(self) -> None:
        self.closed = True


def _zstd(packed: io.BufferedReader, where: str) -> Iterator[bytes]:
    import pyarrow as pa

    source = _ShortReads(packed)
    try:
        with pa.CompressedInputStream(pa.PythonFile(source, mode="r"), "zstd") as stream:
            while block := stream.read(_ZSTD_READ):
                yield block
    except OSError as error:
        if source.error is not None:
            raise source.error from error
        if "Truncated" in str(error):
            raise _cut(packed.tell(), where) from error
        raise _contradiction(packed.tell(), error, where) from error


def member_blocks(open_ground: Callable[[], Window], member: ZipMember, where: str) -> Iterator[bytes]:
    """Yield the blocks of a zip member; its size and checksum must be what the archive's directory says."""
    with open_ground() as ground:
        count = crc = 0
        for block in _packed_member(ground, member, where):
            count += len(block)
            if count > member.size:
                what = f"it unpacks to more than the {member.size:,} bytes that the archive declares"
                raise HostileFile(what, where=where, todo=_BY_HAND)
            crc = zlib.crc32(block, crc)
            yield block
    place = f"; where is not known, it begins at byte {member.offset:,} of the archive, and any of it may be wrong"
    if count < member.size:
        what = f"its bytes are damaged: {count:,} of the {member.size:,} that the archive declares are there{place}"
        raise DamagedFile(what, where=where, todo=SALVAGE)
    if member.crc == NO_CHECKSUM:
        raise DamagedFile(f"the archive's word of its size and checksum is lost{place}", where=where, todo=SALVAGE)
    if crc != member.crc:
        what = f"its bytes are damaged: their checksum is {crc:08x}, the archive says {member.crc:08x}{place}"
        raise DamagedFile(what, where=where, todo=SALVAGE)


def _packed_member(ground: Window, member: ZipMember, where: str) -> Iterator[bytes]:
    """Yield the member's blocks as its bytes give them, whatever the directory says of their number."""
    with (
        ground.part(member_start(ground, member, where), member.packed, where) as part,
        io.BufferedReader(part) as packed,
    ):
        if member.method == STORED:
            yield from iter(lambda: packed.read1(BLOCK), b"")
        elif data := packed.read1(PACKED_BLOCK):
            codec = "bzip2" if member.method == BZIP2 else "deflate"
            yield from _one_stream(packed, data, _FRESH[codec](), where)


def member_start(ground: Window, member: ZipMember, where: str) -> int:
    """Return where the packed bytes begin: behind the local header, whose length only it knows."""
    with ground.part(member.offset, _LOCAL.size, where) as part:
        header = part.read(_LOCAL.size)
    if len(header) < _LOCAL.size or header[:4] != b"PK\x03\x04":
        what = f"the archive is damaged: no member begins at its byte {member.offset:,}"
        raise DamagedFile(what, where=where, todo=SALVAGE)
    _, name, extra = _LOCAL.unpack(header)
    return member.offset + _LOCAL.size + int(name) + int(extra)
