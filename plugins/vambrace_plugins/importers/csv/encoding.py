"""From the bytes of a text file in any encoding to a stream of UTF-8."""

from __future__ import annotations

import codecs
import io
from typing import BinaryIO

from vambrace.plugin import Refused

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_PIECE = 1 << 18


def detect(head: bytes, said: str = "") -> tuple[str, int]:
    """Return the encoding and the length of the byte order mark at the front.

    Without a mark, zero bytes at every second place show UTF-16; everything else is read as UTF-8, which other
    encodings practically never happen to be.
    """
    for mark, name in _MARKS:
        if head.startswith(mark) and said in {"", name, name.rpartition("-")[0], f"{name}-sig"}:
            return name, len(mark)
    return said or _without_mark(head), 0


def _without_mark(head: bytes) -> str:
    even, odd = head[:1024:2], head[1:1024:2]
    half = len(odd) // 2
    if odd.count(0) > half and not even.count(0):
        return "utf-16-le"
    if even.count(0) > half and not odd.count(0):
        return "utf-16-be"
    return "utf-8"


def head_text(head: bytes, said: str = "") -> str:
    """Return the text at the front of a file; a character cut at the end of `head` is left out."""
    encoding, mark = detect(head, said)
    try:
        return codecs.getincrementaldecoder(encoding)().decode(head[mark:])
    except UnicodeDecodeError as error:
        raise not_text(encoding, head[mark:], error, mark) from None


def not_text(encoding: str, data: bytes, error: UnicodeDecodeError, offset: int) -> Refused:
    """Return the refusal of bytes that are no text in the encoding; `offset` is where `data` begins in the file."""
    byte = data[error.start : error.start + 1]
    seen = f'"{byte.decode("cp1252", "replace")}" in cp1252, "{byte.decode("cp437")}" in cp437'
    return Refused(
        "encoding-not-said",
        f"the byte 0x{byte.hex().upper()} is no text in {encoding}; it would be {seen}",
        where=f"byte {offset + error.start:,}",
        todo="Say which encoding it is, as in --option csv.encoding=cp1252",
    )


class Utf8Stream(io.RawIOBase):
    """The file as UTF-8 without byte order mark, from `skip` bytes (of UTF-8) on.

    `last` is the last byte given out, `quotes` how many quotation marks, `commas` whether there was a comma.
    """

    def __init__(self, raw: BinaryIO, encoding: str, mark: int, skip: int) -> None:
        """Set the stream behind the mark and the skipped bytes."""
        super().__init__()
        self._raw, self._encoding, self._at = raw, encoding, mark
        self._decoder = None if encoding == "utf-8" else codecs.getincrementaldecoder(encoding)()
        self._rest = b""
        self.last, self.quotes, self.commas = b"", 0, False
        raw.read(mark)
        while skip and (piece := self._next(min(skip, _PIECE))):
            self._rest = piece[skip:]
            skip -= min(skip, len(piece))

    def readable(self) -> bool:
        """Say that the stream can be read."""
        return True

    def readinto(self, buffer: bytearray | memoryview) -> int:  # type: ignore[override]
        """Fill the buffer as far as one piece of the file goes; return the number of bytes, 0 at the end."""
        piece = self._rest or self._next(len(buffer))
        given, self._rest = piece[: len(buffer)], piece[len(buffer) :]
        buffer[: len(given)] = given
        if given:
            self.last = given[-1:]
            self.quotes += given.count(b'"')
            self.commas = self.commas or b"," in given
        return len(given)

    def _next(self, most: int) -> bytes:
        while data := self._raw.read(most if self._decoder is None else _PIECE):
            if self._decoder is None:
                return data
            held = len(self._decoder.getstate()[0])
            try:
                text = self._decoder.decode(data)
            except UnicodeDecodeError as error:
                raise not_text(self._encoding, error.object, error, self._at - held) from None
            self._at += len(data)
            if text:
                return text.encode("utf-8", "surrogatepass")
        return b""


def first_fault(raw: BinaryIO, mark: int) -> Refused | None:
    """Return the refusal that names the first byte that is no UTF-8, or None."""
    decoder = codecs.getincrementaldecoder("utf-8")()
    at = len(raw.read(mark))
    while data := raw.read(_PIECE):
        held = len(decoder.getstate()[0])
        try:
            decoder.decode(data)
        except UnicodeDecodeError as error:
            return not_text("utf-8", error.object, error, at - held)
        at += len(data)
    return None
