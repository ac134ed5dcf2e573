"""Strings the stages together for one source; counts every value."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from vambrace import clock, harmonise, screen
from vambrace.asking import OURS, described, hushed
from vambrace.batch import Batch, Candidates, Column, Event, Recording, SourceBatch, arrays_of
from vambrace.columns import source_texts
from vambrace.counters import RunningTotal
from vambrace.errors import PluginFault, Refused, Rejected, SourceError
from vambrace.pipeline.happenings import Happenings
from vambrace.pipeline.judging import Judge
from vambrace.pipeline.watching import Watch
from vambrace.plugin import Importer, Source
from vambrace.rules import Evaluation
from vambrace.schema import SIGNALS, Kind


class Sink(Protocol):
    """Takes what one source yields."""

    def add(self, batch: Batch, recording_id: str) -> None:
        """Keep canonical rows."""
        ...

    def set_aside(self, recording_id: str, rejected: Sequence[Rejected]) -> None:
        """Keep what was set aside."""
        ...


@dataclass(slots=True)
class ChannelTally:
    """What became of the values of one signal in one recording."""

    kept: int = 0
    set_aside: int = 0
    absent: int = 0
    fields: dict[str, None] = field(default_factory=dict)
    units: dict[str, None] = field(default_factory=dict)
    statistics: dict[str, None] = field(default_factory=dict)
    counts: dict[str, None] = field(default_factory=dict)
    sensors: dict[str, None] = field(default_factory=dict)


@dataclass(slots=True)
class Reading:
    """All that was learnt from reading one source; keys are recording ordinals and signals.

    `passed_over` is the first refusal of the core behind which it was read on.
    """

    channels: dict[tuple[int, str], ChannelTally] = field(default_factory=dict)
    about: dict[int, Recording] = field(default_factory=dict)
    zones: dict[int, dict[str, None]] = field(default_factory=dict)
    conversions: dict[int, dict[str, None]] = field(default_factory=dict)
    happenings: Happenings = field(default_factory=Happenings)
    reasons: dict[str, int] = field(default_factory=dict)
    same_time: dict[tuple[int, str], int] = field(default_factory=dict)
    untimed_events: int = 0
    zone_needed: bool = False
    rows: int = 0
    error: SourceError | None = None
    passed_over: SourceError | None = None

    @property
    def kept(self) -> int:
        """Return how many values were kept."""
        return sum(tally.kept for tally in self.channels.values())

    @property
    def set_aside(self) -> int:
        """Return how many values were set aside."""
        return sum(tally.set_aside for tally in self.channels.values())

    @property
    def absent(self) -> int:
        """Return how many values the source marks as absent."""
        return sum(tally.absent for tally in self.channels.values())

    def tally(self, recording: int, signal: str) -> ChannelTally:
        """Return the tally of a channel, new if need be."""
        return self.channels.setdefault((recording, signal), ChannelTally())

    def convert(self, recording: int, *sentences: str) -> None:
        """Record what was converted, each sentence once."""
        known = self.conversions.setdefault(recording, {})
        known.update(dict.fromkeys(sentence for sentence in sentences if sentence))


def read(
    importer: Importer,
    source: Source,
    sink: Sink,
    name_of: Callable[[int], str],
    zone: str | None,
    watch: Watch | None = None,
    rules: Evaluation | None = None,
    to_its_end: bool = False,
) -> Reading:
    """Read a source through its importer into the sink and return what was learnt.

    `name_of` gives the identifier of a recording. An error that ends the source stands in the result's `error`; rows
    before it are in the sink, and the caller decides whether they stay. `rules` judge what is read; `to_its_end`
    reads on behind what the core itself refuses.
    """
    source.zone = zone
    pass_ = _Pass(importer, Reading(), sink, name_of, zone)
    pass_.watch, pass_.to_its_end, pass_.judge = watch, to_its_end, Judge(rules, name_of) if rules else None
    try:
        with hushed(source.note):
            for item in _guarded(importer, source):
                pass_.take(item)
    except SourceError as error:
        pass_.reading.error = error
    except MemoryError:
        pass_.reading.error = Refused("too-large", "there was not enough memory to read it", todo="Split the file")
    return pass_.reading


def _guarded(importer: Importer, source: Source) -> Iterator[Any]:
    """Yield what the importer yields; whatever it raises that is not ours becomes a PluginFault with its name."""
    try:
        yield from importer.read(source)
    except (SourceError, MemoryError, *OURS):
        raise
    except OSError as error:
        raise Refused("unreadable", f"it could not be read: {error.strerror or error}", todo="Try again") from error
    except BaseException as error:
        raise PluginFault(
            f"the importer {importer.name} {importer.version} failed: {described(error)}",
            todo="Report it to the importer's author with the file",
        ) from error


class _Pass:
    """One pass over one source: keeps the counters and hands rows on."""

    def __init__(
        self, importer: Importer, reading: Reading, sink: Sink, name_of: Callable[[int], str], zone: str | None
    ) -> None:
        self.importer, self.reading, self.sink, self.name_of, self.zone = importer, reading, sink, name_of, zone
        self.watch: Watch | None = None
        self.judge: Judge | None = None
        self.to_its_end = False
        self.totals: dict[tuple[int, str], RunningTotal] = {}
        self.last_record: dict[tuple[int, str], int] = {}
        self.last_time: dict[tuple[int, str], int] = {}

    def take(self, item: SourceBatch | Rejected | Event | Recording) -> None:
        if isinstance(item, SourceBatch):
            self._batch(item)
        elif isinstance(item, Rejected):
            self._set_aside(item.recording, [item])
            if self.judge is not None:
                self.judge.rejected(item)
        elif isinstance(item, Event):
            self._event(item)
        elif isinstance(item, Recording):
            self._about(item)
        else:
            raise self._fault(f"it yielded a {type(item).__name__}")

    def _fault(self, what: str) -> PluginFault:
        return PluginFault(
            f"the importer {self.importer.name} {self.importer.version} broke its promise: {what}",
            todo="Report it to the importer's author",
        )

    def _about(self, item: Recording) -> None:
        before = self.reading.about.get(item.recording, Recording(item.recording))
        self.reading.convert(item.recording, *item.conversions)
        self.reading.about[item.recording] = Recording(
            item.recording,
            item.manufacturer or before.manufacturer,
            item.product or before.product,
            item.serial or before.serial,
            item.firmware or before.firmware,
            before.complete if item.complete is None else item.complete,
            {**before.not_carried, **item.not_carried},
        )

    def _event(self, event: Event) -> None:
        instants = clock.to_utc(event.time, self.zone)
        self._note_zone(event.recording, (instants,))
        good = (instants.fault == 0) & ~clock.implausible(instants.us)
        self.reading.untimed_events += int((~good).sum())
        for at in np.flatnonzero(good):
            self.reading.happenings.add(event.recording, int(instants.us[at]), event.kind, event.texts[int(at)])

    def _set_aside(self, recording: int, rejected: list[Rejected]) -> None:
        if not rejected:
            return
        for each in rejected:
            if each.signal not in SIGNALS:
                raise self._fault(f"it set aside a value of {each.signal!r}, which is no signal")
            self.reading.tally(recording, each.signal).set_aside += 1
            self.reading.reasons[each.reason] = self.reading.reasons.get(each.reason, 0) + 1
        self.sink.set_aside(self.name_of(recording), rejected)
        if self.watch is not None:
            self.watch.set_aside(rejected)

    def _note_zone(self, recording: int, used: Sequence[Any]) -> None:
        zones = self.reading.zones.setdefault(recording, {})
        for instants in used:
            if instants.zone:
                zones[f"{instants.known_by}|{instants.zone}"] = None
            self.reading.zone_needed |= bool(instants.zone) and instants.known_by != "in file"
            if instants.cut:
                self.reading.convert(recording, "times: digits beyond the sixth decimal of a second cut off")
            if instants.leap:
                self.reading.convert(recording, "times: second 60 read as the next second")

    def _batch(self, batch: SourceBatch) -> None:
        self._check(batch)
        if not len(batch):
            return
        self.reading.rows += len(batch)
        try:
            span = harmonise.spans(batch, self.zone)
        except SourceError as error:
            # A zone that is asked for and missing is a setting of this source: it must convert again once it is given.
            self.reading.zone_needed |= error.code == "no-time-zone"
            raise
        self._note_zone(batch.recording, span.instants)
        columns, modulus = [], {}
        for column in batch.columns:
            how = harmonise.conversion_of(column)
            self.reading.convert(batch.recording, how.sentence)
            if column.modulus is not None:
                modulus[column.signal] = float(how.apply(np.array([column.modulus]))[0])
            try:
                columns.append(harmonise.candidates(column, how))
            except (TypeError, ValueError, OverflowError) as error:
                raise self._fault(
                    f"the values of {column.signal} are no column of numbers or texts: {error}"
                ) from error
        for each, fault in zip(columns, screen.faults(columns, span.fault), strict=True):
            self._column(batch, span, each, fault, modulus.get(each.column.signal))
        if self.judge is not None:
            self.judge.end(batch)

    def _column(
        self,
        batch: SourceBatch,
        span: harmonise.Spans,
        each: Candidates,
        fault: NDArray[np.uint8],
        modulus: float | None,
    ) -> None:
        column = each.column
        tally = self.reading.tally(batch.recording, column.signal)
        _describe(tally, column)
        present, faulty = int(np.count_nonzero(each.present)), bool(fault.any())
        tally.absent += len(each) - present
        if faulty:
            self._set_aside(batch.recording, _rejections(batch, each, fault))
        if self.judge is not None:
            self.judge.given(batch, span, each, fault)
        whole = present == len(each) and not faulty
        rows = np.arange(len(each)) if whole else np.flatnonzero(each.present & (fault == 0))
        if not len(rows):
            return
        kept = slice(None) if len(rows) == len(each) else rows
        time, time_end = (array[kept] for array in harmonise.times_of(SIGNALS[column.signal].kind, span))
        value, record = each.value[kept], batch.record[kept]
        if SIGNALS[column.signal].kind == Kind.RUNNING_TOTAL:
            value = self._joined(batch.recording, column, rows, value, time, record, modulus)
        if self.judge is not None:
            self.judge.kept(batch.recording, column.signal, rows, time, record, value)
        tally.kept += len(rows)
        flags = harmonise.flags_of(column, rows)
        suspect = screen.suspect(column.signal, value)
        canonical = Batch(batch.recording, column.signal, time, time_end, value, record, suspect, flags)
        self.sink.add(canonical, self.name_of(batch.recording))
        if self.watch is not None:
            self.watch.kept(batch, column, rows, canonical)

    def _joined(
        self,
        recording: int,
        column: Column,
        rows: NDArray[np.intp],
        value: NDArray[np.float64],
        time: NDArray[np.int64],
        record: NDArray[np.int64],
        modulus: float | None,
    ) -> NDArray[np.float64]:
        key = (recording, column.signal)
        total = self.totals.get(key)
        if total is None:
            total = self.totals[key] = RunningTotal(column.counting, modulus)
            if column.counting == "increment":
                self.reading.convert(recording, f"{column.signal}: counts per interval added up, from 0")
        counter = column.counter if isinstance(column.counter, str) else np.asarray(column.counter)[rows]
        joined, steps = total.add(value, counter)
        self._check_order(key, time, record, [step.row for step in steps], increments=column.counting == "increment")
        if self.judge is not None and steps:
            self.judge.fell(recording, column.signal, steps, time, record)
        for at, kind, text, _ in steps:
            self.reading.happenings.add(recording, int(time[at]), kind, f"{column.signal}: {text}")
            self.reading.convert(recording, f"{column.signal}: {kind.replace('_', ' ')}s joined, see events")
        return joined

    def _check_order(
        self,
        key: tuple[int, str],
        time: NDArray[np.int64],
        record: NDArray[np.int64],
        falls: list[int],
        *,
        increments: bool,
    ) -> None:
        """Refuse counts that only seem to fall, or are added up the wrong way, because rows stand newest first."""
        before = np.concatenate(([self.last_time.get(key, time[0])], time[:-1]))
        if increments:
            same = int((time == before).sum()) - (key not in self.last_time)
            self.reading.same_time[key] = self.reading.same_time.get(key, 0) + same
        back = np.flatnonzero(time < before)
        self.last_time[key] = int(time[-1])
        wrong = back if increments else np.intersect1d(back, falls)
        if not len(wrong):
            return
        what = f"{key[1]} is a running total, and its time goes back here"
        how = "so that the counts would be added up the wrong way round" if increments else "where the count falls too"
        todo = "Sort its rows by time, the oldest first, and convert again"
        refusal = Refused("order-of-time", f"{what}, {how}", where=f"record {int(record[wrong[0]]):,}", todo=todo)
        if not self.to_its_end:
            raise refusal
        self.reading.passed_over = self.reading.passed_over or refusal

    def _check(self, batch: SourceBatch) -> None:
        n = len(batch.record)
        names = [column.signal for column in batch.columns]
        unknown = [name for name in names if name not in SIGNALS]
        if unknown:
            raise self._fault(f"{unknown[0]!r} is no signal")
        if len(set(names)) < len(names):
            raise self._fault("two columns of one batch hold the same signal")
        lengths = {len(values) for _, values in arrays_of(batch)}
        if lengths != {n}:
            raise self._fault(f"a batch of {n} rows has columns of {sorted(lengths)} values")
        if not n:
            return
        # One record may give several values of a signal (an array of beats), but no channel goes back.
        first, last = int(batch.record[0]), int(batch.record[-1])
        falls = bool((np.diff(batch.record) < 0).any())
        for name in names:
            if falls or first <= self.last_record.get((batch.recording, name), -1):
                raise self._fault(f"record numbers of {name} in recording {batch.recording} do not rise")
            self.last_record[batch.recording, name] = last


def _describe(tally: ChannelTally, column: Column) -> None:
    for words, word in (
        (tally.fields, column.field or column.signal),
        (tally.units, column.unit),
        (tally.statistics, column.statistic),
        (tally.counts, column.counts),
        (tally.sensors, column.sensor),
    ):
        if word:
            words[word] = None


def _rejections(batch: SourceBatch, each: Candidates, fault: NDArray[np.uint8]) -> list[Rejected]:
    rows = np.flatnonzero(each.present & (fault > 0))
    if not len(rows):
        return []
    found = source_texts(each.column.written, rows)
    times = clock.time_texts(batch.time, rows)
    return [
        Rejected(
            each.column.signal,
            int(batch.record[row]),
            screen.REASONS[int(fault[row]) - 1],
            text,
            batch.recording,
            time_text,
        )
        for row, text, time_text in zip(rows, found, times, strict=True)
    ]
