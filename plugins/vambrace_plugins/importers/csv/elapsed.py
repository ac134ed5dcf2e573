"""Which columns show times since a start as a stopwatch does, and what their two or three parts mean."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.epochs import start_of
from vambrace_plugins.importers.csv.instants import Instant
from vambrace_plugins.importers.csv.options import Said
from vambrace_plugins.importers.csv.stopwatch import seconds
from vambrace_plugins.importers.csv.timewords import TimeWords

_TWO_PARTS = re.compile(r"^[+-]?[0-9]+:[0-5][0-9]$")
_THREE_PARTS = re.compile(
    r"^[+-]?(?:[0-9]+ days?,? \+?)?[0-9]+:[0-5]?[0-9]:[0-5][0-9](?:[.,][0-9]+)?$"
    r"|^[+-]?[0-9]+:[0-5][0-9][.,][0-9]+$|^[+-]?P(?:[0-9]+D)?T[0-9][0-9HMS.,]*S?$"
)
_NUMBER = r"^-?[0-9]+(?:\.[0-9]+)?$"
_MINUTES_FIRST = re.compile(r"^[+-]?[0-9]+:[0-5][0-9][.,][0-9]+$")
_CLOCKS = {"mm:ss", "hh:mm"}
_ENOUGH = 0.9


def is_elapsed(cells: Sequence[str], words: TimeWords, said: Said, *, dated: bool) -> bool:
    """Say whether a column shows times since a start, by its header or by what the user says, as a stopwatch does."""
    # A start that is given says so where there is no date to count from.
    by_start = said.start_s is not None and not (dated or words.zone)
    if said.time_kind not in {"", "elapsed"} or not (words.elapsed or said.time_kind == "elapsed" or by_start):
        return False
    texts = [cell.strip() for cell in cells if cell.strip()]
    shaped = sum(map(_shown, texts))
    return bool(texts) and shaped >= _ENOUGH * len(texts)


def _shown(text: str) -> bool:
    """Say whether a text is a time as a stopwatch shows it."""
    return bool(_TWO_PARTS.match(text) or _THREE_PARTS.match(text))


def elapsed(found: Instant, words: TimeWords, header: str, said: Said, cells: Sequence[str]) -> Instant:
    """Return how a column of times since a start is read; raise Refused where that or the start is not said."""
    start = start_of(header, said)
    clock, why = _clock(words, header, said, [cell.strip() for cell in cells if _shown(cell.strip())])
    return replace(found, unit="s", epoch_s=start, from_start=True, stopwatch=clock, deciding=why)


def _clock(words: TimeWords, header: str, said: Said, texts: Sequence[str]) -> tuple[str, str]:
    """Return what two parts of a time mean, `h:mm:ss` where none has two; and the cells that decide it, if any do."""
    told = said.time_unit if said.time_unit in _CLOCKS else words.clock
    if told:
        return told, ""
    shown = next((text for text in texts if _MINUTES_FIRST.match(text)), "")
    found = [text for text in texts if _TWO_PARTS.match(text)]
    if shown:
        return "mm:ss", f'"{shown}" has minutes first' if found else ""
    if not found:
        return "h:mm:ss", ""
    breaks = {clock: _break(texts, clock) for clock in ("mm:ss", "hh:mm")}
    kept = [clock for clock, shown in breaks.items() if not shown]
    if len(kept) == 1 and len(found) < len(texts):
        return kept[0], f"the rows stand in the order of time only so (else {next(filter(None, breaks.values()))})"
    raise _two_readings(found, header)


def _break(texts: Sequence[str], clock: str) -> str:
    """Return times between which their order turns, "" where they only rise, or only fall as with the newest first."""
    counts = pc.utf8_ltrim(seconds(pa.array(texts, pa.string()), clock), "+")
    known = np.flatnonzero(pc.match_substring_regex(counts, _NUMBER).to_numpy(zero_copy_only=False))
    steps = np.diff(pc.cast(counts.take(pa.array(known)), pa.float64()).to_numpy(zero_copy_only=False))
    falls, rises = np.flatnonzero(steps < 0), np.flatnonzero(steps > 0)
    if not len(falls) or not len(rises):
        return ""
    first, second = (texts[known[at]] for at in (falls[0], falls[0] + 1))
    return f'"{first}" would be behind "{second}"'


def _two_readings(found: Sequence[str], header: str) -> Refused:
    text = next((text for text in found if not text.endswith(":00")), found[0])
    first, second = (int(part) for part in text.lstrip("+-").split(":"))
    what = f'"{text}" in the column "{header}" is {first} min {second} s, or {first} h {second} min, after csv.start'
    todo = "Say which, as in --option csv.time=elapsed-mm:ss (or =elapsed-hh:mm)"
    return Refused("time-two-readings", what, todo=todo)
