"""Reads sources as a conversion would, and says what it found instead of writing a dataset."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from vambrace import registry
from vambrace.api.survey import Options, Wishes, planned, record_of
from vambrace.dataset import DOCUMENT, Record, ShardWriter
from vambrace.errors import SourceError
from vambrace.output.summary import Inspection, iso_utc
from vambrace.pipeline import Watch, convert_source
from vambrace.plugin import Head
from vambrace.recognise import Answer, ask, tie_of
from vambrace.sources import Entry, close_spools, scan, walk


def inspect(
    sources: Sequence[Path | str],
    *,
    zone: str | None = None,
    options: Options | None = None,
    salvage: bool = False,
    mappings: Sequence[Path | str] = (),
    rows: int = 3,
) -> list[Inspection]:
    """Return what each source holds, how it would be read, and why; one for every file and member of an archive.

    `rows` says how many first rows of each channel are shown; `mappings` are files that explain unfamiliar exports.

    Raise VambraceError for a missing SOURCE, an unknown option or zone, or a wrong mapping.
    """
    installed = registry.load(tuple(registry.read_mapping(Path(each)) for each in mappings))
    wishes = Wishes(zone, options or {}, salvage)
    wishes.check(installed)
    try:
        with tempfile.TemporaryDirectory(prefix="vambrace-") as folder:
            entries = walk([os.fspath(each) for each in sources], marker=DOCUMENT, salvage=salvage)
            return [_one(entry, installed, wishes, Path(folder), rows) for entry in entries]
    finally:
        close_spools()


def _one(entry: Entry, installed: registry.Registry, wishes: Wishes, folder: Path, rows: int) -> Inspection:
    if entry.kind != "content":
        return _said(entry, record_of(entry))
    try:
        scanned = scan(entry)
        plan = planned(entry, scanned, installed, wishes)
    except SourceError as error:
        return _said(entry, record_of(entry, error))
    head = Head(entry.name, scanned.head, scanned.content_size)
    watch = Watch(rows)
    with ShardWriter(folder) as writer:
        result = convert_source(plan, installed, writer, watch)
        # What the writer finished would wait for a commit; here nobody commits.
        writer.discard()
    return replace(
        _said(entry, result.record, plan.claim, plan.notes),
        **_asked(head, installed),
        first_rows=_plain(row for _, few in sorted(watch.rows.items()) for row in few),
        first_set_aside=_plain(row for few in watch.aside.values() for row in few),
        rows_discarded=result.finished is None and bool(watch.rows),
    )


def _asked(head: Head, installed: registry.Registry) -> dict[str, Any]:
    """Return what every importer says of a source, and what would settle a tie."""
    if not head.size:
        return {}
    packages = {each.name: (each.package, each.version) for each in installed.installed if each.kind == "importer"}
    answers = sorted(ask(head, installed.importers.values()), key=lambda each: each.importer.name)
    winners, settled_by = tie_of(head, answers)
    return {
        "claims": {each.importer.name: _claim(each) for each in answers},
        "asked": tuple(
            {
                "importer": each.importer.name,
                "package": packages[each.importer.name][0],
                "package_version": packages[each.importer.name][1],
                "claim": _claim(each),
                "evidence": each.fault if each.claim is None else each.claim.evidence,
                "wins": winners == [each.importer],
            }
            for each in answers
        ),
        "settled_by": settled_by,
    }


def _claim(answer: Answer) -> str:
    return "failed" if answer.claim is None else answer.claim.name.lower()


def _said(entry: Entry, record: Record, claim: str = "", notes: tuple[str, ...] = ()) -> Inspection:
    return Inspection(
        path=entry.path,
        root=entry.root,
        status=record.status,
        reason=record.reason,
        bytes=record.bytes,
        sha256=record.sha256,
        importer=record.importer,
        importer_version=record.importer_version,
        claim=claim or None,
        notes=notes,
        rows_read=record.rows_read,
        rows_kept=record.rows_kept,
        rows_set_aside=record.rows_set_aside,
        rows_absent=record.rows_absent,
        recordings=_plain(record.recordings),
        channels=_plain(record.channels),
        events=_plain(record.events),
        findings=_plain(record.findings),
    )


def _plain(rows: Iterable[Any]) -> tuple[Mapping[str, Any], ...]:
    """Return rows as plain values, with times as exports write them and under the tables' names."""
    names = {"start_us": "start_time", "end_us": "end_time", "first_us": "first_time", "last_us": "last_time"}
    names["time_us"] = "time"
    return tuple(
        {
            names.get(key, key): iso_utc(value) if key in names and value is not None else value
            for key, value in asdict(row).items()
        }
        for row in rows
    )
