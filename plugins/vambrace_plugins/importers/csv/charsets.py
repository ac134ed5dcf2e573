"""What bytes that are no UTF-8 show of their encoding: cp1252 is taken only where no other reading makes sense."""

from __future__ import annotations

import re
import unicodedata

from vambrace.plugin import SIGNALS
from vambrace_plugins.importers.csv.options import DELIMITERS
from vambrace_plugins.importers.csv.vocabulary import parts, read_heading, unit_in_brackets

GUESS = "cp1252"
NOT_IN_BOTH = re.compile(rb"[\x80-\x9f]")
"""Bytes that cp1252 and latin-1 read differently."""
# The encodings in which western and eastern European tables may be as well (common practice, no source).
_RIVALS = ("cp437", "cp850", "mac_roman", "cp1250", "cp1251", "koi8_r")
_BETWEEN_WORDS = re.compile(rb"[\s,;|\"]+")
_MULTIBYTE = re.compile(rb"[\xc2-\xdf][\x80-\xbf]|[\xe0-\xef][\x80-\xbf]{2}|[\xf0-\xf4][\x80-\xbf]{3}")
_DELIMITERS = re.compile("[" + re.escape("".join(DELIMITERS)) + "]")
# Signs above those of latin-1 that texts are full of.
_USUAL = frozenset("€‘’“”–—…•")
_HEADER_LINES, _HEADER_CELLS, _LONGEST_CELL, _SHOWN = 60, 200, 200, 40


def first_multibyte(block: bytes) -> int | None:
    """Return where the first character of several bytes stands, as UTF-8 writes them, or None."""
    found = _MULTIBYTE.search(block)
    return found.start() if found else None


def shows_cp1252(block: bytes) -> str:
    """Return the evidence that bytes which are no UTF-8 are cp1252, or "" where they may be something else.

    Latin-1 reads these bytes as the same text. Each of the other encodings has to read the same as well, or give
    characters that are no text, or words of two alphabets, or lose a unit or a word of the header that we know.
    """
    if NOT_IN_BOTH.search(block) or _MULTIBYTE.search(block):
        return ""
    words = sorted({word for word in _BETWEEN_WORDS.split(block) if not word.isascii()})
    seen = bytes(sorted({byte for word in words for byte in word if byte >= 0x80}))
    others = [rival for rival in _RIVALS if seen.decode(rival, "replace") != seen.decode(GUESS)]
    cells = _header_cells(block)
    telling = ""
    for rival in others:
        lost = next((cell for cell in cells if _loses(cell, rival)), None)
        if lost is not None:
            telling = telling or lost.decode(GUESS)
        elif not any(_is_no_text(word, rival) for word in words):
            return ""
    if telling:
        return f'"{telling[:_SHOWN]}" means something to us only so'
    shown = ", ".join(f'"{seen.decode(rival, "replace")}" in {rival}' for rival in others)
    return f'"{seen.decode(GUESS)[:_SHOWN]}" would be no text otherwise: {shown}'


def _header_cells(block: bytes) -> list[bytes]:
    """Return the cells with bytes above ASCII of the lines among which the header stands."""
    lines = block.decode("latin-1").splitlines()[:_HEADER_LINES]
    cells = (cell.strip().strip('"').strip() for line in lines for cell in _DELIMITERS.split(line))
    found = dict.fromkeys(cell for cell in cells if not cell.isascii() and len(cell) <= _LONGEST_CELL)
    return [cell.encode("latin-1") for cell in list(found)[:_HEADER_CELLS]]


def _loses(cell: bytes, rival: str) -> bool:
    """Say whether a cell of the header means more in cp1252 than in the other encoding."""
    return bool(_meaning(cell.decode(GUESS)) - _meaning(cell.decode(rival, "replace")))


def _meaning(cell: str) -> frozenset[str]:
    """Return what we know of a text: its signal or part of the time, and the units that it or its brackets write."""
    heading = read_heading(cell)
    found = {heading.signal, heading.unit}
    if heading.time is not None and not heading.time.remark:
        found |= {heading.time.part, heading.time.unit, heading.time.edge, heading.time.zone}
    for text in (cell, *parts(cell)[1]):
        found |= {unit_in_brackets(text, signal) for signal in SIGNALS}
    return frozenset(found - {""})


def _is_no_text(word: bytes, rival: str) -> bool:
    """Say whether a word has signs that texts do not have, or letters of two alphabets."""
    text = word.decode(rival, "replace")
    if any(not (one.isalnum() or one < "\u0100" or one in _USUAL) for one in text):
        return True
    letters = [one for one in text if one.isalpha() and one not in "ªµº"]
    return len({unicodedata.name(letter, "?").startswith("LATIN") for letter in letters}) > 1
