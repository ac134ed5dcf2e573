"""Answers the open questions of a draft, as a person would with an editor."""

from __future__ import annotations

import re
from collections.abc import Mapping

ENTRY = re.compile(r'^([\w"-]+) = (.*?)(?:  # .*)?$')


def answered(draft: str, answers: Mapping[str, str | None]) -> str:
    """Return the draft with the answers, which are whole values of TOML by `table.key`, or `field.key` of a signal.

    None for `field.signal` deletes the table, for any other key the line. Every open question must be answered, and
    every answer must meet an open question.
    """
    left = dict(answers)
    parts = [_part(part, left) for part in draft.strip().split("\n\n")]
    assert not left, f"the draft does not ask {', '.join(left)}:\n{draft}"
    return "\n\n".join(filter(None, parts)) + "\n"


def _part(part: str, left: dict[str, str | None]) -> str:
    lines = part.split("\n")
    name = next((line.strip("[]") for line in lines if line.startswith("[")), "")
    if name == "signals":
        name = _signal(lines)
    kept = []
    for line in lines:
        entry = ENTRY.match(line)
        if entry is None or not entry[2].startswith('"? '):
            kept.append(line)
            continue
        key = f"{name}.{entry[1]}" if name else entry[1]
        assert key in left or left.get(f"{name}.signal", "") is None, f"{key} is asked: {entry[2]}"
        value = left.pop(key, None)
        if value is None and entry[1] == "signal":
            left[key] = None
            left.pop(key)
            return ""
        if value is not None:
            kept.append(f"{entry[1]} = {value}")
    return "\n".join(kept)


def _signal(lines: list[str]) -> str:
    """Return what a signal's table is called: its field, and the word of its rows where there is one."""
    entries = dict(entry.groups() for line in lines if (entry := ENTRY.match(line)))
    word = re.search(r'= "([^"]*)" }', entries.get("where", ""))
    return entries["field"].strip('"') + (f"[{word[1]}]" if word else "")
