"""Drafts what the fields of an export are: the signals, long tables, devices, and what is not carried."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from vambrace.plugin import SIGNALS
from vambrace_plugins.importers.csv.beside import UNIT_WORDS
from vambrace_plugins.importers.csv.devices import with_devices
from vambrace_plugins.importers.csv.vocabulary import Heading, plain, read_heading
from vambrace_plugins.mapping.drafts.looked import filled, labels, numeric, time_kind
from vambrace_plugins.mapping.drafts.meaning import Meaning, marks_of, meaning, signal_part, worth_asking
from vambrace_plugins.mapping.drafts.page import Entry, Part, ask, shown
from vambrace_plugins.mapping.drafts.page import plain as one_line

Columns = Mapping[str, Sequence[str]]
_KEYS = {"product": "column", "serial": "serial_column", "sensor": "sensor_column", "recording": "recording_column"}
_DEVICE_WORDS = {
    "device",
    "unit",
    "serial",
    "sensor",
    "ring",
    "band",
    "watch",
    "strap",
    "source",
    "logger",
    "node",
    "id",
}
_VALUE_WORDS = ("value", "val", "v", "amount", "reading", "measurement", "quantity", "result", "data")
_MOST_WORDS, _MOST_DEVICES, _MOST_PARTS = 60, 20, 60


@dataclass(slots=True)
class Drafted:
    """The tables of a mapping that tell what fields hold, and the fields that they name."""

    device: Part = field(default_factory=lambda: Part("[device]"))
    signals: list[Part] = field(default_factory=list)
    used: set[str] = field(default_factory=set)
    marks: list[str] = field(default_factory=list)


def drafted_rows(columns: Columns, taken: set[str]) -> Drafted:
    """Return what the fields are that no time takes."""
    found = Drafted(used=set(taken))
    left = {name: cells for name, cells in columns.items() if name not in taken and filled(cells)}
    _keys(found, left)
    long = _long(left, found.used)
    if long is None:
        _wide(found, left)
    else:
        _by_word(found, left, *long)
    _ask_devices(found, left)
    return found


def _keys(found: Drafted, left: Columns) -> None:
    """Draft the fields whose names say that they tell devices apart."""
    for name in left:
        key = next((key for label in labels(name) if (key := read_heading(label).key)), "")
        if key in _KEYS and _KEYS[key] not in {each.key for each in found.device.entries}:
            found.device.entries.append(Entry(_KEYS[key], name, f"sure: the name says it; {_words(left[name])}"))
            found.used.add(name)


def _words(cells: Sequence[str]) -> str:
    every = list(dict.fromkeys(filled(cells)))
    return f"{len(every)} {'value' if len(every) == 1 else 'values'}: {shown(every, 3)}"


def _long(left: Columns, used: set[str]) -> tuple[str, list[str], str] | None:
    """Return the fields that name the signal of a row, that may give its value and its unit ("" for none), or None."""
    words = {name: list(dict.fromkeys(filled(cells))) for name, cells in left.items() if name not in used}
    naming = [
        name
        for name, every in words.items()
        if not numeric(left[name]) and len(every) <= _MOST_WORDS and any(map(_is_signal, every))
    ]
    values = [name for name in words if numeric(left[name]) and not name.startswith("../")]
    values = [name for name in values if meaning(name) is None]
    named = [name for name in values if plain(re.split("[./@]", name)[-1]) in _VALUE_WORDS]
    chosen = named or [name for name in values if worth_asking(name, left[name])]
    if not naming or not chosen:
        return None
    kind = max(naming, key=lambda name: sum(map(_is_signal, words[name])))
    units = [name for name, every in words.items() if name != kind and _are_units(name, every)]
    return kind, chosen, units[0] if units else ""


def _is_signal(word: str) -> bool:
    found = meaning(word)
    return found is not None and found.sure


def _are_units(name: str, words: Sequence[str]) -> bool:
    known = all(any(signal.ucum(word) for signal in SIGNALS.values()) for word in words)
    return bool(words) and (known or any(plain(label) in UNIT_WORDS for label in labels(name)))


def _by_word(found: Drafted, left: Columns, kind: str, values: Sequence[str], unit: str) -> None:
    """Draft a signal for each word that the rows name."""
    value = values[0]
    found.used |= {kind, value, *([unit] if unit else [])}
    for word in list(dict.fromkeys(filled(left[kind])))[:_MOST_PARTS]:
        rows = [at for at, cell in enumerate(left[kind]) if cell == word]
        cells = [left[value][at] for at in rows]
        if not numeric(cells):
            found.device.notes.append(f'Not carried: rows of "{one_line(word)}", which hold no numbers')
            continue
        units = list(dict.fromkeys(filled([left[unit][at] for at in rows]))) if unit else []
        part = signal_part(value, cells, meaning(word), {kind: word}, units[0] if len(units) == 1 else "")
        if len(values) > 1:
            part.entries[0] = Entry("field", ask(f"which of {shown(values)} holds the values?"))
        if len(units) > 1:
            part.notes.append(f'The rows are in several units ({shown(units)}): part them by where, as "{unit}"')
        found.signals.append(part)
    found.marks = marks_of(left[value])


def _wide(found: Drafted, left: Columns) -> None:
    """Draft a signal for each field of numbers that is one, or may be."""
    names = [name for name in left if name not in found.used and _holds_numbers(name, left[name])]
    heads = [_heading(name) for name in names]
    known = [meaning(name, head) for name, head in zip(names, with_devices(heads, [False] * len(heads)), strict=True)]
    names_known = [(name, each) for name, each in zip(names, known, strict=True) if each is not None]
    twins = _twins(names_known)
    for name, each in names_known:
        part = signal_part(name, left[name], each)
        if name in twins and not each.heading.device:
            question = ask(
                f"several fields are {each.heading.signal}: of which device is this one, as band-A? Or delete it"
            )
            part.entries.append(Entry("device", question))
        found.signals.append(part)
    unknown = [name for name, each in zip(names, known, strict=True) if each is None and not _is_count(left[name])]
    asked = [name for name in unknown if worth_asking(name, left[name])]
    asked = asked if asked or names_known else unknown
    found.signals += [signal_part(name, left[name], None) for name in asked[:_MOST_PARTS]]
    found.used |= {name for name, _ in names_known} | {*asked[:_MOST_PARTS]}
    held = [name for name in names if name in found.used]
    found.marks = list(dict.fromkeys(mark for name in held for mark in marks_of(left[name])))


def _holds_numbers(name: str, cells: Sequence[str]) -> bool:
    if name.startswith("../"):
        return False
    if numeric(cells):
        return True
    # A unit may stand behind each number.
    begins = sum(bool(re.match(r"^[+-]?[0-9]+(?:[.,][0-9]+)?\s?[^\s0-9:./,-]{1,8}$", cell)) for cell in filled(cells))
    return begins >= 0.8 * len(filled(cells)) and meaning(name) is not None and not time_kind(cells)


def _is_count(cells: Sequence[str]) -> bool:
    """Say whether a field only numbers the rows."""
    held = filled(cells)
    return len(held) > 2 and all(cell.isdecimal() for cell in held) and _steps(held) == {1}


def _steps(held: Sequence[str]) -> set[int]:
    return {int(b) - int(a) for a, b in pairwise(held)}


def _heading(name: str) -> Heading:
    known = [found for label in labels(name) if (found := read_heading(label)).signal]
    return known[0] if known else read_heading(labels(name)[0])


def _twins(names: Sequence[tuple[str, Meaning]]) -> set[str]:
    by_signal: dict[tuple[str, str], list[str]] = {}
    for name, each in names:
        by_signal.setdefault((each.heading.signal, each.heading.device), []).append(name)
    return {name for several in by_signal.values() if len(several) > 1 for name in several}


def _ask_devices(found: Drafted, left: Columns) -> None:
    """Ask whether a field of a few words tells devices apart, where none says so."""
    if any(each.key in {"column", "serial_column"} for each in found.device.entries):
        return
    few = [name for name, cells in left.items() if name not in found.used and _may_tell(name, filled(cells))]
    few.sort(key=lambda name: not _says_device(name))
    if few:
        each = ", ".join(f'"{one_line(name)}" ({_words(left[name])})' for name in few[:3])
        found.device.entries.append(
            Entry("column", ask(f"if one of these tells devices apart: {each}; else delete it"))
        )


def _may_tell(name: str, held: Sequence[str]) -> bool:
    """Say whether a field may tell devices apart: a few words that come again and again, or one that is named so."""
    few = 1 < len({*held}) <= _MOST_DEVICES
    return few and (_says_device(name) or (not numeric(held) and 2 * len({*held}) <= len(held)))


def _says_device(name: str) -> bool:
    return any(not _DEVICE_WORDS.isdisjoint(plain(label).split()) for label in labels(name))


def not_carried(columns: Columns, used: set[str]) -> Part:
    """Return the notes on the fields that no table names."""
    notes = [
        f"{one_line(name)[:60]}: {_words(cells)}"
        for name, cells in columns.items()
        if name not in used and filled(cells)
    ]
    return Part(notes=["Not carried, as nothing above names them:", *notes[:_MOST_PARTS]] if notes else [])
