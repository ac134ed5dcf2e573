"""What an importer hands over for some bytes, and what the core makes of it, in a form that can be compared."""

from __future__ import annotations

import pickle
import warnings
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, TypeAlias, cast

from vambrace.batch import Batch, Recording, SourceBatch
from vambrace.errors import PluginFault, Rejected, SourceError, VambraceError
from vambrace.pipeline.reading import Reading, read
from vambrace.plugin import Importer, Source
from vambrace.testing.failure import Failure
from vambrace.testing.sample import Sample, Subject
from vambrace.testing.streams import Opener, opener_of

__tracebackhide__ = True  # pytest then shows where the check was called, and its sentence

Row: TypeAlias = tuple[int, int, float, int, bool, str | None]
"""A kept value: time, end, value, record, whether it is suspect, and the source's own flag."""


@dataclass
class Seen:
    """One reading: what the importer yielded and raised, what the core kept and set aside, and what was said."""

    items: list[Any]
    raised: BaseException | None
    reading: Reading
    kept: dict[tuple[int, str], list[Row]]
    aside: dict[tuple[int, str], list[Rejected]]
    notes: dict[tuple[str, str, str], int]
    opener: Opener

    @property
    def batches(self) -> list[SourceBatch]:
        """Return the batches that the importer yielded."""
        return [item for item in self.items if isinstance(item, SourceBatch)]

    @property
    def error(self) -> SourceError | None:
        """Return why the reading ended before the end."""
        return self.reading.error

    @property
    def complete(self) -> set[bool | None]:
        """Return what the importer said of its recordings being whole."""
        return {about.complete for about in self.reading.about.values()}


@dataclass
class _Sink:
    """Keeps what the core keeps."""

    kept: dict[tuple[int, str], list[Row]] = field(default_factory=dict)
    aside: dict[tuple[int, str], list[Rejected]] = field(default_factory=dict)

    def add(self, batch: Batch, recording_id: str) -> None:
        flags = batch.flags if batch.flags is not None else [None] * len(batch)
        columns = (batch.time, batch.time_end, batch.value, batch.record, batch.suspect)
        rows = zip(*(column.tolist() for column in columns), flags, strict=True)
        self.kept.setdefault((batch.recording, batch.signal), []).extend(rows)

    def set_aside(self, recording_id: str, rejected: Sequence[Rejected]) -> None:
        for each in rejected:
            self.aside.setdefault((each.recording, each.signal), []).append(each)


@dataclass
class Handed:
    """What an importer handed over for some bytes before the core saw it."""

    items: list[Any]
    raised: BaseException | None
    notes: dict[tuple[str, str, str], int]
    opener: Opener

    @property
    def fingerprint(self) -> bytes | None:
        """Return what tells this apart from all else that an importer may hand over; None where nothing does.

        Of an error only its kind counts: its words often name the last byte.
        """
        try:
            return pickle.dumps((self.items, self.notes, type(self.raised), getattr(self.raised, "code", "")))
        except Exception:
            return None


@dataclass
class _Replay:
    """Yields once more what an importer handed over, for the core."""

    handed: Handed
    name: str
    version: str

    def read(self, source: Source) -> Iterator[Any]:
        yield from self.handed.items
        if self.handed.raised is not None:
            raise self.handed.raised


def hand_over(subject: Subject, sample: Sample, size: int, opener: Opener) -> Handed:
    """Take all that the importer gives for what an opener gives, and the error that it ends with."""
    options = sample.options_of(subject.importer)
    source = Source(sample.file_name, size, opener, options, zone=sample.zone)
    handed = Handed([], None, source.notes, opener)
    with warnings.catch_warnings():
        # The core counts a decoder's warnings; here they would only stand in the way.
        warnings.simplefilter("ignore")
        try:
            handed.items.extend(subject.importer.read(source))
        except (Exception, SystemExit) as error:
            handed.raised = error
    return handed


