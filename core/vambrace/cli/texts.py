"""Plain text for a terminal: nothing that a file name holds can move the cursor, lines fit, printing never fails."""

from __future__ import annotations

import json
import re
import shutil
import sys
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

from vambrace.errors import VambraceError

_CONTROL = re.compile("[\x00-\x1f\x7f-\x9f\u2028\u2029\u202a-\u202e\u2066-\u2069\ud800-\udfff]")

CARE = (
    "Vambrace is no medical device and diagnoses nobody: questions of health belong to licensed practice, "
    "questions of conformity to the standards' own protocols."
)


def say(text: str = "", *, err: bool = False) -> None:
    """Print a line to stdout, or to stderr; a reader that has gone changes nothing of what a command does.

    Raise VambraceError where stdout cannot be written for another reason, such as a full disk.
    """
    stream = sys.stderr if err else sys.stdout
    if stream is None:
        return
    encoding = stream.encoding or "utf-8"
    try:
        print(text.encode(encoding, "backslashreplace").decode(encoding), file=stream, flush=True)
    except OSError as error:
        if not (err or isinstance(error, BrokenPipeError)):
            what = f"it cannot be written ({error.strerror or error})"
            raise VambraceError(what, where="stdout", todo="Make room, or send it somewhere else") from error


def document(value: Any) -> str:
    """Return plain values as one JSON document; ASCII, so that it passes any terminal, pipe and locale unchanged."""
    return json.dumps(value, indent=1)


def safe(text: str) -> str:
    r"""Return a text with control characters, changes of direction and stray bytes written as `\x1b` or `\u202e`."""
    return _CONTROL.sub(lambda found: _written(ord(found[0])), text)


def _written(code: int) -> str:
    # Python holds a byte of a file name that is no text as a surrogate.
    code = code - 0xDC00 if 0xDC80 <= code <= 0xDCFF else code
    return f"\\x{code:02x}" if code < 256 else f"\\u{code:04x}"


def width() -> int:
    """Return the columns of the terminal, within what is pleasant to read; 80 where there is none."""
    return max(40, min(shutil.get_terminal_size((80, 24)).columns, 120))


def wrapped(text: str, columns: int, indent: str = "", first: str | None = None) -> list[str]:
    """Return a text as lines of at most so many columns; the first may begin with a label of its own."""
    start = indent if first is None else first
    lines = textwrap.wrap(safe(text), columns, initial_indent=start, subsequent_indent=indent, break_on_hyphens=False)
    return lines or [start.rstrip()]


def listed(label: str, parts: Iterable[str], columns: int, margin: int = 11) -> list[str]:
    """Return parts one after another behind a label, in lines that never break a part: commands stay whole."""
    room, lines, line = columns - margin, [], ""
    for part in map(safe, parts):
        if line and len(line) + 2 + len(part) > room:
            lines.append(line)
            line = ""
        line = f"{line}  {part}" if line else part
    lines.append(line)
    return [f"{label if number == 0 else '':<{margin}}{text}".rstrip() for number, text in enumerate(lines)]


def columned(rows: Sequence[Sequence[str]], right: Sequence[bool], indent: str = "") -> list[str]:
    """Return rows as columns of even width; `right` says which are set flush right."""
    clean = [[safe(cell) for cell in row] for row in rows]
    widths = [max(len(row[at]) for row in clean) for at in range(len(right))]
    return [
        (
            indent
            + "  ".join(
                cell.rjust(size) if flush else cell.ljust(size)
                for cell, size, flush in zip(row, widths, right, strict=True)
            )
        ).rstrip()
        for row in clean
    ]


def counted(n: int, word: str) -> str:
    """Return a number and its noun."""
    return f"{n:,} {word}" if n == 1 else f"{n:,} {word}s"
