"""One writer at a time: a lock of the operating system, which ends with its process and so never goes stale."""

from __future__ import annotations

import contextlib
import json
import os
import socket
from collections.abc import Iterator
from pathlib import Path

from filelock import FileLock, Timeout

from vambrace.dataset.files import FileOps, read_bytes, remove_quietly, write_atomically
from vambrace.errors import VambraceError

LOCK, OWNER = ".lock", ".writer"
"""The empty file that is locked, and the file that says by whom, for the message to others; it decides nothing."""


@contextlib.contextmanager
def exclusive(ops: FileOps, folder: Path, wait_s: float) -> Iterator[None]:
    """Hold the dataset for writing; raise VambraceError that names the other writer after waiting in vain."""
    lock = FileLock(folder / LOCK, timeout=max(0.0, wait_s))
    try:
        lock.acquire()
    except Timeout as error:
        raise VambraceError(
            f"the dataset is being written by {_owner(ops, folder)}",
            where=str(folder),
            todo="Wait until it has finished, or stop it, then run the command again",
        ) from error
    except (OSError, NotImplementedError) as error:
        raise VambraceError(
            f"the dataset cannot be locked for writing: {error}",
            where=str(folder),
            todo="Give a folder on a disk that you may write to",
        ) from error
    try:
        owner = {"process": os.getpid(), "host": socket.gethostname()}
        write_atomically(ops, folder / OWNER, json.dumps(owner).encode())
        yield
    finally:
        remove_quietly(ops, folder / OWNER)
        lock.release()


def _owner(ops: FileOps, folder: Path) -> str:
    try:
        said = json.loads(read_bytes(ops, folder / OWNER))
        return f"process {said['process']} on {said['host']}"
    except (OSError, ValueError, TypeError, KeyError):
        return "another process"
