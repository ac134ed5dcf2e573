"""One source to its shard and the record of what became of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any, BinaryIO, Protocol, TypeAlias

from vambrace.dataset import (
    ChannelRow,
    ChannelStats,
    EventRow,
    FindingRow,
    Finished,
    Occurrence,
    Record,
    RecordingRow,
    ShardWriter,
    content_key,
)
from vambrace.errors import DamagedFile, SourceError
from vambrace.pipeline.ending import is_damaged, refusal_of
from vambrace.pipeline.finding import carried_recordings, fields_apart, finding_rows, judged, reported
from vambrace.pipeline.reading import ChannelTally, Reading, read
from vambrace.pipeline.settings import settings_of
from vambrace.pipeline.watching import Watch
from vambrace.plugin import Importer, Source
from vambrace.registry import MappingText, Registry, options_for
from vambrace.rules import Evaluation

Stats: TypeAlias = Mapping[tuple[str, str], ChannelStats]


class Opener(Protocol):
    """Opens a source from its first byte; travels between processes."""

    def __call__(self) -> BinaryIO:
        """Return a new binary stream."""
        ...


@dataclass(frozen=True, slots=True)
class Plan:
    """What a worker needs to convert one source; plain values that travel between processes.

    `size` counts the bytes of the source as exported, `content_size` those that the importer reads (of a `.gz`, what
    is packed in it). `importer` names the importer that won and `claim` how strongly, or `error` says why none did;
    `notes` say what was odd about the question. `damage` is what is wrong with the bytes of a compressed file or a
    member of an archive; then `content_size` counts those before it, and the opener's stream raises it behind them.
    `mappings` holds the mapping file that made the importer, where one did.
    """

    opener: Opener
    sha256: str
    size: int
    content_size: int
    name: str
    occurrences: tuple[Occurrence, ...]
    importer: str | None
    error: SourceError | None = None
    claim: str = ""
    notes: tuple[str, ...] = ()
    options: Mapping[str, str] = field(default_factory=dict)
    zone: str | None = None
    salvage: bool = False
    damage: DamagedFile | None = None
    mappings: tuple[MappingText, ...] = ()


@dataclass(frozen=True, slots=True)
class Result:
    """What became of one source: its record, and the files that wait to be committed with it."""

    record: Record
    finished: Finished | None = None


def convert_source(plan: Plan, registry: Registry, writer: ShardWriter, watch: Watch | None = None) -> Result:
    """Read one source into the writer and return its record with the files to commit; `watch` may look on."""
    if plan.importer is None:
        return Result(unread(plan, None, plan.error))
    importer = registry.importer(plan.importer)
    if plan.damage is not None and not plan.salvage:
        return Result(unread(plan, importer, plan.damage))
    source, rules = source_of(plan, registry), Evaluation()
    reading = read(importer, source, writer, lambda n: f"{plan.sha256[:16]}.{n}", plan.zone, watch, rules)
    if plan.damage is not None:
        break_off(reading, plan.damage, source)
    return _judged(plan, importer, reading, source, writer, rules)


def source_of(plan: Plan, registry: Registry) -> Source:
    """Return the source that a plan's importer reads, with what was odd about the question."""
    options = options_for(registry.importer(plan.importer or ""), plan.options)
    source = Source(plan.name, plan.content_size, plan.opener, options)
    for note in plan.notes:
        source.note("name-contradicts-content", note)
    return source


def break_off(reading: Reading, damage: DamagedFile, source: Source) -> None:
    """Let a source whose bytes are damaged end with that, whatever its importer made of the end."""
    said = reading.error
    if said is None or said.what == damage.what:
        reading.error = damage
    elif isinstance(said, DamagedFile):
        place = f" ({said.where})" if said.where else ""
        what = f"{damage.what}; of these the last make no sense: {said.what}{place}"
        reading.error = DamagedFile(what, todo=damage.todo)
    else:
        source.note("damaged-file", damage.what, "warning")


def unread(plan: Plan, importer: Importer | None, error: SourceError | None) -> Record:
    """Return the record of a source that gave nothing because of an error."""
    options = None if importer is None else options_for(importer, plan.options)
    return _without_rows(plan, importer, options, error, Reading(), ())


def _judged(
    plan: Plan, importer: Importer, reading: Reading, source: Source, writer: ShardWriter, rules: Evaluation
) -> Result:
    error = reading.error or refusal_of(reading)
    salvaged = is_damaged(reading) and plan.salvage and reading.kept > 0
    noted = [*reported(plan.sha256[:16], reading, source), *fields_apart(reading)]
    if reading.error is not None and not salvaged:
        writer.discard()
        return Result(_without_rows(plan, importer, source.options, error, reading, finding_rows(noted)))
    finished = writer.finish(rules.in_time_order)
    status, reason = "converted", None
    if error is not None:
        status, reason = ("partial" if salvaged else error.status), str(error)
    elif not reading.kept:
        reason = "it holds no value of any signal that we carry"
    record = Record(
        key="",
        sha256=plan.sha256,
        bytes=plan.size,
        status=status,
        occurrences=plan.occurrences,
        reason=reason,
        code=error.code if error else None,
        **_named(importer),
        rows_read=reading.kept + reading.set_aside,
        rows_kept=reading.kept,
        rows_set_aside=reading.set_aside,
        rows_absent=reading.absent,
        recordings=_recordings(plan, importer, reading, finished.stats),
        channels=_channels(plan, reading, finished.stats),
        events=_events(plan, reading),
        findings=finding_rows([*noted, *judged(rules, importer, source)]),
        shard=finished.samples_stamp,
        aside=finished.aside_stamp,
    )
    return Result(_keyed(record, plan, importer, source.options, reading), finished)


