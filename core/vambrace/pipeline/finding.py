"""What a reading gives as findings: notes of its importer, what the core saw, and what the rules found."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import replace

from vambrace.dataset import FindingRow
from vambrace.pipeline.happenings import LISTED
from vambrace.pipeline.reading import Reading
from vambrace.plugin import Importer, Source
from vambrace.rules import Evaluation, Finding

_FEW = 8
"""Fields that are named where many are not carried."""


def reported(prefix: str, reading: Reading, source: Source) -> Iterator[Finding]:
    """Yield what importer and core noted; `prefix` begins the recordings' identifiers."""
    for (rule, severity, message), count in source.notes.items():
        yield Finding(rule, severity, message, count=count)
    for (n, signal), count in sorted(reading.same_time.items()):
        if count:
            message = f"{signal}: counts that stand at the same time as the count before them were added like any other"
            yield Finding("counts-at-one-time", "warning", message, "", f"{prefix}.{n}", signal, count=count)
    if reading.untimed_events:
        message = "events without a usable time were left out"
        yield Finding("event-without-time", "note", message, count=reading.untimed_events)
    carried = set(carried_recordings(reading))
    yield from _unlisted(prefix, reading, carried)
    if left_out := reading.happenings.count_of_others(carried):
        message = "events of recordings without any carried value were left out"
        yield Finding("event-without-recording", "note", message, count=left_out)


def _unlisted(prefix: str, reading: Reading, carried: set[int]) -> Iterator[Finding]:
    """Yield what is counted of events beyond those that are listed."""
    for (n, kind), more in sorted(reading.happenings.unlisted.items()):
        if n in carried:
            message = f"events of the kind {kind} beyond the {LISTED:,} that are listed of a source"
            place = (f"{prefix}.{n}", None, more.first_us, more.last_us)
            yield Finding("more-events", "note", message, "", *place, count=more.count)


def carried_recordings(reading: Reading) -> list[int]:
    """Return the recordings of which at least one value was kept or set aside, in order."""
    return sorted({n for (n, _), tally in reading.channels.items() if tally.kept or tally.set_aside})


def judged(rules: Evaluation, importer: Importer, source: Source) -> Iterator[Finding]:
    """Yield what the rules found; where an option of the importer settles it, with that."""
    # An importer that has the option can tell both passes apart.
    settles = getattr(source.options, "repeated_hour", None) == ""
    option = f"--option {importer.name}.repeated_hour=row-order"
    hint = "; their clock time comes twice. Where the rows of the file stand in the order of time and the clock falls "
    hint += f"back between them, {option} tells the two hours apart"
    for each in rules.findings():
        yield replace(each, message=each.message + hint) if settles and each.rule == "time-ambiguous" else each


def fields_apart(reading: Reading) -> Iterator[Finding]:
    """Yield a finding for each field that is not carried, of recordings that stand in no table."""
    for n in sorted(reading.about.keys() - {*carried_recordings(reading)}):
        for name, count in sorted(reading.about[n].not_carried.items()):
            yield Finding("not-carried", "note", f"no signal fits the field {name}", count=count)


def fields_together(prefix: str, reading: Reading) -> Iterator[Finding]:
    """Yield one finding for all fields of a recording that are not carried."""
    for n, about in sorted(reading.about.items()):
        if about.not_carried:
            ranked = sorted(about.not_carried.items(), key=lambda item: (-item[1], item[0]))
            fields = ", ".join(f"{name} ({count:,})" for name, count in ranked[:_FEW])
            more = _more(len(ranked) - _FEW) if len(ranked) > _FEW else ""
            message = f"no signal fits {fields}{more}"
            yield Finding("not-carried", "note", message, "", f"{prefix}.{n}", count=sum(about.not_carried.values()))


def _more(n: int) -> str:
    return f" and {n:,} more field{'' if n == 1 else 's'}; inspect --all lists {'it' if n == 1 else 'them'}"


def finding_rows(findings: Iterable[Finding]) -> tuple[FindingRow, ...]:
    """Return findings as a record holds them; the place of the source stands beside."""
    return tuple(
        FindingRow(
            each.rule,
            str(each.severity),
            each.message,
            each.recording,
            each.signal,
            each.first_us,
            each.last_us,
            each.count,
        )
        for each in findings
    )
