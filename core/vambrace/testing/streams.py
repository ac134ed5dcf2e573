"""Streams over a sample that give little at a time and can be asked whether they were closed."""

from __future__ import annotations

import io
from collections.abc import Callable
from typing import Any, BinaryIO, cast


class Watched(io.RawIOBase):
    """A binary stream over bytes; with `piece`, a sized read gives at most so many bytes."""

    def __init__(self, data: bytes, piece: int = 0) -> None:
        super().__init__()
        self._inner, self._piece = io.BytesIO(data), piece

    def readable(self) -> bool:
        """Say yes."""
        return True

    def seekable(self) -> bool:
        """Say yes, as the core's own streams do."""
        return True

    def seek(self, offset: int, whence: int = io.SEEK_SET, /) -> int:
        """Go to a place in the bytes."""
        return self._inner.seek(offset, whence)

    def tell(self) -> int:
        """Return the place in the bytes."""
        return self._inner.tell()

    def readinto(self, buffer: Any, /) -> int:
        """Give some bytes, or none at the end."""
        size = min(len(buffer), self._piece or len(buffer))
        piece = self._inner.read(size)
        buffer[: len(piece)] = piece
        return len(piece)


class Opener:
    """Opens new streams, and remembers each."""

    def __init__(self, open_one: Callable[[], BinaryIO]) -> None:
        self._open_one = open_one
        self.streams: list[BinaryIO] = []

    def __call__(self) -> BinaryIO:
        """Return a new stream from the first byte."""
        self.streams.append(self._open_one())
        return self.streams[-1]

    @property
    def left_open(self) -> int:
        """Return how many of the streams were not closed."""
        return sum(not stream.closed for stream in self.streams)


def opener_of(data: bytes, piece: int = 0) -> Opener:
    """Return an opener of streams over these bytes."""
    return Opener(lambda: cast(BinaryIO, Watched(data, piece)))