def judge(subject: Subject, sample: Sample, handed: Handed) -> Seen:
    """Let the core read what an importer handed over."""
    sink = _Sink()
    replay = _Replay(handed, subject.name, str(getattr(subject.importer, "version", "")))
    source = Source(sample.file_name, 0, handed.opener, notes=handed.notes)
    try:
        reading = read(cast(Importer, replay), source, sink, str, sample.zone)
    except VambraceError:
        raise
    except Exception as error:
        what = f"the core cannot take what the importer hands over: {type(error).__name__}: {error}"
        todo = "Look at the shapes and types of the last batch, Event or Recording, against `vambrace.plugin`."
        raise Failure(what, where=sample.file_name, todo=todo) from error
    return Seen(handed.items, handed.raised, reading, sink.kept, sink.aside, handed.notes, handed.opener)


def see(subject: Subject, sample: Sample, data: bytes | None = None, *, piece: int = 0) -> Seen:
    """Read a sample, or other bytes in its place, through the importer and the core."""
    content = sample.content if data is None else data
    return judge(subject, sample, hand_over(subject, sample, len(content), opener_of(content, piece)))


def whole(subject: Subject, sample: Sample) -> Seen:
    """Read a whole sample; raise Failure where it cannot be read or gives nothing."""
    seen = see(subject, sample)
    if isinstance(seen.error, PluginFault):
        todo = "Mend `read`, so that it raises only DamagedFile or Refused."
        raise Failure(f"the importer fails on its own sample: {seen.error.what}", where=sample.file_name, todo=todo)
    if seen.error is not None:
        what = f"the importer's own sample cannot be read: {seen.error} [{seen.error.code}]"
        todo = "Mend `read`, or give the sample what it needs (`options`, `zone`)."
        raise Failure(what, where=sample.file_name, todo=todo)
    if not seen.reading.kept:
        what = f"the importer's own sample gives no value (set aside: {seen.reading.set_aside})"
        raise Failure(what, where=sample.file_name, todo="Mend `read`, or name a sample that holds values.")
    return seen


def difference(first: Seen, second: Seen) -> str:
    """Return in words the first thing in which two readings differ, or an empty text."""
    return (
        _of_rows("values kept", first.kept, second.kept)
        or _of_rows("values set aside", first.aside, second.aside)
        or _of("the error", _error(first), _error(second))
        or _of("what is said of recordings", _about(first), _about(second))
        or _of("events", list(first.reading.happenings), list(second.reading.happenings))
        or _of("conversions", _plain(first.reading.conversions), _plain(second.reading.conversions))
        or _of("findings", first.notes, second.notes)
    )


def _error(seen: Seen) -> tuple[str, str] | None:
    return None if seen.error is None else (seen.error.code, str(seen.error))


def _about(seen: Seen) -> dict[int, Recording]:
    return seen.reading.about


def _plain(conversions: Mapping[int, Mapping[str, None]]) -> dict[int, list[str]]:
    return {recording: sorted(said) for recording, said in conversions.items() if said}


def _of(what: str, first: Any, second: Any) -> str:
    return "" if first == second else f"{what}: {_short(first)} against {_short(second)}"


def _of_rows(what: str, first: Mapping[Any, list[Any]], second: Mapping[Any, list[Any]]) -> str:
    for key in sorted({*first, *second}):
        ours, theirs = first.get(key, []), second.get(key, [])
        if repr(ours) == repr(theirs):
            continue
        recording, signal = key
        channel = f"{what} of {signal} in recording {recording}"
        if len(ours) != len(theirs):
            return f"{channel}: {len(ours)} against {len(theirs)}"
        at = next(at for at, pair in enumerate(zip(ours, theirs, strict=True)) if repr(pair[0]) != repr(pair[1]))
        return f"{channel}, the {at + 1}. differs: {_short(ours[at])} against {_short(theirs[at])}"
    return ""


def _short(thing: Any) -> str:
    text = repr(thing)
    return text if len(text) <= 300 else f"{text[:300]}…"
