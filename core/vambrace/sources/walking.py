"""Walk folders and archives: one entry for everything that is not a folder, in the order of the paths' bytes."""

from __future__ import annotations

import heapq
import os
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from functools import partial
from itertools import count
from pathlib import Path

from vambrace.errors import Refused, SourceError, VambraceError
from vambrace.sources import tars, zips
from vambrace.sources.entry import LIMITS, Entry, Fault, Limits, Location
from vambrace.sources.names import Ignored, root_text, shown_apart
from vambrace.sources.opening import ground
from vambrace.sources.streams import PlainFile

_BY_HAND = "If you trust it, unpack it yourself and give the folder as a SOURCE"


def walk(
    roots: Sequence[Path | str], ignore: Sequence[str] = (), skip: Sequence[Path] = (), limits: Limits = LIMITS
) -> Iterator[Entry]:
    """Return an iterator over the entries of every SOURCE, sorted by root, then by path; raise for a missing one.

    A SOURCE given twice is walked once; one inside another is walked for itself, and its files have an entry under
    each. `skip` names folders (or files) to pass over without an entry: the dataset itself. Linked files are read,
    linked folders are not followed: such a link is a `problem`, since what stands behind it would be missed.
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
    return (entry for root, top in ordered for entry in _Walk(root, Ignored(ignore), skipped, limits).entries(top))


@dataclass(slots=True)
class _Budget:
    """What an outermost archive and all inside it may still unpack to."""

    allowed: int
    packed: int
    unpacked: int = 0
    members: int = 0


@dataclass(frozen=True, slots=True)
class _Archive:
    """An archive whose members are being visited."""

    path: str
    location: Location
    budget: _Budget
    depth: int
    fault: Fault | None = None


class _Walk:
    """The walk of one SOURCE: a heap of what is still to be visited, keyed by the path's bytes.

    A folder's key ends in `/` and an archive's members' keys hold its `!`: so `a-1` comes before `a/b`, and entries
    come out in the order of their paths without the whole tree in memory.
    """

    def __init__(self, root: str, ignored: Ignored, skipped: frozenset[str], limits: Limits) -> None:
        self._root, self._ignored, self._skipped, self._limits = root, ignored, skipped, limits
        self._heap: list[tuple[bytes, int, Callable[[], Iterator[Entry]]]] = []
        self._order = count()

    def entries(self, top: str) -> Iterator[Entry]:
        """Yield the entries of the SOURCE at an absolute path."""
        if os.path.isdir(top):
            self._push("", partial(self._folder, top, os.path.realpath(top), ""))
        elif os.path.realpath(top) not in self._skipped:
            name = os.path.basename(top)
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
        names, error = _listed(place)
        for name, text in shown_apart(names).items():
            inner, path = os.path.join(place, name), prefix + text
            if names[name]:
                self._push(f"{path}/", partial(self._folder, inner, os.path.join(real, name), f"{path}/"))
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
        return Entry(self._root, path, "ignored", f"it matches the ignore pattern {pattern}", size=size)

    def _file(self, place: str, path: str) -> Iterator[Entry]:
        if pattern := self._ignored.by(path):
            yield self._ignore(path, pattern, _size_of_plain(place))
            return
        try:
            status = _status(place)
            with PlainFile(place) as file:
                head = file.read(tars.HEAD_BYTES) or b""
        except SourceError as error:
            yield self._problem(path, Fault.of(error), size=_size_of_plain(place))
            return
        location = Location(place, stamp=(status.st_size, status.st_mtime_ns))
        allowed = min(self._limits.total, max(self._limits.floor, self._limits.ratio * status.st_size))
        yield from self._sorted_out(path, location, status.st_size, head, _Budget(allowed, status.st_size), 1)

    def _sorted_out(
        self, path: str, location: Location, size: int, head: bytes, budget: _Budget, depth: int
    ) -> Iterator[Entry]:
        """Yield the entry of a file or member by what its first bytes say; an archive's members are pushed."""
        inner, head = self._unwrapped(location, head, path)
        if not (head.startswith(zips.MAGIC) and inner is location) and not tars.is_tar(head):
            yield Entry(self._root, path, "content", location=_unstamped(inner), size=size)
            return
        if depth > self._limits.depth:
            what = f"it is an archive inside {depth - 1} others, and archives are read {self._limits.depth - 1} deep"
            todo = "Unpack the outer one and give the folder as a SOURCE"
            yield self._problem(path, Fault("nested-too-deep", f"{what}. {todo}."), location, size)
            return
        try:
            with ground(inner, path, self._limits) as window:
                listing = (
                    tars.list_tar(window, self._limits) if tars.is_tar(head) else zips.list_zip(window, self._limits)
                )
        except SourceError as error:
            yield self._problem(path, Fault.of(error), location, size)
            return
        if listing is None:
            yield Entry(self._root, path, "content", location=_unstamped(inner), size=size)
            return
        archive = _Archive(path, inner, budget, depth, _charge(budget, listing, self._limits))
        yield self._archive(archive, listing, location, size)
        for member in listing.members:
            self._push(f"{path}!{member.path}", partial(self._member, archive, member))
