"""Looks through a JSON document once for what stands outside its records: how many values where, and some of them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection
from contextlib import suppress
from dataclasses import dataclass, field

import ijson

from vambrace.plugin import DamagedFile, Source
from vambrace_plugins.mapping.records import text_of

_SCALARS = {"string", "number", "boolean", "integer", "double"}
_SHOWN = 6


@dataclass(slots=True)
class Outline:
    """Values outside the records: their number by path (`meta.version`, `time[]`), and the texts that are wanted.

    `lengths` counts the members of arrays of single values, those that are null among them.
    """

    counts: Counter[str] = field(default_factory=Counter)
    lengths: Counter[str] = field(default_factory=Counter)
    texts: dict[str, str] = field(default_factory=dict)

    def shown(self) -> str:
        """Return where it has values, for people."""
        names = [f'"{path}"' for path in list(self.counts)[:_SHOWN]]
        return ("values at " + ", ".join(names)) if names else "no values"


def outline_of(source: Source, records: str, wanted: Collection[str]) -> Outline:
    """Return what stands outside the records at a prefix; a document that breaks off is looked through so far."""
    found = Outline()
    within = f"{records}."
    # A damage is raised again where it belongs, behind the rows before it.
    with source.open() as raw, suppress(ijson.JSONError, DamagedFile):
        _look(raw, records, within, wanted, found)
    return found


def _look(raw: object, records: str, within: str, wanted: Collection[str], found: Outline) -> None:
    counts: Counter[str] = Counter()
    nulls: Counter[str] = Counter()
    for prefix, event, value in ijson.parse(raw):
        if event in _SCALARS and prefix != records and not prefix.startswith(within):
            counts[prefix] += 1
            if prefix in wanted:
                found.texts[prefix] = text_of(value)
        elif event == "null":
            nulls[prefix] += 1
    for prefix, n in counts.items():
        found.counts[prefix.replace(".item", "[]")] += n
    for prefix, n in (counts + nulls).items():
        found.lengths[prefix.replace(".item", "[]")] += n
