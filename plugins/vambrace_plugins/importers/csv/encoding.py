"""From the bytes of a text file in any encoding to pieces of text."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from typing import BinaryIO

from vambrace.plugin import DamagedFile, Refused

_MARKS = (
    (codecs.BOM_UTF8, "utf-8"),
    (codecs.BOM_UTF32_LE, "utf-32-le"),
    (codecs.BOM_UTF32_BE, "utf-32-be"),
    (codecs.BOM_UTF16_LE, "utf-16-le"),
    (codecs.BOM_UTF16_BE, "utf-16-be"),
)
_HEAD, _PIECE = 1024, 1 << 18


def detect(head: bytes, said: str = "") -> tuple[str, int]:
    """Return the encoding and the length of the byte order mark at the front.

    A mark decides, whatever is said. Without one, zero bytes at every second place show UTF-16; everything else is
    read as UTF-8, which texts in other encodings practically never happen to be.
    """
    for mark, name in _MARKS:
        if head.startswith(mark):
            return name, len(mark)
    return said or _without_mark(head), 0


def _without_mark(head: bytes) -> str:
    even, odd = head[:_HEAD:2], head[1:_HEAD:2]
    half = len(odd) // 2
    if odd.count(0) > half and not even.count(0):
        return "utf-16-le"
    if even.count(0) > half and not odd.count(0):
        return "utf-16-be"
    return "utf-8"


def pieces(raw: BinaryIO, said: str = "") -> Iterator[str]:
    """Yield the text of a file; raise Refused for bytes that are no text, DamagedFile for a cut last character."""
    head = b""
    while len(head) < _HEAD and (more := raw.read(_HEAD - len(head))):
        head += more
    encoding, mark = detect(head, said)
    decoder = codecs.getincrementaldecoder(encoding)()
    data, at = head[mark:], mark
    while data:
        held = len(decoder.getstate()[0])
        try:
            text = decoder.decode(data)
        except UnicodeDecodeError as error:
            raise _not_text(encoding, error, at - held) from None
        at += len(data)
        if text:
            yield text
        data = raw.read(_PIECE)
    _finish(decoder, encoding, at)


def _finish(decoder: codecs.IncrementalDecoder, encoding: str, at: int) -> None:
    try:
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        todo = "Export it again; --salvage keeps the rows before"
        raise DamagedFile(f"the file ends inside a character of {encoding}", where=f"byte {at:,}", todo=todo) from None


def _not_text(encoding: str, error: UnicodeDecodeError, offset: int) -> Refused:
    """Return the refusal of bytes that are no text in the encoding; `offset` is where the error's bytes begin."""
    byte = error.object[error.start : error.start + 1]
    seen = f'"{byte.decode("cp1252", "replace")}" in cp1252, "{byte.decode("cp437")}" in cp437'
    return Refused(
        "encoding-not-said",
        f"the byte 0x{byte.hex().upper()} is no text in {encoding}; it would be {seen}",
        where=f"byte {offset + error.start:,}",
        todo="Say which encoding it is, as in --option csv.encoding=cp1252",
    )


def first_text(head: bytes) -> str:
    """Return the text at the front of a file as far as it can be read, or "" where the bytes are no text at all."""
    encoding, mark = detect(head)
    try:
        text = codecs.getincrementaldecoder(encoding)().decode(head[mark:])
    except UnicodeDecodeError:
        text = head.decode("latin-1")
    return "" if any(letter < " " and letter not in "\t\r\n\f" for letter in text) else text
