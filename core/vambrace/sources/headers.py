"""List a zip archive whose directory is lost, by the header before each member (PKWARE's APPNOTE, 4.3.7 and 4.3.9)."""

from __future__ import annotations

import io
import struct
import zipfile
import zlib
from collections.abc import Iterator

from vambrace.errors import DamagedFile, HostileFile
from vambrace.sources.entry import Limits
from vambrace.sources.streams import Window
from vambrace.sources.unpack import BZIP2, DEFLATED, NO_CHECKSUM, one_stream

_HEADER = struct.Struct("<4s5H3L2H")
_SPANNED = b"PK\x07\x08"
_ENCRYPTED, _SIZES_BEHIND, _UTF8 = 0x1, 0x8, 0x800
_ZIP64 = 0xFFFFFFFF
_BY_HAND = "If you trust it, unpack it yourself and give the folder as a SOURCE"


def members_by_headers(window: Window, limits: Limits) -> tuple[list[zipfile.ZipInfo], int]:
    """Return the members that begin before a damage, the last perhaps cut, and the byte up to which they were found.

    Each has what its own header says. Raise `HostileFile` for more members than the limit, or one that unpacks to too
    much.
    """
    found: list[zipfile.ZipInfo] = []
    upto = 0
    at: int | None = len(_SPANNED) if _bytes(window, 0, len(_SPANNED)) == _SPANNED else 0
    while at is not None and (member := _member(window, at)) is not None:
        info, begin = member
        if info.flag_bits & _SIZES_BEHIND and not info.compress_size:
            at = _measured(window, info, begin, limits)
        else:
            at = begin + info.compress_size
        upto = begin if at is None else min(at, window.there)
        found.append(info)
        if len(found) > limits.members:
            what = f"it holds more than {limits.members:,} members, the most that are read"
            raise HostileFile(what, todo=_BY_HAND)
    return found, upto


def _bytes(window: Window, at: int, count: int) -> bytes:
    """Return as many of so many bytes as are there."""
    with window.part(at, max(0, min(count, window.there - at)), window.where) as part:
        return part.readall() or b""


def _member(window: Window, at: int) -> tuple[zipfile.ZipInfo, int] | None:
    """Return what the header at a place says, and where the member's bytes begin; None where no whole header stands."""
    head = _bytes(window, at, _HEADER.size)
    if len(head) < _HEADER.size or head[:4] != b"PK\x03\x04":
        return None
    _, _, flags, method, _, _, crc, packed, size, name_size, extra_size = _HEADER.unpack(head)
    rest = _bytes(window, at + _HEADER.size, name_size + extra_size)
    if len(rest) < name_size + extra_size:
        return None
    name, flags = _decoded(rest[:name_size], flags)
    info = zipfile.ZipInfo(name)
    info.flag_bits, info.compress_type, info.CRC, info.header_offset = flags, method, crc, at
    info.file_size, info.compress_size = _sizes(size, packed, rest[name_size:])
    info.create_system, info.external_attr = 3, 0
    return info, at + _HEADER.size + name_size + extra_size


def _decoded(raw: bytes, flags: int) -> tuple[str, int]:
    """Return a name as zipfile decodes it; bytes that are no UTF-8 although they should are those of old archives."""
    try:
        return raw.decode("utf-8" if flags & _UTF8 else "cp437"), flags
    except UnicodeDecodeError:
        return raw.decode("cp437"), flags & ~_UTF8


def _sizes(size: int, packed: int, extra: bytes) -> tuple[int, int]:
    """Return a member's sizes, from its extra field where they need more than four bytes."""
    while len(extra) >= 4:
        kind, count = struct.unpack_from("<2H", extra)
        if kind == 1 and count >= 16 and len(extra) >= 20 and _ZIP64 in (size, packed):
            large, large_packed = struct.unpack_from("<2Q", extra, 4)
            return large if size == _ZIP64 else size, large_packed if packed == _ZIP64 else packed
        extra = extra[4 + count :]
    return size, packed


def _measured(window: Window, info: zipfile.ZipInfo, begin: int, limits: Limits) -> int | None:
    """Find the sizes of a member that gives them behind its bytes; return where the next may begin.

    None where that cannot be told: what is not compressed, or encrypted, does not show where it ends.
    """
    codec = {DEFLATED: "deflate", BZIP2: "bzip2"}.get(info.compress_type)
    info.CRC, info.compress_size = NO_CHECKSUM, max(0, window.there - begin)
    if codec is None or info.flag_bits & _ENCRYPTED:
        return None
    part = window.part(begin, info.compress_size, window.where)
    with io.BufferedReader(part) as packed:
        unread = _follow(one_stream(packed, codec, window.where), info, packed, limits)
        if unread is None:
            return None
        info.compress_size = packed.tell() - unread
    return _behind(window, info, begin + info.compress_size)


def _follow(
    blocks: Iterator[bytes], info: zipfile.ZipInfo, packed: io.BufferedReader[Window], limits: Limits
) -> int | None:
    """Unpack a member, note its size and checksum, and return how many bytes were read beyond it; None for a damage."""
    crc = info.file_size = 0
    try:
        while True:
            block = next(blocks)
            info.file_size += len(block)
            crc = zlib.crc32(block, crc)
            most = limits.floor if limits.ratio * packed.tell() < limits.floor else limits.ratio * packed.tell()
            if info.file_size > min(limits.total, most):
                what = f"a member unpacks to more than {info.file_size:,} bytes"
                raise HostileFile(what, todo=_BY_HAND)
    except StopIteration as end:
        info.CRC = crc
        return len(end.value)
    except DamagedFile:
        return None


def _behind(window: Window, info: zipfile.ZipInfo, at: int) -> int | None:
    """Return where the descriptor behind a member's bytes ends; one that is not there, or says otherwise, is damage."""
    found = _bytes(window, at, 24)
    for mark in (_SPANNED, b""):
        # The long form first: of a short member its first bytes may look like the short form.
        for sizes in ("<L2Q", "<L2L"):
            said = mark + struct.pack(sizes, info.CRC, info.compress_size, info.file_size)
            if found.startswith(said):
                return at + len(said)
    info.CRC = NO_CHECKSUM
    return None
