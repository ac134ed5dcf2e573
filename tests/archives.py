"""Makes archives, honest ones with Python's own modules and dishonest ones byte by byte."""

from __future__ import annotations

import io
import struct
import tarfile
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from vambrace.sources import Entry, Limits, Scanned, open_entry, scan, walk


def entries(
    *roots: Path, ignore: tuple[str, ...] = (), limits: Limits | None = None, salvage: bool = False
) -> dict[str, Entry]:
    """Walk, and return the entries by path; no two may have the same."""
    found = list(walk(roots, ignore, limits=limits or Limits(), salvage=salvage))
    by_path = {entry.path: entry for entry in found}
    assert len(by_path) == len(found)
    return by_path


def content(entry: Entry) -> bytes:
    """Read all that an importer would."""
    with open_entry(entry) as stream:
        return stream.read()


def sound(entry: Entry) -> Scanned:
    """Scan a source, and raise what is wrong with its bytes."""
    scanned = scan(entry)
    if scanned.damage is not None:
        raise scanned.damage
    return scanned


def zip_bytes(members: Mapping[str, bytes], method: int = zipfile.ZIP_DEFLATED) -> bytes:
    """Pack members with Python's zipfile."""
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", method) as archive:
        for name, data in members.items():
            archive.writestr(zipfile.ZipInfo(name), data, method)
    return target.getvalue()


def tar_bytes(members: Mapping[str, bytes], mode: str = "w", kind: int = tarfile.PAX_FORMAT) -> bytes:
    """Pack members with Python's tarfile."""
    target = io.BytesIO()
    with tarfile.open(fileobj=target, mode=mode, format=kind) as archive:  # type: ignore[call-overload]
        for name, data in members.items():
            info = tarfile.TarInfo(name)
            info.size = len(data)
            archive.addfile(info, io.BytesIO(data))
    return target.getvalue()


@dataclass
class RawMember:
    """A member written as the fields say, true or not; layout: PKWARE's APPNOTE, 4.3.7 and 4.3.12."""

    name: bytes
    data: bytes
    method: int = 0
    flags: int = 0
    size: int | None = None
    packed: int | None = None
    crc: int | None = None
    mode: int = 0
    offset: int | None = None
    """Where the directory says that the member begins; None for where it does."""
    system: int = 3
    """Where it was made: 3 Unix, 0 FAT, 10 NTFS (APPNOTE 4.4.2.2)."""

    def body(self) -> bytes:
        """Return the packed bytes."""
        if self.method == 0:
            return self.data
        packer = zlib.compressobj(9, zlib.DEFLATED, -15)
        return packer.compress(self.data) + packer.flush()

    def fields(self) -> bytes:
        """Return what local header and directory have in common: version to extra field's length."""
        crc = zlib.crc32(self.data) if self.crc is None else self.crc
        packed = len(self.body()) if self.packed is None else self.packed
        size = len(self.data) if self.size is None else self.size
        return struct.pack("<5H3L2H", 20, self.flags, self.method, 0, 0x21, crc, packed, size, len(self.name), 0)


def raw_zip(*members: RawMember) -> bytes:
    """Write a zip archive whose members may lie."""
    out, directory = b"", b""
    for member in members:
        offset = len(out) if member.offset is None else member.offset
        directory += b"PK\x01\x02" + struct.pack("<H", member.system << 8 | 0x14) + member.fields()
        directory += struct.pack("<3H2L", 0, 0, 0, member.mode << 16, offset) + member.name
        if member.offset is None:
            out += b"PK\x03\x04" + member.fields() + member.name + member.body()
    end = struct.pack("<4s4H2LH", b"PK\x05\x06", 0, 0, len(members), len(members), len(directory), len(out), 0)
    return out + directory + end
