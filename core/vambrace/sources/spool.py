"""Unnamed temporary files for archives whose members cannot be reached without unpacking the whole."""

from __future__ import annotations

import atexit
import os
import tempfile
import threading
from collections import OrderedDict
from collections.abc import Hashable, Iterable

from vambrace.errors import DamagedFile, HostileFile, Refused
from vambrace.sources.streams import Window

_KEPT = 2
_kept: OrderedDict[Hashable, Window] = OrderedDict()
# An archive that is packed inside a packed archive is spooled while the outer one is.
_lock = threading.RLock()


def spooled(key: Hashable, blocks: Iterable[bytes], most: int, where: str) -> Window:
    """Return a window on the blocks, written to a temporary file the first time; the last two stay open.

    Where the blocks end in a damage, the window ends there and has it; raise it where nothing stands before it.
    A process that was forked spools anew: a shared descriptor would share its position where reads are not positional.
    """
    key = (os.getpid(), key)
    with _lock:
        if key not in _kept:
            _kept[key] = _written(blocks, most, where)
            while len(_kept) > _KEPT:
                _kept.popitem(last=False)[1].close()
        _kept.move_to_end(key)
        whole = _kept[key]
        return whole.part(0, whole.size, where)


def close_spools() -> None:
    """Close the temporary files that this process keeps; they have no name and vanish with it."""
    with _lock:
        while _kept:
            _kept.popitem()[1].close()


atexit.register(close_spools)


def _written(blocks: Iterable[bytes], most: int, where: str) -> Window:
    size = 0
    damage: DamagedFile | None = None
    try:
        with tempfile.TemporaryFile(prefix="vambrace-") as file:
            try:
                for block in blocks:
                    size += len(block)
                    if size > most:
                        raise _too_large(most, where)
                    file.write(block)
            except DamagedFile as error:
                if not size:
                    raise
                damage = error
            file.flush()
            window = Window(os.dup(file.fileno()), 0, size, where)
            window.damage = damage
            return window
    except OSError as error:
        what = f"it could not be unpacked to {tempfile.gettempdir()} ({error.strerror or error}, after {size:,} bytes)"
        todo = "Make room, or set TMPDIR to a folder with more"
        raise Refused("no-room", what, where=where, todo=todo) from error


def _too_large(most: int, where: str) -> HostileFile:
    what = f"it unpacks to more than {most:,} bytes, the most that goes to a temporary file"
    return HostileFile(what, where=where, todo="Unpack it yourself and give the folder as a SOURCE")
