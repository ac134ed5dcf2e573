"""List a tar archive: which members can be read, from where, and why the others cannot."""

from __future__ import annotations

import io
import tarfile
from collections.abc import Iterator, Sequence

from vambrace.errors import HostileFile
from vambrace.sources.entry import Fault, Limits, Listing, Member, Slice
from vambrace.sources.names import member_paths, name_fault, tidied, twins
from vambrace.sources.streams import Window

HEAD_BYTES = 512
_MAGIC_AT, _MAGIC = 257, b"ustar"
_BLOCK = 512
_PACK_AGAIN = "Pack it again without that, or give the unpacked files"
_BY_HAND = "If you trust it, unpack it yourself and give the folder as a SOURCE"
_AGAIN = "Copy or export it again"


def is_tar(head: bytes) -> bool:
    """Say whether the first 512 bytes are a tar header (POSIX or GNU)."""
    return head[_MAGIC_AT : _MAGIC_AT + len(_MAGIC)] == _MAGIC


def list_tar(window: Window, limits: Limits) -> Listing:
    """Return the members up to the end, or up to a damage, which is then the listing's fault.

    Raise `HostileFile` for more members than the limit, or for a header that is too large.
    """
    infos: list[tarfile.TarInfo] = []
    fault = None
    end = 0
    reader = _Headers(window, limits)
    try:
        for info in _infos(reader):
            end = _end(info)
            if not info.isdir():
                infos.append(info)
            if len(infos) > limits.members:
                raise HostileFile(
                    f"it holds more than {limits.members:,} members, the most that are read", todo=_BY_HAND
                )
    except (tarfile.TarError, ValueError, OverflowError, EOFError) as error:
        fault = Fault("damaged-file", f"the tar archive is damaged after {len(infos):,} members ({error}). {_AGAIN}.")
    note = ""
    if fault is None:
        fault, note = _ending(reader, end, window.size, len(infos))
    names = [info.name for info in infos]
    return Listing(_members(names, infos), fault, note)


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


def _infos(reader: _Headers) -> Iterator[tarfile.TarInfo]:
    with tarfile.open(fileobj=reader, mode="r:", encoding="utf-8", errors="surrogateescape") as archive:
        while (info := archive.next()) is not None:
            yield info
            # Without this tarfile keeps every header for as long as it reads.
            archive.members = []


def _end(info: tarfile.TarInfo) -> int:
    content = info.size if info.isreg() else 0
    return info.offset_data + -(-content // _BLOCK) * _BLOCK


def _ending(reader: _Headers, end: int, size: int, count: int) -> tuple[Fault | None, str]:
    """Look at what stands behind the last member: tarfile takes damage there for the end."""
    if end >= size:
        return None, "it has no end mark, so members may be missing"
    reader.seek(end)
    if any(reader.read(min(_BLOCK, size - end))):
        what = f"the tar archive is damaged after {count:,} members: no header stands at byte {end:,}"
        return Fault("damaged-file", f"{what}. {_AGAIN}."), ""
    return None, ""


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
