"""Binary streams that turn what goes wrong into typed errors: of a file, of a part of one, of unpacked blocks."""

from __future__ import annotations

import errno
import io
import os
import stat
from collections.abc import Callable, Iterator
from typing import TYPE_CHECKING, BinaryIO, TypeAlias, TypeVar

from vambrace.errors import DamagedFile, Refused, SourceError

if TYPE_CHECKING:
    from _typeshed import WriteableBuffer

BLOCK = 1 << 18
AGAIN = "Copy or export it again"
SALVAGE = f"{AGAIN}; --salvage keeps what stands before the damage"


def unreadable(error: OSError, where: str = "") -> Refused:
    """Return the refusal of a source that the operating system does not let us read, in its own words."""
    words = error.strerror or str(error) or type(error).__name__
    todo = "Make it readable, copy it again, or leave it out with --ignore"
    return Refused("unreadable", f"it cannot be read: {words}", where=where, todo=todo)


def special(mode: int, where: str = "") -> Refused | None:
    """Return the refusal of what is neither a file nor a folder (a pipe, a socket, a device), by its mode."""
    if stat.S_ISREG(mode) or stat.S_ISDIR(mode):
        return None
    kinds = {stat.S_IFIFO: "a pipe", stat.S_IFSOCK: "a socket", stat.S_IFBLK: "a device", stat.S_IFCHR: "a device"}
    what = f"it is {kinds.get(stat.S_IFMT(mode), 'a special file')}, not a file with fixed content; it was not opened"
    return Refused("special-file", what, where=where, todo="Take it out of the folder, or leave it out with --ignore")


def open_descriptor(path: str, where: str = "") -> int:
    """Open a regular file for reading; never waits at a pipe that took the file's place."""
    flags = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_CLOEXEC", 0) | getattr(os, "O_BINARY", 0)
    try:
        descriptor = os.open(path, flags)
    except OSError as error:
        raise unreadable(error, where) from error
    fault = special(os.fstat(descriptor).st_mode, where)
    if fault is not None:
        os.close(descriptor)
        raise fault
    return descriptor


class Cut(DamagedFile):
    """The bytes end before they should; those that are there are as they were."""


_Read = TypeVar("_Read", bytes, int)
Stamp: TypeAlias = tuple[int, int]
"""A file's size and its time of modification in ns."""


def stamp_of(descriptor: int) -> Stamp:
    """Return the stamp of an open file."""
    status = os.fstat(descriptor)
    return status.st_size, status.st_mtime_ns


def hold_to_stamp(descriptor: int, stamp: Stamp | None, where: str) -> None:
    """Raise `Refused` for a file that is no longer what it was when it was listed."""
    if stamp is not None and stamp_of(descriptor) != stamp:
        what = "the file was changed after it was listed"
        raise Refused("changed", what, where=where, todo="Convert again when nothing writes to it any more")


class PlainFile(io.FileIO):
    """A file whose reading errors are ours, and which must stay what its stamp says to its end."""

    def __init__(self, path: str, where: str = "", stamp: Stamp | None = None) -> None:
        self._where, self._stamp = where, stamp
        descriptor = open_descriptor(path, where)
        try:
            hold_to_stamp(descriptor, stamp, where)
            super().__init__(descriptor, "rb")
        except OSError as error:
            os.close(descriptor)
            raise unreadable(error, where) from error
        except Refused:
            os.close(descriptor)
            raise

    def readinto(self, buffer: WriteableBuffer, /) -> int:
        """Read into the buffer."""
        return self._read(lambda: super(PlainFile, self).readinto(buffer) or 0)

    def read(self, size: int | None = -1, /) -> bytes:
        """Read some bytes, or what is left."""
        return self._read(lambda: super(PlainFile, self).read(-1 if size is None else size) or b"")

    def readall(self) -> bytes:
        """Read what is left."""
        return self._read(super().readall, at_end=True)

    def _read(self, read: Callable[[], _Read], at_end: bool = False) -> _Read:
        """Read in one of the three ways; at the file's end hold it to its stamp."""
        try:
            found = read()
        except OSError as error:
            raise unreadable(error, self._where) from error
        if at_end or not found:
            hold_to_stamp(self.fileno(), self._stamp, self._where)
        return found


class Forward(io.RawIOBase):
    """What our own raw streams share: seeking by a position that they keep."""

    position = 0

    def readable(self) -> bool:
        """Say yes."""
        return True

    def seekable(self) -> bool:
        """Say yes."""
        return True

    def tell(self) -> int:
        """Return the position."""
        return self.position

    def seek(self, offset: int, whence: int = os.SEEK_SET) -> int:
        """Move to a position; one before the first byte is an OSError as with files (zipfile counts on it)."""
        start = {os.SEEK_SET: 0, os.SEEK_CUR: self.position}.get(whence)
        target = (self.length() if start is None else start) + offset
        if target < 0:
            raise OSError(errno.EINVAL, f"negative position {target}")
        self.move(target)
        return self.position

    def length(self) -> int:
        """Return how many bytes there are."""
        raise NotImplementedError

    def move(self, target: int) -> None:
        """Go to a position."""
        raise NotImplementedError


