"""List a zip archive: which members can be read, from where, and why the others cannot."""

from __future__ import annotations

import io
import stat
import struct
import zipfile
from collections.abc import Sequence

from vambrace.errors import DamagedFile, HostileFile
from vambrace.sources.entry import Fault, Limits, Listing, Member, ZipMember
from vambrace.sources.headers import members_by_headers
from vambrace.sources.names import member_name, member_paths, name_fault, tidied, twins
from vambrace.sources.streams import AGAIN, Window
from vambrace.sources.unpack import METHODS, NO_CHECKSUM, STORED

MAGIC = (b"PK\x03\x04", b"PK\x05\x06", b"PK\x07\x08PK\x03\x04")
_METHOD_NAMES = {9: "Deflate64", 14: "LZMA", 93: "Zstandard", 95: "XZ", 98: "PPMd", 99: "AES encryption"}
_LOCAL_HEADER = 30
_ENCRYPTED = 0x1 | 0x40 | 0x2000
_UNIX = 3
_WINDOWS = (0, 10, 14)
"""Made on FAT, NTFS or VFAT (APPNOTE 4.4.2.2)."""
_AGAIN = f"{AGAIN}; --salvage reads the members that stand before the damage"
_PACK_AGAIN = "Pack it again without that, or give the unpacked files"
_BY_HAND = "If you trust it, unpack it yourself and give the folder as a SOURCE"
_LARGE_READ = 1 << 16
_BYTES_A_MEMBER = 512


def list_zip(window: Window, limits: Limits, salvage: bool = False) -> Listing | None:
    """Return what the archive's directory says, or None for a document that only uses zip as its container.

    Raise `HostileFile` for more members than the limit, `DamagedFile` where there is no directory to read; unless with
    `salvage` some members can be listed without it.
    """
    lost: Fault | None = None
    begins = window.read(len(MAGIC[0]))
    try:
        infos = _infos(window, limits)
        _check_beginning(begins, infos)
    except DamagedFile as damage:
        if not salvage:
            raise
        infos, upto = members_by_headers(window, limits)
        if not infos or _is_document([_name(info) for info in infos]):
            raise DamagedFile(f"{damage.what}, and no member can be listed without it", todo=AGAIN) from damage
        what = f"{damage.what}; its members follow one another up to byte {upto:,} of {window.there:,}"
        lost = Fault("damaged-file", f"{what}. {AGAIN}.")
    names = [_name(info) for info in infos]
    if _is_document(names):
        return None
    kept = [(name, info) for name, info in zip(names, infos, strict=True) if not _is_folder(name, info)]
    names, infos = [name for name, _ in kept], [info for _, info in kept]
    same, overlapping = twins(names), _overlapping(infos)
    members = []
    for name, path, info in zip(names, member_paths(names), infos, strict=True):
        fault = _fault(name, info, limits, tidied(name) in same, id(info) in overlapping)
        step = ZipMember(info.header_offset, info.compress_type, info.compress_size, info.file_size, info.CRC)
        members.append(Member(path, info.file_size, None if fault else step, fault))
    turned = sum(name != member_name(_raw_name(info)) for name, info in zip(names, infos, strict=True))
    return Listing(tuple(members), lost, note=f"{turned:,} with `\\` in the name, read as `/`" if turned else "")


class _Directory(io.BufferedReader):
    """Counts the members in the directory's bytes before zipfile makes an object of each."""

    def __init__(self, window: Window, limits: Limits) -> None:
        super().__init__(window)
        self._most = limits.members

    def read(self, size: int | None = -1, /) -> bytes:
        """Read, unless it is a directory that is too large."""
        wanted = -1 if size is None else size
        if wanted > self._most * _BYTES_A_MEMBER + _LARGE_READ:
            raise HostileFile(f"its directory alone holds {wanted:,} bytes, more than is read", todo=_BY_HAND)
        data = super().read(wanted)
        if wanted > _LARGE_READ and (count := data.count(b"PK\x01\x02")) > self._most:
            raise HostileFile(f"it holds {count:,} members, more than the {self._most:,} that are read", todo=_BY_HAND)
        return data


def _infos(window: Window, limits: Limits) -> list[zipfile.ZipInfo]:
    try:
        with zipfile.ZipFile(_Directory(window, limits)) as archive:
            infos = archive.infolist()
    except (zipfile.BadZipFile, NotImplementedError, ValueError, struct.error, OverflowError, EOFError) as error:
        what = f"the zip archive is damaged: its directory cannot be read ({error})"
        raise DamagedFile(what, todo=_AGAIN) from error
    if len(infos) > limits.members:
        what = f"it holds {len(infos):,} members, more than the {limits.members:,} that are read"
        raise HostileFile(what, todo=_BY_HAND)
    return infos


