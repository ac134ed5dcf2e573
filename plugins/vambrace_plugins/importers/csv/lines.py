"""The lines of a text, whatever ends them and however the text is cut into pieces."""

from __future__ import annotations

import io
from collections.abc import Iterator
from typing import NamedTuple

import numpy as np

from vambrace.plugin import DamagedFile, Refused

SALVAGE = "Export it again; --salvage keeps the rows before"
PREAMBLE_LINES = 50
"""Lines among which a header is looked for."""
_LONGEST_LINE = 1 << 18


class Part(NamedTuple):
    """Whole lines of a text as bytes of UTF-8, and how many end with a line feed or the text."""

    data: bytes
    lines: int


class Lines:
    """The lines of a text with their ends; they are read one by one, or taken in parts of many.

    `ended` says whether the last line that was read had an end.
    """

    def __init__(self, pieces: Iterator[bytes]) -> None:
        """Begin before the first line of a text in pieces of UTF-8."""
        self.ended = True
        self._held: list[Part] = []
        self._current = io.StringIO()
        self._fault: DamagedFile | Refused | None = None
        self._parts = self._noted(_checked(_whole_lines(pieces)))

    def _noted(self, parts: Iterator[Part]) -> Iterator[Part]:
        for part in parts:
            self.ended = part.data.endswith((b"\n", b"\r"))
            yield part

    def __iter__(self) -> Iterator[str]:
        while (part := self._next()) is not None:
            self._current = _split(part.data)
            yield from self._current

    def _next(self) -> Part | None:
        return self._held.pop(0) if self._held else self._fresh()

    def _fresh(self) -> Part | None:
        if self._fault is not None:
            raise self._fault
        try:
            return next(self._parts, None)
        except (DamagedFile, Refused) as error:
            self._fault = error
            raise

    def take(self) -> Part | None:
        """Return the next lines that nobody has read, or None at the end.

        A fault of the text is raised each time its place is reached, whoever reads.
        """
        rest = self._current.read().encode()
        return _part(rest) if rest else self._next()

    def put_back(self, part: Part) -> None:
        """Make lines that were taken the next ones again."""
        self._held.insert(0, part)

    def ahead(self) -> Iterator[str]:
        """Yield the lines that are still to come, without taking them."""
        for held in list(self._held):
            yield from _split(held.data)
        while (part := self._fresh()) is not None:
            self._held.append(part)
            yield from _split(part.data)


def _split(data: bytes) -> io.StringIO:
    return io.StringIO(data.decode(), newline="")


def _part(data: bytes) -> Part:
    return Part(data, _line_feeds(data) + (not data.endswith(b"\n")))


def _line_feeds(data: bytes) -> int:
    return int(np.count_nonzero(np.frombuffer(data, np.uint8) == ord("\n")))


def _whole_lines(pieces: Iterator[bytes]) -> Iterator[bytes]:
    """Yield the text in parts that end where a line ends."""
    rest = b""
    for piece in pieces:
        data = rest + piece if rest else piece
        end = data.rfind(b"\n") + 1
        # A carriage return at the very end may be the first half of a line end.
        end = max(end, data.rfind(b"\r", end, -1) + 1)
        if end:
            yield data[:end]
        rest = data[end:]
        if len(rest) > _LONGEST_LINE:
            break
    if rest:
        yield rest


def _checked(texts: Iterator[bytes]) -> Iterator[Part]:
    """Yield the texts up to the first line that is too long or has a zero in it, then raise DamagedFile."""
    before = 0
    for data in texts:
        if b"\0" in data or has_long_line(data, _LONGEST_LINE):
            whole = 0
            for at, line in enumerate(_split(data), before + 1):
                what = _fault_of(line)
                if what:
                    if whole:
                        yield _part(data[:whole])
                    raise DamagedFile(what, where=f"line {at:,}", todo=SALVAGE)
                whole += len(line.encode())
        part = _part(data)
        before += part.lines - (not data.endswith(b"\n"))
        if b"\r" in data:
            before += data.count(b"\r") - data.count(b"\r\n")
        yield part


def has_long_line(data: bytes, longest: int) -> bool:
    """Say whether a line has more bytes, its end counted."""
    at = 0
    while len(data) - at > longest:
        end = max(data.rfind(b"\n", at, at + longest), data.rfind(b"\r", at, at + longest))
        if end < at:
            return True
        at = end + 1
    return False


def parted(part: Part, most: int, longest: int) -> tuple[Part, Part]:
    """Return the first lines of a part, at most so many and one more than fit in so many bytes, and the others."""
    ends = np.flatnonzero(np.frombuffer(part.data, np.uint8) == ord("\n")) + 1
    if not len(ends):
        return part, Part(b"", 0)
    n = min(most, len(ends), int(np.searchsorted(ends, longest)) + 1)
    return Part(part.data[: ends[n - 1]], n), Part(part.data[ends[n - 1] :], part.lines - n)


def _fault_of(line: str) -> str:
    if len(line) > _LONGEST_LINE:
        return f"a line is longer than {_LONGEST_LINE:,} characters"
    return "there are zero bytes in the text" if "\0" in line else ""
