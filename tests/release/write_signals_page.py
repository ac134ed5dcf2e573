"""Writes `docs/signals.md` anew from the schema: `python tests/release/write_signals_page.py`."""

from __future__ import annotations

from collections.abc import Iterable
from itertools import groupby
from math import inf
from pathlib import Path

from vambrace.notations import notations
from vambrace.schema import SCHEMA_VERSION, SIGNALS, Kind, Signal
from vambrace.units import conversion

PAGE = Path(__file__).resolve().parents[2] / "docs" / "signals.md"

_HEAD = f"""# Signals

Every sample of a dataset is one value of one of these {len(SIGNALS)} signals, in its unit and with its counting
convention. The set is closed (schema version {SCHEMA_VERSION}); a field of a source that no signal fits is counted as
*not carried*. Names follow IEEE 1752.1 and Open mHealth where they have one, units are UCUM codes.

This page is written from `vambrace.schema` by `python tests/release/write_signals_page.py`; a test holds it current.
"""

_WHAT = """
## What each signal is
A value outside the *domain* means nothing: it is set aside with a reason. A value outside the *plausible* range is
kept, and its quality is `suspect`. Both ends belong to a range. *Column* is the value's name in the signal's narrow
table.
"""

_KINDS = {
    Kind.INSTANT: "a value at an instant, or a mean, greatest or least value over an interval",
    Kind.RUNNING_TOTAL: "counts on from the start of the recording and never falls; it stands at the interval's end",
    Kind.BEAT: "one value a heart beat, at the beat that ends the interval",
    Kind.CODED_EPOCH: "a code that holds over an interval",
    Kind.POSITION: "half of a fix; latitude and longitude share time and record, and are set aside together",
}

_UNITS = """
## Source units
What a source may give, and what is done with it. Other spellings are taken in any case, but for the calories: `cal` is
the calorie of physics, `Cal` the thousandfold one of food. Every other unit is refused, even one that would convert: a
saturation of 97 % is no count of steps. Each conversion is recorded with the recording.
"""

_WORDS = """
## Header words
The words by which the header of a table names a signal, besides the signal's own name and the names of its columns.
Case, punctuation and the unit in brackets do not matter.
"""

_CODES = """
## Codes in other vocabularies
"""

_VALUES = """
## Coded values
"""


def page() -> str:
    """Return the whole page as text."""
    signals = SIGNALS.values()
    parts = [
        _HEAD,
        _WHAT,
        _table(("signal", "meaning", "unit", "kind", "domain", "plausible", "column", "notes"), map(_what, signals)),
        "\n" + "\n".join(f"* `{kind.value}`: {text}." for kind, text in _KINDS.items()) + "\n",
        _UNITS,
        _table(
            ("signal", "unit", "what is done", "other spellings"), (row for group in _alike() for row in _units(group))
        ),
        _WORDS,
        _table(("signal", "words"), ((f"`{each.name}`", ", ".join(each.words)) for each in signals)),
        _CODES,
        _table(("signal", "LOINC", "Open mHealth"), map(_vocabularies, filter(_has_codes, signals))),
        _VALUES,
        _table(("signal", "code", "meaning"), (row for each in signals for row in _coded(each))),
    ]
    return "".join(parts)


def _table(head: tuple[str, ...], rows: Iterable[tuple[str, ...]]) -> str:
    lines = [head, ("---",) * len(head), *rows]
    return "\n" + "".join(f"| {' | '.join(cell.replace('|', chr(92) + '|') for cell in line)} |\n" for line in lines)


def _what(signal: Signal) -> tuple[str, ...]:
    domain = "the codes below" if signal.kind is Kind.CODED_EPOCH else _range(signal.domain)
    notes = [signal.notes] if signal.notes else []
    if signal.zero_is_absent:
        notes.append("0 stands for no value")
    return (
        f"`{signal.name}`",
        signal.title,
        f"`{signal.unit}`",
        f"`{signal.kind.value}`",
        domain,
        _range(signal.plausible) if signal.plausible else "",
        f"`{signal.column}`",
        "; ".join(notes),
    )


def _range(ends: tuple[float, float]) -> str:
    low, high = (f"{end:g}".replace("-", "−") for end in ends)
    return f"{low} or more" if ends[1] == inf else f"{low} to {high}"


def _alike() -> Iterable[list[Signal]]:
    """Yield the signals in groups that take the same units."""
    for _, group in groupby(SIGNALS.values(), key=_notations):
        yield list(group)


def _notations(signal: Signal) -> dict[str, tuple[str, ...]]:
    return notations(signal.name, signal.units)


def _units(group: list[Signal]) -> Iterable[tuple[str, ...]]:
    names = ", ".join(f"`{each.name}`" for each in group)
    for code, words in _notations(group[0]).items():
        sentence = conversion(code, group[0]).sentence
        yield names, f"`{code}`", sentence.partition(", ")[2] or "nothing", ", ".join(f"`{word}`" for word in words)


def _has_codes(signal: Signal) -> bool:
    return bool(signal.loinc or signal.open_mhealth)


def _vocabularies(signal: Signal) -> tuple[str, ...]:
    return f"`{signal.name}`", ", ".join(signal.loinc), signal.open_mhealth


def _coded(signal: Signal) -> Iterable[tuple[str, ...]]:
    for code, meaning in signal.codes.items():
        yield f"`{signal.name}`", str(code), meaning


def main() -> None:
    """Write the page."""
    PAGE.write_text(page(), "utf-8", newline="\n")
    print(f"{PAGE.name}: {len(SIGNALS)} signals")


if __name__ == "__main__":
    main()
