"""Walk folders and archives: one entry for everything that is not a folder, in the order of the paths' bytes."""

from __future__ import annotations

import heapq
import os
import stat
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import count
from pathlib import Path

from vambrace.errors import Refused, SourceError, VambraceError
from vambrace.sources import tars, zips
from vambrace.sources.entry import LIMITS, Entry, Fault, Limits, Listing, Location, Member, Unpack
from vambrace.sources.names import Ignored, file_name, root_text, shown_apart
from vambrace.sources.opening import first_bytes, ground, open_location
from vambrace.sources.streams import PlainFile, special, stamp_of, unreadable
from vambrace.sources.unpack import codec_of, packed_otherwise

_BY_HAND = "If you trust it, unpack it yourself and give the folder as a SOURCE"

_UNPACKED = "Unpack it yourself and give the folder as a SOURCE, or pack it as a zip or tar archive"


BY_PATTERN = "it matches the ignore pattern"
"""How the reason of an entry begins that a pattern leaves out."""


def walk(
    roots: Sequence[Path | str],
    ignore: Sequence[str] = (),
    skip: Sequence[Path] = (),
    limits: Limits = LIMITS,
    marker: str = "",
    salvage: bool = False,
) -> Iterator[Entry]:
    """Return an iterator over the entries of every SOURCE, sorted by root, then by path; raise for a missing one.

    A SOURCE given twice is walked once; one inside another is walked for itself, and its files have an entry under
    each. `skip` names folders (or files) to pass over without an entry: the dataset itself. Linked files are read,
    linked folders are not followed: such a link is a `problem`, since what stands behind it would be missed. A folder
    that holds a file named `marker` is a dataset that was made earlier: it has one entry, and is not looked into.
    `salvage` lists what can be listed of a zip archive whose directory is lost.
    """
    tops: dict[str, str] = {}
    for root in roots:
        text = os.fspath(root)
        if not os.path.lexists(text):
            todo = "Check how it is spelled, and that its disk is there"
            raise VambraceError("there is no such file or folder", where=root_text(text), todo=todo)
        tops.setdefault(root_text(text), os.path.abspath(text))
    skipped = frozenset(os.path.realpath(path) for path in skip)
    ordered = sorted(tops.items(), key=lambda item: item[0].encode())
    ignored = Ignored(ignore)
    walks = ((_Walk(root, ignored, skipped, limits, marker, salvage), top) for root, top in ordered)
    return (entry for each, top in walks for entry in each.entries(top))


@dataclass(slots=True)
class _Budget:
    """What an outermost archive and all inside it may still unpack to."""

    allowed: int
    packed: int
    unpacked: int = 0
    members: int = 0

    def charge(self, listing: Listing, limits: Limits) -> Fault | None:
        """Add what an archive's members declare; return why they are too many or too much together."""
        self.members += len(listing.members)
        self.unpacked += sum(member.size for member in listing.members if member.step is not None)
        if self.members > limits.members:
            what = f"it holds {self.members:,} members, with those of archives in it; {limits.members:,} are read"
            return Fault("hostile-file", f"{what}. {_BY_HAND}.")
        if self.unpacked > self.allowed:
            what = f"{self.packed:,} bytes would unpack to {self.unpacked:,}, and {self.allowed:,} are allowed"
            return Fault("hostile-file", f"{what}. {_BY_HAND}.")
        return None


@dataclass(frozen=True, slots=True)
class _Archive:
    """An archive whose members are being visited; `fault` is why none of them is read."""

    path: str
    location: Location
    budget: _Budget
    depth: int
    fault: Fault | None = None


@dataclass(frozen=True, slots=True)
class _Found:
    """Bytes that stand somewhere, before it is known what they are."""

    path: str
    location: Location
    size: int
    budget: _Budget
    depth: int


