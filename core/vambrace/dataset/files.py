"""The file operations of a dataset behind one small interface, so that tests can make each of them fail."""

from __future__ import annotations

import contextlib
import hashlib
import itertools
import os
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO, Protocol

TEMPORARY = ".part-"
"""How the names of unfinished files begin; what a dead run leaves under such a name is swept."""

_COUNTER = itertools.count()


class FileOps(Protocol):
    """What the dataset asks of a filesystem; every call raises OSError where it fails."""

    def open_new(self, path: Path) -> BinaryIO:
        """Create a file that must not exist, open for writing and reading."""

    def open_old(self, path: Path) -> BinaryIO:
        """Open an existing file for reading."""

    def fsync_file(self, stream: BinaryIO) -> None:
        """Bring what was written to the disk itself."""

    def rename(self, old: Path, new: Path) -> None:
        """Give a file another name in one step; a file that has the name already is replaced."""

    def unlink(self, path: Path) -> None:
        """Remove a file."""

    def make_folder(self, path: Path) -> None:
        """Create a folder and those above it, where they do not exist."""

    def fsync_folder(self, path: Path) -> None:
        """Bring the names in a folder to the disk itself."""

    def list_folder(self, path: Path) -> list[str]:
        """Return the names in a folder, sorted; none where the folder does not exist."""


class RealFiles:
    """The file operations of the machine."""

    def open_new(self, path: Path) -> BinaryIO:
        """Create a file that must not exist, open for writing and reading."""
        return path.open("x+b")

    def open_old(self, path: Path) -> BinaryIO:
        """Open an existing file for reading."""
        return path.open("rb")

    def fsync_file(self, stream: BinaryIO) -> None:
        """Bring what was written to the disk itself."""
        stream.flush()
        os.fsync(stream.fileno())

    def rename(self, old: Path, new: Path) -> None:
        """Give a file another name in one step; a file that has the name already is replaced."""
        old.replace(new)

    def unlink(self, path: Path) -> None:
        """Remove a file."""
        path.unlink()

    def make_folder(self, path: Path) -> None:
        """Create a folder and those above it, where they do not exist."""
        path.mkdir(parents=True, exist_ok=True)

    def fsync_folder(self, path: Path) -> None:
        """Bring the names in a folder to the disk itself; systems that cannot open a folder do it by themselves."""
        if os.name == "nt":
            return
        handle = os.open(path, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)

    def list_folder(self, path: Path) -> list[str]:
        """Return the names in a folder, sorted; none where the folder does not exist."""
        try:
            return sorted(os.listdir(path))
        except FileNotFoundError:
            return []


class FleetingFiles(RealFiles):
    """The same for files that nobody keeps: nothing is brought to the disk itself."""

    def fsync_file(self, stream: BinaryIO) -> None:
        """Only hand over what was written."""
        stream.flush()

    def fsync_folder(self, path: Path) -> None:
        """Do nothing."""


def create_temporary(ops: FileOps, folder: Path) -> tuple[Path, BinaryIO]:
    """Create an empty file in the folder under a name that nobody else uses."""
    while True:
        path = folder / f"{TEMPORARY}{os.getpid()}-{next(_COUNTER)}"
        # Another machine may run a process of the same number on a shared folder: then the next number.
        with contextlib.suppress(FileExistsError):
            return path, ops.open_new(path)


def write_atomically(ops: FileOps, path: Path, data: bytes) -> None:
    """Put a file in its place wholly or not at all, and on the disk before returning."""
    with placing(ops, path) as stream:
        stream.write(data)


@contextlib.contextmanager
def placing(ops: FileOps, path: Path) -> Iterator[BinaryIO]:
    """Give a stream whose bytes stand under the path when the block ends well; else nothing has changed."""
    temporary, stream = create_temporary(ops, path.parent)
    try:
        with stream:
            yield stream
            ops.fsync_file(stream)
        ops.rename(temporary, path)
    except BaseException:
        remove_quietly(ops, temporary)
        raise
    ops.fsync_folder(path.parent)


def remove_quietly(ops: FileOps, path: Path) -> None:
    """Remove an unfinished file if it can be removed now; otherwise the next start sweeps it."""
    with contextlib.suppress(OSError):
        ops.unlink(path)


def read_bytes(ops: FileOps, path: Path) -> bytes:
    """Return all bytes of a file."""
    with ops.open_old(path) as stream:
        return stream.read()


def sha256_of(stream: BinaryIO) -> str:
    """Return the SHA-256 of a stream's bytes in hex."""
    digest = hashlib.sha256()
    while block := stream.read(1 << 20):
        digest.update(block)
    return digest.hexdigest()