class Window(Forward):
    """Part of an open file, read by position; owns its descriptor. Of its `size` bytes only `there` may exist.

    `damage` is what ended the unpacking of the whole that it is part of, and `doubt` the same where bytes before may be
    wrong too: it is raised behind the last byte, since nothing else tells whether these bytes are as they were.
    """

    def __init__(self, descriptor: int, start: int, size: int, where: str = "", there: int | None = None) -> None:
        self.descriptor, self.start, self.size, self.where = descriptor, start, size, where
        self.there = size if there is None else there
        self.damage: DamagedFile | None = None
        self.doubt: DamagedFile | None = None

    def length(self) -> int:
        """Return how many bytes there are."""
        return self.size

    def move(self, target: int) -> None:
        """Go to a position."""
        self.position = target

    def readinto(self, buffer: WriteableBuffer, /) -> int:
        """Read into the buffer; raise `DamagedFile` where the file ends before the part does."""
        view = memoryview(buffer)
        want = max(0, min(len(view), self.there - self.position))
        data = _read_at(self.descriptor, want, self.start + self.position, self.where) if want else b""
        if not data and view:
            self._at_end()
        view[: len(data)] = data
        self.position += len(data)
        return len(data)

    def part(self, start: int, size: int, where: str) -> Window:
        """Return a part of this part, with a descriptor of its own."""
        there = max(0, min(size, self.there - start))
        part = Window(os.dup(self.descriptor), self.start + start, size, where, there)
        part.damage = self.damage
        return part

    def member(self, start: int, size: int, where: str) -> Window:
        """Return a part that nothing but the whole vouches for: reading it to its end raises the whole's doubt."""
        part = self.part(start, size, where)
        if self.damage is not None and not isinstance(self.damage, Cut):
            what = f"the archive that it stands in is damaged, so that it may be wrong: {self.damage.what}"
            part.doubt = DamagedFile(what, where=where, todo=SALVAGE)
        return part

    def _at_end(self) -> None:
        """Raise `DamagedFile` where the bytes end too early, or are in doubt."""
        if self.position < self.size:
            why = f", since of its archive {self.damage.what}" if self.damage is not None else ""
            what = f"it is cut: {self.position:,} of {self.size:,} bytes are there{why}"
            raise Cut(what, where=self.where, todo=SALVAGE)
        if self.doubt is not None:
            raise self.doubt

    def close(self) -> None:
        """Close the descriptor."""
        if not self.closed:
            os.close(self.descriptor)
        super().close()


def _read_at(descriptor: int, count: int, position: int, where: str) -> bytes:
    try:
        if hasattr(os, "pread"):
            return os.pread(descriptor, count, position)
        os.lseek(descriptor, position, os.SEEK_SET)
        return os.read(descriptor, count)
    except OSError as error:
        raise unreadable(error, where) from error


class UntilDamage(Forward):
    """A stream of which the first `good` bytes can be read; then it raises its damage, at each reading again.

    Each reading gives all bytes up to there that were asked for: none is lost to an error that comes in the middle.
    """

    def __init__(self, inner: BinaryIO, good: int, damage: DamagedFile) -> None:
        self._inner, self._good, self._damage = inner, good, damage

    def readinto(self, buffer: WriteableBuffer, /) -> int:
        """Read into the buffer."""
        view = memoryview(buffer)
        data = self._inner.read(max(0, min(len(view), self._good - self.position)))
        if view and not data:
            raise self._damage
        view[: len(data)] = data
        self.position += len(data)
        return len(data)

    def length(self) -> int:
        """Return how many bytes there are."""
        return self._good

    def move(self, target: int) -> None:
        """Go to a position."""
        self.position = self._inner.seek(target)

    def close(self) -> None:
        """Close what it reads from."""
        self._inner.close()
        super().close()


class Blocks(Forward):
    """A stream over blocks that a generator yields; going back starts the generator again."""

    def __init__(self, start: Callable[[], Iterator[bytes]]) -> None:
        self._start = start
        self._blocks = start()
        self._left = memoryview(b"")
        self._fault: SourceError | None = None

    def readinto(self, buffer: WriteableBuffer, /) -> int:
        """Read into the buffer; an error of the generator is raised again at each later reading."""
        view = memoryview(buffer)
        if not self._left:
            self._left = memoryview(self._next())
        count = min(len(view), len(self._left))
        view[:count] = self._left[:count]
        self._left = self._left[count:]
        self.position += count
        return count

    def _next(self) -> bytes:
        if self._fault is not None:
            raise self._fault
        try:
            return next(self._blocks, b"")
        except SourceError as error:
            self._fault = error
            raise

    def length(self) -> int:
        """Return how many bytes there are, by unpacking them all."""
        while self._skip(BLOCK):
            pass
        return self.position

    def move(self, target: int) -> None:
        """Go to a position, by unpacking what is before it."""
        if target < self.position:
            self._restart()
        while self.position < target and self._skip(target - self.position):
            pass

    def _restart(self) -> None:
        self._shut()
        self._blocks, self._left, self.position, self._fault = self._start(), memoryview(b""), 0, None

    def _skip(self, most: int) -> int:
        return self.readinto(bytearray(min(most, BLOCK)))

    def _shut(self) -> None:
        close = getattr(self._blocks, "close", None)
        if close is not None:
            close()

    def close(self) -> None:
        """Close the generator, and with it what it reads from."""
        if not self.closed:
            self._shut()
        super().close()