class _Walk:
    """The walk of one SOURCE: a heap of what is still to be visited, keyed by the path's bytes.

    A folder pushes what stands in it, an archive its members, and each key is longer than that of its holder: so
    `a-1` comes before `a/b`, and entries come out in the order of their paths without the whole tree in memory.
    """

    def __init__(
        self, root: str, ignored: Ignored, skipped: frozenset[str], limits: Limits, marker: str, salvage: bool
    ) -> None:
        self._root, self._ignored, self._skipped, self._limits = root, ignored, skipped, limits
        self._marker, self._salvage = marker, salvage
        self._heap: list[tuple[bytes, int, Callable[[], Iterator[Entry]]]] = []
        self._order = count()

    def entries(self, top: str) -> Iterator[Entry]:
        """Yield the entries of the SOURCE at an absolute path."""
        if os.path.isdir(top):
            self._push("", partial(self._folder, top, os.path.realpath(top), ""))
        elif os.path.realpath(top) not in self._skipped:
            name = file_name(os.path.basename(top))
            path = shown_apart([name])[name]
            self._push(path, partial(self._file, top, path))
        while self._heap:
            yield from heapq.heappop(self._heap)[2]()

    def _push(self, key: str, visit: Callable[[], Iterator[Entry]]) -> None:
        heapq.heappush(self._heap, (key.encode(), next(self._order), visit))

    def _problem(self, path: str, fault: Fault, location: Location | None = None, size: int | None = None) -> Entry:
        return Entry(self._root, path, "problem", fault.reason, location, size, fault.code)

    def _folder(self, place: str, real: str, prefix: str) -> Iterator[Entry]:
        if real in self._skipped:
            return
        children, error = _listed(place)
        if self._marker and children.get(self._marker) is False:
            reason = f"the folder is a dataset (it holds {self._marker}), not an export"
            yield Entry(self._root, prefix.rstrip("/") or ".", "ignored", reason)
            return
        texts = shown_apart([file_name(name) for name in children])
        for name, is_folder in children.items():
            inner, path = os.path.join(place, name), prefix + texts[file_name(name)]
            if is_folder:
                self._push(path, partial(self._folder, inner, os.path.join(real, name), f"{path}/"))
            elif os.path.join(real, name) not in self._skipped:
                self._push(path, partial(self._file, inner, path))
        if error is not None:
            yield self._unlisted(prefix.rstrip("/") or ".", error)

    def _unlisted(self, path: str, error: OSError) -> Entry:
        if pattern := self._ignored.by(path):
            return self._ignore(path, pattern)
        what = f"the folder cannot be read: {error.strerror or error}"
        todo = "Make it readable, or leave it out with --ignore"
        return self._problem(path, Fault.of(Refused("unreadable", what, todo=todo)))

    def _ignore(self, path: str, pattern: str, size: int | None = None) -> Entry:
        return Entry(self._root, path, "ignored", f"{BY_PATTERN} {pattern}", size=size)

    def _file(self, place: str, path: str) -> Iterator[Entry]:
        if pattern := self._ignored.by(path):
            yield self._ignore(path, pattern, _size_of_plain(place))
            return
        try:
            _check(place)
            with PlainFile(place) as file:
                stamp, head = stamp_of(file.fileno()), file.read(tars.HEAD_BYTES) or b""
        except SourceError as error:
            yield self._problem(path, Fault.of(error), size=_size_of_plain(place))
            return
        size = stamp[0]
        budget = _Budget(min(self._limits.total, max(self._limits.floor, self._limits.ratio * size)), size)
        yield from self._sorted_out(_Found(path, Location(place, stamp=stamp), size, budget, 1), head)

    def _member(self, archive: _Archive, member: Member) -> Iterator[Entry]:
        path = f"{archive.path}!{member.path}"
        if pattern := self._ignored.by(path, member.path):
            yield self._ignore(path, pattern, member.size)
            return
        fault = archive.fault or member.fault
        if member.step is None or fault is not None:
            yield self._problem(path, fault or Fault("unreadable", f"it cannot be reached. {_BY_HAND}."))
            return
        location = archive.location.then(member.step)
        try:
            with open_location(location, path, self._limits) as stream:
                head = first_bytes(stream, tars.HEAD_BYTES)
        except SourceError as error:
            yield self._problem(path, Fault.of(error))
            return
        yield from self._sorted_out(_Found(path, location, member.size, archive.budget, archive.depth + 1), head)

    def _sorted_out(self, found: _Found, packed: bytes) -> Iterator[Entry]:
        """Yield the entry of a file or member by what its first bytes say; an archive's members are pushed."""
        location, head = self._unwrapped(found, packed)
        is_zip = head.startswith(zips.MAGIC) and location is found.location
        try:
            listing = self._listing(found, location, head) if is_zip or tars.is_tar(head) else None
        except SourceError as error:
            yield self._problem(found.path, Fault.of(error), found.location, found.size)
            return
        outer = codec_of(packed) if location is not found.location else None
        if listing is None and not is_zip and (what := packed_otherwise(head, outer)):
            fault = Fault("unsupported-method", f"it is {what}, which is not read. {_UNPACKED}.")
            yield self._problem(found.path, fault, found.location, found.size)
            return
        if listing is None:
            yield Entry(self._root, found.path, "content", location=location, size=found.size)
            return
        archive = _Archive(found.path, location, found.budget, found.depth, found.budget.charge(listing, self._limits))
        yield self._archive(archive, listing, found)
        for member in listing.members:
            self._push(f"{found.path}!{member.path}", partial(self._member, archive, member))

    def _unwrapped(self, found: _Found, head: bytes) -> tuple[Location, bytes]:
        """Return where the content stands and its first bytes: for a compressed stream, of what is packed in it."""
        codec = codec_of(head)
        if codec is None:
            return found.location, head
        inner = found.location.then(Unpack(codec))
        try:
            with open_location(inner, found.path, self._limits) as stream:
                return inner, first_bytes(stream, tars.HEAD_BYTES)
        except SourceError:
            # Whoever reads it as content is told what is wrong with it.
            return inner, b""

    def _listing(self, found: _Found, location: Location, head: bytes) -> Listing | None:
        """Return an archive's members, or None for a document; raise for one that is too deep or cannot be read."""
        if found.depth > self._limits.depth:
            what = f"it is an archive inside {found.depth - 1} others, and archives are read {self._limits.depth} deep"
            raise Refused("nested-too-deep", what, todo="Unpack the outer one and give the folder as a SOURCE")
        with ground(location, found.path, self._limits) as window:
            if tars.is_tar(head):
                return tars.list_tar(window, self._limits)
            return zips.list_zip(window, self._limits, self._salvage)

    def _archive(self, archive: _Archive, listing: Listing, found: _Found) -> Entry:
        """Return the archive's own row: how many members it has, and what is wrong or odd about it as a whole."""
        count = len(listing.members)
        reason = f"archive, {count:,} {'member' if count == 1 else 'members'}"
        fault = archive.fault or listing.fault or self._unreached(found.path, listing)
        if fault is not None:
            reason = f"{reason}; {fault.reason}"
        elif listing.note:
            reason = f"{reason}; {listing.note}"
        return Entry(self._root, found.path, "archive", reason, found.location, found.size, fault.code if fault else "")

    def _unreached(self, path: str, listing: Listing) -> Fault | None:
        """Return the fault of an archive of which members cannot be reached safely; those ignored do not count."""
        wanted = [each for each in listing.members if not self._ignored.by(f"{path}!{each.path}", each.path)]
        count = sum(each.fault is not None for each in wanted)
        if not count:
            return None
        return Fault("unreached-members", f"{count:,} of them could not be reached safely. Look at their own rows.")


