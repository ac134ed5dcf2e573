"""The lines of a text, whatever ends them and however the text is cut into pieces."""

from __future__ import annotations

import io
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from vambrace.plugin import DamagedFile, Refused

SALVAGE = "Export it again; --salvage keeps the rows before"
_LONGEST_LINE = 1 << 18


class Lines:
    """The lines of a text with their ends; they are read one by one, or taken as one text of many.

    `ended` says whether the last line that was read had an end.
    """

    def __init__(self, pieces: Iterator[str]) -> None:
        """Begin before the first line."""
        self.ended = True
        self._held: list[str] = []
        self._current = io.StringIO()
        self._fault: DamagedFile | Refused | None = None
        self._texts = self._noted(_checked(_whole_lines(pieces)))

    def _noted(self, texts: Iterator[str]) -> Iterator[str]:
        for text in texts:
            self.ended = text.endswith(("\n", "\r"))
            yield text

    def __iter__(self) -> Iterator[str]:
        while (text := self._next()) is not None:
            self._current = _split(text)
            yield from self._current

    def _next(self) -> str | None:
        return self._held.pop(0) if self._held else self._fresh()

    def _fresh(self) -> str | None:
        if self._fault is not None:
            raise self._fault
        try:
            return next(self._texts, None)
        except (DamagedFile, Refused) as error:
            self._fault = error
            raise

    def take(self) -> str | None:
        """Return the next lines that nobody has read as one text, or None at the end.

        A fault of the text is raised each time its place is reached, whoever reads.
        """
        return self._current.read() or self._next()

    def put_back(self, text: str) -> None:
        """Make lines that were taken the next ones again."""
        self._held.insert(0, text)

    def ahead(self) -> Iterator[str]:
        """Yield the lines that are still to come, without taking them."""
        for held in list(self._held):
            yield from _split(held)
        while (text := self._fresh()) is not None:
            self._held.append(text)
            yield from _split(text)


def _split(text: str) -> io.StringIO:
    return io.StringIO(text, newline="")


def _whole_lines(pieces: Iterator[str]) -> Iterator[str]:
    """Yield the text in parts that end where a line ends."""
    rest = ""
    for piece in pieces:
        text = rest + piece
        end = text.rfind("\n") + 1
        # A carriage return at the very end may be the first half of a line end.
        end = max(end, text.rfind("\r", end, -1) + 1)
        if end:
            yield text[:end]
        rest = text[end:]
        if len(rest) > _LONGEST_LINE:
            break
    if rest:
        yield rest


def _checked(texts: Iterator[str]) -> Iterator[str]:
    """Yield the texts up to the first line that is too long or has a zero in it, then raise DamagedFile."""
    before = 0
    for text in texts:
        if "\0" in text or _has_long_line(text):
            whole = 0
            for at, line in enumerate(_split(text), before + 1):
                what = _fault_of(line)
                if what:
                    if whole:
                        yield text[:whole]
                    raise DamagedFile(what, where=f"line {at:,}", todo=SALVAGE)
                whole += len(line)
        before += _number_of_lines(text)
        yield text


def _number_of_lines(text: str) -> int:
    alone = text.count("\r") - text.count("\r\n") if "\r" in text else 0
    return alone + count_ends(text.encode())


def count_ends(data: bytes) -> int:
    """Return how many line feeds there are."""
    return int(np.count_nonzero(np.frombuffer(data, np.uint8) == ord("\n")))


def line_ends(data: bytes) -> NDArray[np.intp]:
    """Return the places behind each line feed."""
    ends: NDArray[np.intp] = np.flatnonzero(np.frombuffer(data, np.uint8) == ord("\n")) + 1
    return ends


def _has_long_line(text: str) -> bool:
    at = 0
    while len(text) - at > _LONGEST_LINE:
        end = max(text.rfind("\n", at, at + _LONGEST_LINE), text.rfind("\r", at, at + _LONGEST_LINE))
        if end < at:
            return True
        at = end + 1
    return False


def _fault_of(line: str) -> str:
    if len(line) > _LONGEST_LINE:
        return f"a line is longer than {_LONGEST_LINE:,} characters"
    return "there are zero bytes in the text" if "\0" in line else ""