def _check_beginning(begins: bytes, infos: Sequence[zipfile.ZipInfo]) -> None:
    """Refuse a directory that leaves out the first member: of a cut archive zipfile takes that of an archive inside."""
    if begins == MAGIC[0] and all(info.header_offset for info in infos):
        what = "the zip archive is damaged: no directory in it lists the member that stands at its beginning"
        raise DamagedFile(what, todo=_AGAIN)


def _raw_name(info: zipfile.ZipInfo) -> bytes:
    return info.orig_filename.encode("utf-8" if info.flag_bits & 0x800 else "cp437")


def _name(info: zipfile.ZipInfo) -> str:
    r"""Return a member's name; a `\` between folders, which only old programs on Windows write, becomes `/`.

    The format knows only `/` (APPNOTE 4.4.17.1). A Unix file name may hold `\`, a name that has both is not clear,
    and in other code pages the byte may be half a character: such names stay as they are, and are refused.
    """
    raw = _raw_name(info)
    name = member_name(raw)
    clear = info.create_system in _WINDOWS and "/" not in name and raw.decode("utf-8", "replace") == name
    return name.replace("\\", "/") if clear else name


def _is_document(names: Sequence[str]) -> bool:
    """Say whether the members are those of an office document, an e-book or an application, not of an export."""
    return bool(names) and (names[0] == "mimetype" or bool({"[Content_Types].xml", "AndroidManifest.xml"} & set(names)))


def _is_folder(name: str, info: zipfile.ZipInfo) -> bool:
    return name.endswith("/") and info.file_size == 0


def _overlapping(infos: Sequence[zipfile.ZipInfo]) -> set[int]:
    """Return the ids of members whose bytes are partly another member's too, as in bombs of a few kilobytes."""
    found: set[int] = set()
    last, end = None, 0
    for info in sorted(infos, key=lambda each: (each.header_offset, each.compress_size)):
        if last is not None and info.header_offset < end:
            found |= {id(last), id(info)}
        own_end = info.header_offset + _LOCAL_HEADER + len(_raw_name(info)) + info.compress_size
        if own_end >= end:
            last, end = info, own_end
    return found


def _fault(name: str, info: zipfile.ZipInfo, limits: Limits, has_twin: bool, overlaps: bool) -> Fault | None:
    mode = info.external_attr >> 16 if info.create_system == _UNIX else 0
    if what := name_fault(name):
        return Fault("hostile-file", f"{what}. {_PACK_AGAIN}.")
    if has_twin:
        what = "more than one member of the archive has this name, and which one counts cannot be told"
        return Fault("same-name", f"{what}. {_PACK_AGAIN}.")
    if overlaps:
        what = "its bytes in the archive are partly another member's too, which no honest archive does"
        return Fault("hostile-file", f"{what}. {_BY_HAND}.")
    if name.endswith("/"):
        return Fault("special-file", f"it is a folder with {info.file_size:,} bytes of its own. {_PACK_AGAIN}.")
    if stat.S_IFMT(mode) not in (0, stat.S_IFREG):
        what = "it is a link" if stat.S_ISLNK(mode) else "it is not a plain file"
        return Fault("special-file", f"{what}, and links in archives are not followed. {_PACK_AGAIN}.")
    if info.flag_bits & _ENCRYPTED:
        return Fault("encrypted", "it is encrypted. Unpack it with its password and give the unpacked file.")
    if info.compress_type not in METHODS:
        method = _METHOD_NAMES.get(info.compress_type, f"number {info.compress_type}")
        what = f"it is packed by a method that is not read ({method})"
        return Fault("unsupported-method", f"{what}. Pack it again as an ordinary zip, or give the unpacked files.")
    return _size_fault(info, limits)


def _size_fault(info: zipfile.ZipInfo, limits: Limits) -> Fault | None:
    if info.compress_type == STORED and info.CRC == NO_CHECKSUM:
        what = "its size stood in the archive's directory, which is lost, so that its end cannot be told"
        return Fault("damaged-file", f"{what}. {AGAIN}.")
    size, packed = info.file_size, info.compress_size
    if size > limits.floor and size > limits.ratio * packed:
        what = f"{packed:,} bytes would unpack to {size:,}, more than {limits.ratio} times as much"
        return Fault("hostile-file", f"{what}. {_BY_HAND}.")
    if info.compress_type == STORED and size != packed:
        what = f"the archive's directory contradicts itself: {size:,} bytes stored unpacked in {packed:,}"
        return Fault("damaged-file", f"{what}. Copy or export it again.")
    return None