def _listed(place: str) -> tuple[dict[str, bool], OSError | None]:
    """Return what stands in a folder, and whether each is a folder itself; with the error that ended the listing."""
    children: dict[str, bool] = {}
    try:
        with os.scandir(place) as found:
            for each in found:
                children[each.name] = each.is_dir(follow_symlinks=False)
    except OSError as error:
        return children, error
    return children, None


def _size_of_plain(place: str) -> int | None:
    """Return a file's size where it has one."""
    try:
        status = os.stat(place)
    except OSError:
        return None
    return status.st_size if stat.S_ISREG(status.st_mode) else None


def _check(place: str) -> None:
    """Raise `Refused` for what is no file, nor a link to one."""
    is_link = os.path.islink(place)
    try:
        mode = os.stat(place).st_mode
    except OSError as error:
        if is_link:
            what = f"it is a link that leads to nothing: {error.strerror or error}"
            raise Refused("broken-link", what, todo="Mend the link, or leave it out with --ignore") from error
        raise unreadable(error) from error
    if stat.S_ISDIR(mode):
        what = "it is a link to a folder, and linked folders are not followed" if is_link else "it became a folder"
        raise Refused("linked-folder", what, todo="Give the folder itself as a SOURCE, or leave it out with --ignore")
    if (fault := special(mode)) is not None:
        raise fault
