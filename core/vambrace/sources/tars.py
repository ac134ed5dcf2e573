"""List a tar archive: which members can be read, from where, and why the others cannot."""

from __future__ import annotations

import io
import tarfile
from collections.abc import Sequence

from vambrace.errors import DamagedFile, HostileFile
from vambrace.sources.entry import Fault, Limits, Listing, Member, Slice
from vambrace.sources.names import member_paths, name_fault, tidied, twins
from vambrace.sources.streams import AGAIN, Cut, Window

HEAD_BYTES = 512
_MAGIC_AT, _MAGIC = 257, b"ustar"
_BLOCK = 512
_PACK_AGAIN = "Pack it again without that, or give the unpacked files"
_BY_HAND = "If you trust it, unpack it yourself and give the folder as a SOURCE"
# What tarfile was seen to raise at headers that contradict themselves; nested long names recurse.
_BROKEN = (
    tarfile.TarError,
    ValueError,
    ArithmeticError,
    LookupError,
    AttributeError,
    EOFError,
    RecursionError,
    DamagedFile,
)


def is_tar(head: bytes) -> bool:
    """Say whether the first 512 bytes are a tar header (POSIX or GNU)."""
    return head[_MAGIC_AT : _MAGIC_AT + len(_MAGIC)] == _MAGIC


def list_tar(window: Window, limits: Limits) -> Listing:
    """Return the members up to the end, or up to a damage, which is then the listing's fault.

    Raise `HostileFile` for more members than the limit, or for a header that is too large.
    """
    infos: list[tarfile.TarInfo] = []
    broken: _Damaged | None = None
    note = ""
    reader = _Headers(window, limits)
    try:
        infos.extend(_infos(reader, limits))
        note = _ending(reader, infos, window.size)
    except _Damaged as damage:
        broken, infos = damage, damage.infos
    fault = _damage(window, infos, broken)
    infos = [info for info in infos if not info.isdir()]
    return Listing(_members([info.name for info in infos], infos), fault, note)


def _damage(window: Window, infos: Sequence[tarfile.TarInfo], broken: _Damaged | None) -> Fault | None:
    """Return the fault of an archive whose bytes end in a damage, or whose headers do."""
    if window.damage is None and broken is None:
        return None
    what = f"the tar archive is damaged after {len(infos):,} {'member' if len(infos) == 1 else 'members'}"
    read = "members that are whole are read, and --salvage keeps what there is of one that is cut"
    if window.damage is None:
        what = f"{what}, at byte {min(window.size, _end(infos[-1]) if infos else 0):,} ({broken})"
    else:
        what = f"{what}: {window.damage.what}"
        # Nothing else vouches for the bytes of a member.
        read = read if isinstance(window.damage, Cut) else "--salvage reads its members, of which any may be wrong"
    return Fault("damaged-file", f"{what}. {AGAIN}; {read}.")


class _Damaged(Exception):
    """Ends the listing of a tar archive; holds what was listed before."""

    def __init__(self, why: object, infos: list[tarfile.TarInfo]) -> None:
        super().__init__(why)
        self.infos = infos


class _Headers(io.BufferedReader):
    """Refuses to read a header of any size at once."""

    def __init__(self, window: Window, limits: Limits) -> None:
        super().__init__(window)
        self._most = limits.header

    def read(self, size: int | None = -1, /) -> bytes:
        """Read, unless it is more than a header holds."""
        if size is None or not 0 <= size <= self._most:
            raise HostileFile(
                f"a header in it is larger than {self._most:,} bytes, the most that is read", todo=_BY_HAND
            )
        return super().read(size)


def _infos(reader: _Headers, limits: Limits) -> list[tarfile.TarInfo]:
    infos: list[tarfile.TarInfo] = []
    try:
        with tarfile.open(fileobj=reader, mode="r:", encoding="utf-8", errors="surrogateescape") as archive:
            while (info := archive.next()) is not None:
                # A negative size in a header leads tarfile back to where it was.
                if info.size < 0 or (infos and info.offset_data <= infos[-1].offset_data):
                    raise tarfile.ReadError("a header gives a size below 0")
                infos.append(info)
                # Without this tarfile keeps every header for as long as it reads.
                archive.members = []  # type: ignore[attr-defined]
                if len(infos) > limits.members:
                    what = f"it holds more than {limits.members:,} members, the most that are read"
                    raise HostileFile(what, todo=_BY_HAND)
    except _BROKEN as error:
        raise _Damaged(error, infos) from error
    return infos


def _ending(reader: _Headers, infos: Sequence[tarfile.TarInfo], size: int) -> str:
    """Look at what stands behind the last member: tarfile takes damage there for the end."""
    end = _end(infos[-1]) if infos else 0
    if end >= size:
        return "it has no end mark, so members may be missing"
    reader.seek(end)
    if any(reader.read(min(_BLOCK, size - end))):
        raise _Damaged(f"no header stands at byte {end:,}", list(infos))
    return ""


def _end(info: tarfile.TarInfo) -> int:
    content = info.size if info.isreg() else 0
    return info.offset_data + -(-content // _BLOCK) * _BLOCK


def _members(names: Sequence[str], infos: Sequence[tarfile.TarInfo]) -> tuple[Member, ...]:
    same = twins(names)
    members = []
    for name, path, info in zip(names, member_paths(names), infos, strict=True):
        fault = _fault(name, info, tidied(name) in same)
        members.append(Member(path, info.size, None if fault else Slice(info.offset_data, info.size), fault))
    return tuple(members)


def _fault(name: str, info: tarfile.TarInfo, has_twin: bool) -> Fault | None:
    if what := name_fault(name):
        return Fault("hostile-file", f"{what}. {_PACK_AGAIN}.")
    if has_twin:
        what = "more than one member of the archive has this name, and which one counts cannot be told"
        return Fault("same-name", f"{what}. {_PACK_AGAIN}.")
    if info.issparse():
        return Fault("unsupported-method", f"it is stored with holes (sparse), which is not read. {_PACK_AGAIN}.")
    if not info.isreg():
        what = (
            "it is a link, and links in archives are not followed" if info.islnk() or info.issym() else "it is no file"
        )
        return Fault("special-file", f"{what}. {_PACK_AGAIN}.")
    return None
