"""Drafts mappings of unfamiliar exports: what is certain is filled in, what is not is an open question."""

from __future__ import annotations

import re

from vambrace.plugin import Refused, Source
from vambrace_plugins.importers.xmlprolog import head_start
from vambrace_plugins.mapping.drafts import elements, nested, sheets, tables
from vambrace_plugins.mapping.drafts.looked import Looked
from vambrace_plugins.mapping.drafts.page import Entry, Part, ask, quoted, shown, text_of
from vambrace_plugins.mapping.drafts.rows import Drafted, drafted_rows, not_carried
from vambrace_plugins.mapping.drafts.timing import timing

__all__ = ["draft"]

_HEAD = 4096
_ARCHIVES = (b"PK\x03\x04", b"\x1f\x8b", b"BZh", b"\xfd7zXZ", b"7z\xbc\xaf")


def draft(source: Source, *, taken: frozenset[str] = frozenset()) -> str:
    """Return the text of a mapping for an export; `taken` are names that it may not have.

    Raise Refused for a file in which no rows can be seen.
    """
    looked = _looked(source)
    columns = looked.columns()
    if not columns or not looked.rows:
        raise Refused("mapping-records", "no row was found in it", todo="Draft from an export that holds values")
    time, used = timing(columns)
    found = drafted_rows(columns, used)
    if not found.signals:
        what = f"none of its fields may hold a signal ({shown(columns, 8)})"
        raise Refused("no-known-column", what, todo="See docs/signals.md for the signals that there are")
    _ask_stamp(time, found)
    parts = [_top(source, looked, found, taken), _recognise(source, looked), _source(looked), time]
    parts += [found.device] if found.device.entries or found.device.notes else []
    return text_of([*parts, *found.signals, not_carried(columns, found.used | used)])


def _looked(source: Source) -> Looked:
    with source.open() as raw:
        head = raw.read(_HEAD)
    if not head.strip():
        raise Refused("mapping-records", "there is nothing in it", todo="Draft from an export that holds values")
    if head.startswith(_ARCHIVES):
        if head.startswith(b"PK") and source.name.lower().endswith(".xlsx"):
            return sheets.look(source)
        raise Refused("mapping-records", "it is an archive", todo="Unpack it, and draft from the file inside")
    if head_start(head).kind in {"root", "doctype"}:
        return elements.look(source)
    return nested.look(source, head) or tables.look(source)


def _top(source: Source, looked: Looked, found: Drafted, taken: frozenset[str]) -> Part:
    name = re.sub(r"[^a-z0-9]+", "-", source.name.lower().partition(".")[0]).strip("-")[:40].strip("-") or "export"
    name = name if name[0].isalpha() else f"export-{name}"
    top = Part("", [Entry("name", f"my-{name}" if name in taken else name, "the importer's name; give any")])
    top.notes = [
        f"A draft of a mapping for {source.name}, from {looked.read}.",
        'A value that begins with "?" is an open question: the file does not load before it is answered in its place.',
        "The words behind # say how sure the others are, and why. What each key means: docs/mapping-files.md",
    ]
    top.notes += looked.notes
    if found.marks:
        marks = ", ".join(mark if re.fullmatch(r"-?[0-9]+", mark) else quoted(mark) for mark in found.marks[:6])
        top.entries.append(Entry("absent", ask(f"if these mean no value, write [{marks}]; else delete this line")))
    return top


def _recognise(source: Source, looked: Looked) -> Part:
    stem, dot, suffix = source.name.rpartition(".")
    part = Part("[recognise]")
    if stem and dot and re.fullmatch(r"[A-Za-z0-9]+", suffix):
        part.entries.append(Entry("suffix", f".{suffix.lower()}"))
    if looked.kind in {"json", "jsonl", "xml"}:
        if looked.header:
            part.entries.append(Entry("header", looked.header, "names that stand in its beginning"))
        else:
            part.entries.append(Entry("marker", ask("a text in its first 4,096 bytes by which it can be told")))
    return part if part.entries else Part()


def _source(looked: Looked) -> Part:
    return Part("[source]", [Entry("kind", looked.kind), *looked.settings])


def _ask_stamp(time: Part, found: Drafted) -> None:
    """Ask what a time marks of its interval, where rows count what happened in one."""
    counting = [entry.value for part in found.signals for entry in part.entries if entry.key == "counting"]
    if any(value != "total" for value in counting) and not any(entry.key == "end" for entry in time.entries):
        question = ask("start, middle or end of the interval that a row counts; delete it if all counting is total")
        time.entries.append(Entry("stamp", question))
        question = "the seconds of an interval, as 60, if stamp is start or middle; else delete it"
        time.entries.append(Entry("interval_s", ask(question)))