def _without_rows(
    plan: Plan,
    importer: Importer | None,
    options: Any,
    error: SourceError | None,
    reading: Reading,
    findings: tuple[FindingRow, ...],
) -> Record:
    record = Record(
        key="",
        sha256=plan.sha256,
        bytes=plan.size,
        status=error.status if error else "rejected",
        occurrences=plan.occurrences,
        reason=str(error) if error else None,
        code=error.code if error else None,
        **_named(importer),
        findings=findings,
    )
    return _keyed(record, plan, importer, options, reading)


def _named(importer: Importer | None) -> dict[str, Any]:
    return {"importer": importer.name, "importer_version": importer.version} if importer else {}


def _keyed(record: Record, plan: Plan, importer: Importer | None, options: Any, reading: Reading) -> Record:
    damaged = plan.damage is not None or is_damaged(reading)
    settings = settings_of(importer, options, plan.zone, reading.zone_needed, plan.salvage, damaged)
    return replace(record, key=content_key(plan.sha256, settings), settings=settings)


def _recordings(plan: Plan, importer: Importer, reading: Reading, stats: Stats) -> tuple[RecordingRow, ...]:
    return tuple(_recording(plan, importer, reading, stats, n) for n in carried_recordings(reading))


def _recording(plan: Plan, importer: Importer, reading: Reading, stats: Stats, n: int) -> RecordingRow:
    name = f"{plan.sha256[:16]}.{n}"
    about = reading.about.get(n)
    own = [each for (recording, _), each in stats.items() if recording == name]
    zone, known_by = _zone(reading.zones.get(n, {}))
    complete: bool | None = importer.end_mark or None
    if about is not None and about.complete is not None:
        complete = about.complete
    return RecordingRow(
        recording=name,
        format=importer.name,
        manufacturer=about.manufacturer if about else None,
        product=about.product if about else None,
        serial=about.serial if about else None,
        firmware=about.firmware if about else None,
        zone=zone,
        zone_known_by=known_by,
        start_us=min((each.start_us for each in own), default=None),
        end_us=max((each.end_us for each in own), default=None),
        complete=False if is_damaged(reading) else complete,
        conversions=tuple(reading.conversions.get(n, ())),
    )


def _zone(found: Mapping[str, None]) -> tuple[str | None, str | None]:
    if not found:
        return None, None
    pairs = [key.split("|", 1) for key in found]
    known = [how or "command line" for how, _ in pairs]
    zones = {zone for _, zone in pairs}
    return (zones.pop() if len(zones) == 1 else "several"), next((how for how in known if how != "in file"), "in file")


def _channels(plan: Plan, reading: Reading, stats: Stats) -> tuple[ChannelRow, ...]:
    rows = [
        _channel(f"{plan.sha256[:16]}.{n}", signal, tally, stats) for (n, signal), tally in reading.channels.items()
    ]
    carried = set(carried_recordings(reading))
    rows = [row for row in rows if row.n or row.n_set_aside or int(row.recording.rpartition(".")[2]) in carried]
    for n in sorted(carried & reading.about.keys()):
        for name, count in sorted(reading.about[n].not_carried.items()):
            rows.append(ChannelRow(f"{plan.sha256[:16]}.{n}", None, n=count, field_in_source=name))
    return tuple(rows)


def _channel(name: str, signal: str, tally: ChannelTally, stats: Stats) -> ChannelRow:
    own = stats.get((name, signal))
    return ChannelRow(
        recording=name,
        signal=signal,
        n=tally.kept,
        n_set_aside=tally.set_aside,
        n_suspect=own.n_suspect if own else 0,
        n_absent=tally.absent,
        field_in_source=", ".join(tally.fields) or None,
        unit_in_source=", ".join(tally.units) or None,
        statistic=", ".join(tally.statistics) or None,
        counts=", ".join(tally.counts) or None,
        sensor=", ".join(tally.sensors) or None,
        median_interval_s=own.median_interval_s if own else None,
        gaps=own.gaps if own else None,
        longest_gap_s=own.longest_gap_s if own else None,
    )


def _events(plan: Plan, reading: Reading) -> tuple[EventRow, ...]:
    carried = set(carried_recordings(reading))
    return tuple(
        EventRow(f"{plan.sha256[:16]}.{each.recording}", each.time_us, each.kind, each.text)
        for each in reading.happenings
        if each.recording in carried
    )
