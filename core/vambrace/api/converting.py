"""Converts what SOURCEs hold into a dataset: what is new or changed is read, the rest is left as it is."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import TypeAlias

from vambrace import engine, registry
from vambrace.api.survey import Options, Survey, Wishes, survey
from vambrace.dataset import DOCUMENT, Record, Store
from vambrace.output.summary import Progress, Summary, summarise
from vambrace.pipeline import Plan, Result, still_holds
from vambrace.sources import close_spools, walk

Tell: TypeAlias = Callable[[Progress], None]

_TRIED_AGAIN = ("unreadable", "too-large", "plugin-fault", "changed", "no-room")
"""Refusals that may have come from the moment, not from the bytes: such a source is read again."""


def convert(
    sources: Sequence[Path | str],
    to: Path | str,
    *,
    zone: str | None = None,
    options: Options | None = None,
    ignore: Sequence[str] = (),
    jobs: int | None = None,
    salvage: bool = False,
    mappings: Sequence[Path | str] = (),
    progress: Tell | None = None,
) -> Summary:
    """Convert files, folders and archives into the dataset at `to`, and return what became of them.

    `zone` (an IANA name) is where clocks stood whose times carry no zone; `options` holds texts by importer and
    name. `mappings` are files that explain unfamiliar exports. `salvage` keeps what stands before a damage. Files
    that match an `ignore` pattern are listed, not read.
    Raise VambraceError where the run as a whole cannot be done: a missing SOURCE, an unknown option or zone, a
    wrong mapping, a folder that is no dataset, a full disk. What is wrong with one source never raises: it stands in
    the ledger.
    """
    tell = progress or (lambda _: None)
    explained = tuple(registry.read_mapping(Path(each)) for each in mappings)
    installed = registry.load(explained)
    wishes = Wishes(zone, options or {}, salvage)
    wishes.check(installed)
    entries = walk([os.fspath(each) for each in sources], ignore, skip=[Path(to)], marker=DOCUMENT, salvage=salvage)
    store = Store.begin(to)
    try:
        with store.writing():
            found = survey(entries, installed, wishes, lambda n, path: tell(Progress(n, 0, path, "looking")))
            run = _Run(store, installed, tell)
            run.entries(found)
            run.contents(found, jobs)
            store.rebuild()
    finally:
        close_spools()
    return summarise(store, new=run.new, unchanged=run.unchanged, rejected=run.rejected, warnings=run.warnings())


class _Run:
    """One conversion: what was done so far."""

    def __init__(self, store: Store, installed: registry.Registry, tell: Tell) -> None:
        self._store, self._installed, self._tell = store, installed, tell
        self.new = self.unchanged = self.rejected = self.kept_though_ignored = 0

    def entries(self, found: Survey) -> None:
        """Commit the entries whose content is not read."""
        for record in found.others:
            place = record.occurrences[0]
            known = self._store.find_entry(place.root, place.path)
            if record.status == "ignored" and any(one.sha256 for one in known):
                self.kept_though_ignored += 1
                continue
            if any(_says(one) == _says(record) for one in known):
                self._left(record.status)
            else:
                self._store.commit(record, None)
                self._done(record.status)

    def contents(self, found: Survey, jobs: int | None) -> None:
        """Convert what is new or changed, and note new places of what is known."""
        wanted = [plan for plan in found.plans.values() if not self._stands(plan)]
        # Large sources first: they would otherwise keep one worker busy after all others are done.
        wanted.sort(key=lambda plan: (-plan.content_size, plan.sha256))
        for number, result in enumerate(engine.run(wanted, self._store.folder, jobs), 1):
            self._commit(result)
            self._tell(Progress(number, len(wanted), result.record.occurrences[0].path, "reading"))

    def _stands(self, plan: Plan) -> bool:
        """Say whether a source is in the dataset under today's settings, and note its new places."""
        for record in self._store.find(plan.sha256):
            if record.code in _TRIED_AGAIN or not _holds(record, plan, self._installed):
                continue
            known = record
            for place in plan.occurrences:
                known = self._store.add_occurrence(known, place.root, place.path)
                if place in record.occurrences:
                    self._left(record.status)
                else:
                    self._done(record.status)
            return True
        return False

    def _commit(self, result: Result) -> None:
        record = self._store.commit(result.record, result.finished, tuple(self._superseded(result.record)))
        for _ in result.record.occurrences:
            self._done(record.status)

    def _superseded(self, record: Record) -> Iterator[Record]:
        """Yield the records of older exports that stood where this one stands now and nowhere else."""
        places = {*record.occurrences}
        for place in record.occurrences:
            for known in self._store.find_entry(place.root, place.path):
                other = known.sha256 not in (None, record.sha256) and {*known.occurrences} <= places
                if other and (not known.rows_read or _device_and_start(known) & _device_and_start(record)):
                    yield known

    def _done(self, status: str) -> None:
        self.new += 1
        self.rejected += status == "rejected"

    def _left(self, status: str) -> None:
        self.unchanged += 1
        self.rejected += status == "rejected"

    def warnings(self) -> tuple[str, ...]:
        """Return what the person should know of the run as a whole."""
        if not self.kept_though_ignored:
            return ()
        return (f"{self.kept_though_ignored:,} files match an ignore pattern, but were converted before and stay",)


def _holds(record: Record, plan: Plan, installed: registry.Registry) -> bool:
    if plan.importer is None:
        # A copy under a name that says less changes nothing about bytes that were read before.
        return record.importer is not None or still_holds(record.settings, None, None, plan.zone, plan.salvage)
    importer = installed.importer(plan.importer)
    options = registry.options_for(importer, plan.options)
    return still_holds(record.settings, importer, options, plan.zone, plan.salvage)


def _says(record: Record) -> tuple[str | None, str, str | None, int | None]:
    return record.sha256, record.status, record.reason, record.bytes


def _device_and_start(record: Record) -> set[tuple[str, int]]:
    return {(row.serial, row.start_us) for row in record.recordings if row.serial and row.start_us is not None}
