"""The text of a draft: tables of keys with what speaks for each value, and the questions that are open."""

from __future__ import annotations

import json
import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import TypeAlias

Value: TypeAlias = str | int | float | list[str] | dict[str, str]
_BARE = re.compile(r"[A-Za-z0-9_-]+")
_BREAKS = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028\u2029]+")
_LONGEST_LINE = 118


@dataclass(frozen=True, slots=True)
class Entry:
    """One key and its value; `why` is what speaks for it. A value that begins with `?` is an open question."""

    key: str
    value: Value
    why: str = ""


@dataclass(slots=True)
class Part:
    """One table of a mapping; `notes` stand before it. One without a title holds notes alone, or the first keys."""

    title: str = ""
    entries: list[Entry] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)

    def text(self) -> str:
        """Return the lines of the table."""
        lines = [line for note in self.notes for line in comment(note)]
        lines += [self.title] if self.title else []
        for entry in self.entries:
            line = f"{key(entry.key)} = {written(entry.value)}"
            beside = f"{line}  # {plain(entry.why)}"
            if not entry.why or len(beside) > _LONGEST_LINE:
                lines += [*comment(entry.why), line]
            else:
                lines.append(beside)
        return "\n".join(lines)


def text_of(parts: Iterable[Part]) -> str:
    """Return the text of a mapping."""
    return "\n\n".join(text for part in parts if (text := part.text())) + "\n"


def ask(text: str) -> str:
    """Return the value of an open question."""
    return f"? {plain(text)}"


def plain(text: str) -> str:
    """Return a text that fits one line."""
    return _BREAKS.sub(" ", text).strip()


def comment(text: str) -> list[str]:
    """Return a text as lines of comment."""
    lines: list[str] = []
    for word in plain(text).split(" "):
        if lines and len(lines[-1]) + len(word) < _LONGEST_LINE:
            lines[-1] += f" {word}"
        elif word:
            lines.append(f"# {word}")
    return lines


def key(name: str) -> str:
    """Return a name as a key of TOML."""
    return name if _BARE.fullmatch(name) else quoted(name)


def quoted(text: str) -> str:
    """Return a text as one of TOML; JSON writes all but one character alike."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def written(value: Value) -> str:
    """Return a value as TOML writes it."""
    if isinstance(value, str):
        return quoted(value)
    if isinstance(value, dict):
        return f"{{ {', '.join(f'{key(name)} = {quoted(word)}' for name, word in value.items())} }}"
    return json.dumps(value, ensure_ascii=False)


def shown(words: Iterable[str], most: int = 4) -> str:
    """Return some words as a sentence shows them."""
    every = [f'"{plain(word)[:40]}"' for word in words]
    return ", ".join(every[:most]) + (", …" if len(every) > most else "")
