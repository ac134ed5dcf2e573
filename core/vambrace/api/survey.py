"""Looks at every source once, before any is read: its digest, its importer, and where else its bytes stand."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from functools import partial

from vambrace import clock, registry
from vambrace.dataset import Occurrence, Record, entry_key
from vambrace.errors import DamagedFile, SourceError, VambraceError
from vambrace.pipeline import Plan
from vambrace.plugin import Head
from vambrace.recognise import Verdict, recognise
from vambrace.sources import Entry, Scanned, open_entry, scan

Options = Mapping[str, Mapping[str, str]]
"""The texts of options by importer and name."""


@dataclass(frozen=True, slots=True)
class Wishes:
    """How sources are to be read where they leave a choice."""

    zone: str | None = None
    options: Options = field(default_factory=dict)
    salvage: bool = False

    def check(self, installed: registry.Registry) -> None:
        """Raise VambraceError for an importer, option or zone that does not exist, or a text that does not fit."""
        if self.zone is not None:
            clock.check_zone(self.zone)
        for name, texts in self.options.items():
            registry.options_for(installed.importer(name), texts)


@dataclass(slots=True)
class Survey:
    """What the SOURCEs hold: a plan for each different content, and a record for each entry without one."""

    plans: dict[str, Plan] = field(default_factory=dict)
    others: list[Record] = field(default_factory=list)


def survey(
    entries: Iterable[Entry], installed: registry.Registry, wishes: Wishes, seen: Callable[[int, str], None]
) -> Survey:
    """Look at every entry; `seen` is told how many there were so far, and the path of the one at hand."""
    found = Survey()
    for number, entry in enumerate(entries, 1):
        seen(number, entry.path)
        if entry.kind != "content":
            found.others.append(record_of(entry))
            continue
        try:
            plan = planned(entry, scan(entry), installed, wishes)
        except SourceError as error:
            found.others.append(record_of(entry, error))
            continue
        known = found.plans.get(plan.sha256)
        found.plans[plan.sha256] = plan if known is None else _joined(known, plan)
    return found


def planned(entry: Entry, scanned: Scanned, installed: registry.Registry, wishes: Wishes) -> Plan:
    """Return how a source will be read: by which importer, or why by none."""
    verdict: Verdict | None = None
    error: SourceError | None = None
    try:
        verdict = recognise(Head(entry.name, scanned.head, scanned.content_size), installed.importers.values())
    except SourceError as refusal:
        error = refusal if scanned.damage is None else _unclaimed(scanned.damage, refusal)
    name = verdict.importer.name if verdict else None
    explained = name is not None and name in installed.mappings
    return Plan(
        opener=partial(open_entry, entry, scanned=scanned) if scanned.damage else partial(open_entry, entry),
        sha256=scanned.sha256,
        size=scanned.size,
        content_size=scanned.content_size,
        name=entry.name,
        occurrences=(Occurrence(entry.root, entry.path),),
        importer=name,
        error=error,
        claim=verdict.claim.name.lower() if verdict else "",
        # The name of a table that a mapping explains contradicts nothing.
        notes=verdict.notes if verdict and not explained else (),
        options=wishes.options.get(name, {}) if name else {},
        zone=wishes.zone,
        salvage=wishes.salvage,
        damage=scanned.damage,
        mappings=(installed.mappings[name],) if name and explained else (),
    )


def _unclaimed(damage: DamagedFile, refusal: SourceError) -> DamagedFile:
    """Return the damage of a source of which no importer could read what stands before it."""
    return DamagedFile(f"{damage.what}; and of these bytes {refusal.what}", todo="Copy or export it again")


def _joined(known: Plan, twin: Plan) -> Plan:
    """Return one plan for two places of the same bytes; a name by which no importer knows them says less."""
    better = twin if known.importer is None and twin.importer is not None else known
    return replace(better, occurrences=known.occurrences + twin.occurrences)


def record_of(entry: Entry, error: SourceError | None = None) -> Record:
    """Return the record of an entry that is not read: an archive, a link, what cannot be read or should not be."""
    status = {"ignored": "ignored", "archive": "converted"}.get(entry.kind, "rejected")
    code, reason = entry.code or None, entry.reason or None
    if error is not None:
        code, reason = error.code, str(VambraceError(error.what, todo=error.todo))
    if entry.kind == "archive" and code:
        status = "rejected"
    return Record(
        key=entry_key(entry.root, entry.path),
        sha256=None,
        bytes=entry.size,
        status=status,
        occurrences=(Occurrence(entry.root, entry.path),),
        reason=reason,
        code=code,
    )
