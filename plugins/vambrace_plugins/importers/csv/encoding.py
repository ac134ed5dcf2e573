"""From the bytes of a text file in any encoding to pieces of UTF-8."""

from __future__ import annotations

import codecs
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

from vambrace.plugin import DamagedFile, Refused
from vambrace_plugins.importers.csv.charsets import GUESS, NOT_IN_BOTH, first_multibyte, shows_cp1252

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
    # A few letters, such as U+0100, have their zero at the other place; in UTF-32 both places have many.
    if odd.count(0) > half and even.count(0) < half / 4:
        return "utf-16-le"
    if even.count(0) > half and odd.count(0) < half / 4:
        return "utf-16-be"
    return "utf-8"


@dataclass(frozen=True, slots=True)
class Decoded:
    """How a file's bytes are read; `sentence` says why where neither its bytes nor the user fix it."""

    encoding: str
    sentence: str = ""


def decode(raw: BinaryIO, said: str = "") -> tuple[Decoded, Iterator[bytes]]:
    """Return how a file is read, decided from its first block, and its text in pieces of UTF-8.

    Raise Refused for bytes that are no text or have two readings, DamagedFile for a last character that is cut.
    """
    block = _first_block(raw)
    encoding, mark = detect(block, said)
    if not mark and said and not said.startswith("utf"):
        _refuse_utf8(block, said)
    decoded = Decoded(encoding) if mark or said or encoding != "utf-8" else _decided(block)
    return decoded, _pieces(raw, block, mark, decoded)


def _first_block(raw: BinaryIO) -> bytes:
    block = b""
    try:
        while len(block) < _PIECE and (more := raw.read(_PIECE - len(block))):
            block += more
    except DamagedFile:
        # What stands before a damage is read first; the stream raises it again when it is asked for more.
        if not block:
            raise
    return block


def _is_utf8(block: bytes) -> bool:
    """Say whether a block is UTF-8, but for a last character that its end may cut."""
    try:
        codecs.getincrementaldecoder("utf-8")().decode(block)
    except UnicodeDecodeError:
        return False
    return True


def _decided(block: bytes) -> Decoded:
    """Return how a block without a mark is read of which nothing is said: as UTF-8, or else by evidence."""
    evidence = "" if _is_utf8(block) else shows_cp1252(block)
    if evidence:
        return Decoded(GUESS, f"bytes that are no UTF-8 read as {GUESS}: {evidence}")
    return Decoded("utf-8")


def _refuse_utf8(block: bytes, said: str) -> None:
    """Raise Refused where the user names an encoding, and the bytes are UTF-8 beyond its first 128 characters."""
    at = first_multibyte(block)
    if at is None or not _is_utf8(block):
        return
    end = next((i for i in range(at, len(block)) if block[i] < 0x80), len(block))
    sample = block[at:end][:24]
    raise Refused(
        "encoding-two-readings",
        f'its bytes are "{sample.decode("utf-8", "ignore")}" in utf-8 and "{sample.decode(said, "replace")}" in {said}',
        where=f"byte {at:,}",
        todo=f"Read it in a run of its own, with --option csv.encoding=utf-8; if it is {said} indeed, save it as UTF-8",
    )


def _pieces(raw: BinaryIO, block: bytes, mark: int, decoded: Decoded) -> Iterator[bytes]:
    decoder = codecs.getincrementaldecoder(decoded.encoding)()
    data, at = block[mark:], mark
    while data:
        held = len(decoder.getstate()[0])
        if decoded.sentence and (odd := NOT_IN_BOTH.search(data)):
            raise _undecided(data[odd.start()], at + odd.start())
        try:
            # Most texts are in ASCII, and stay as they are.
            plain = decoded.encoding == "utf-8" and not held and data.isascii()
            text = data if plain else decoder.decode(data).encode()
        except UnicodeDecodeError as error:
            refusal = _not_text(decoded.encoding, error, at - held)
            yield from _before_damage(raw, error.object[: error.start].decode(decoded.encoding))
            raise refusal from None
        at += len(data)
        if text:
            yield text
        data = raw.read(_PIECE)
    _finish(decoder, decoded.encoding, at)


def _before_damage(raw: BinaryIO, text: str) -> Iterator[bytes]:
    """Yield the text before bytes that are none, and raise DamagedFile, where the file is known to be damaged later."""
    try:
        while raw.read(_PIECE):
            pass
    except DamagedFile:
        yield text.encode()
        raise


def _finish(decoder: codecs.IncrementalDecoder, encoding: str, at: int) -> None:
    try:
        decoder.decode(b"", final=True)
    except UnicodeDecodeError:
        todo = "Export it again; --salvage keeps the rows before"
        raise DamagedFile(f"the file ends inside a character of {encoding}", where=f"byte {at:,}", todo=todo) from None


def _not_text(encoding: str, error: UnicodeDecodeError, offset: int) -> Refused:
    """Return the refusal of bytes that are no text in the encoding; `offset` is where the error's bytes begin."""
    byte = error.object[error.start]
    what = f"the byte 0x{byte:02X} is no text in {encoding}; it would be {_readings(byte)}"
    return _not_said(what, offset + error.start)


def _undecided(byte: int, at: int) -> Refused:
    """Return the refusal of a byte that cp1252 and latin-1 read differently, where the text before fits both."""
    what = f"the byte 0x{byte:02X} is {_readings(byte)}, and no text in latin-1; what stands before fits both"
    return _not_said(what, at)


def _readings(byte: int) -> str:
    one = bytes([byte])
    return ", ".join(f'"{one.decode(name, "replace")}" in {name}' for name in (GUESS, "cp437", "mac-roman"))


def _not_said(what: str, at: int) -> Refused:
    todo = "Say which encoding it is, as in --option csv.encoding=cp1252"
    return Refused("encoding-not-said", what, where=f"byte {at:,}", todo=todo)


def first_text(head: bytes) -> str:
    """Return the text at the front of a file as far as it can be read, or "" where the bytes are no text at all."""
    encoding, mark = detect(head)
    try:
        text = codecs.getincrementaldecoder(encoding)().decode(head[mark:])
    except UnicodeDecodeError:
        text = head.decode("latin-1")
    return "" if any(letter < " " and letter not in "\t\r\n\f" for letter in text) else text
