"""What the batches of an importer hold, and that each of their values ends somewhere."""

from __future__ import annotations

from typing import get_args, get_type_hints

import numpy as np

from vambrace.batch import Column, SourceBatch, Times, arrays_of
from vambrace.errors import Rejected, SourceError
from vambrace.schema import SIGNALS
from vambrace.testing.failure import Failure
from vambrace.testing.sample import Sample, Subject
from vambrace.testing.seen import Seen, difference, see, whole
from vambrace.units import conversion

__tracebackhide__ = True  # pytest then shows where the check was called, and its sentence

PIECES = (1, 7, 4096)
"""How many bytes at a time the streams of the kit give."""
MOST_BY_BYTES = 1 << 16
"""Samples of more bytes are not read byte by byte."""

_STATISTICS = ("instant", "mean", "max", "min", "total")
_COUNTS = ("", "steps", "revolutions", "unknown")


def keeps_the_row_law(subject: Subject) -> None:
    """Hold that every value handed over ends kept, set aside with a reason or absent, and none is counted twice."""
    for sample in subject.samples:
        for at, batch in enumerate(see(subject, sample).batches):
            _hold_lengths(batch, f"{sample.file_name}, batch {at + 1}")
        _hold_counts(sample, whole(subject, sample))


def _hold_lengths(batch: SourceBatch, where: str) -> None:
    """Raise Failure where an array of a batch has another length than its record numbers."""
    for what, values in arrays_of(batch):
        if len(values) != len(batch):
            todo = "Give each array one entry for each row; mark rows without a value in `present`."
            raise Failure(f"a batch of {len(batch)} rows has {len(values)} entries in {what}", where=where, todo=todo)


def _hold_counts(sample: Sample, seen: Seen) -> None:
    """Raise Failure where the values handed over are not those that the core, and the author, count."""
    reading = seen.reading
    rejected = [item for item in seen.items if isinstance(item, Rejected)]
    handed = sum(len(batch) for batch in seen.batches for _ in batch.columns) + len(rejected)
    ended = reading.kept + reading.set_aside + reading.absent
    sums = f"{reading.kept} kept, {reading.set_aside} set aside, {reading.absent} absent"
    stored = sum(map(len, seen.kept.values())), sum(map(len, seen.aside.values()))
    if handed != ended or stored != (reading.kept, reading.set_aside):
        todo = "Hand each value over once, in a batch or as Rejected."
        raise Failure(f"{handed} values were handed over, but {sums}", where=sample.file_name, todo=todo)
    _hold_once(sample, seen, rejected)
    if sample.values is not None and sample.values != ended:
        what = f"the sample holds {sample.values} values as its author counts them, but {ended} came ({sums})"
        todo = "Hand over the rest too, as Rejected with a reason where they cannot be read; or count again."
        raise Failure(what, where=sample.file_name, todo=todo)


def _hold_once(sample: Sample, seen: Seen, rejected: list[Rejected]) -> None:
    """Raise Failure where the one value that a record has of a signal is both in a batch and set aside."""
    given = {
        (batch.recording, column.signal, record)
        for batch in seen.batches
        for column in batch.columns
        for record, there in zip(batch.record.tolist(), _present(column, len(batch)), strict=True)
        if there
    }
    for each in rejected:
        if (each.recording, each.signal, each.record) in given and _one_a_record(seen, each):
            what = f"{each.signal} of record {each.record} is set aside ({each.reason}) and handed over as well"
            todo = "Hand each value over once: mark it absent in the batch's `present` where it is set aside."
            raise Failure(what, where=sample.file_name, todo=todo)


def _present(column: Column, n: int) -> list[bool]:
    return [True] * n if column.present is None else [bool(each) for each in column.present]


def _one_a_record(seen: Seen, rejected: Rejected) -> bool:
    """Say whether the signal never comes twice in a record, so that one of its values is meant."""
    own = [
        batch.record
        for batch in seen.batches
        if batch.recording == rejected.recording and rejected.signal in {column.signal for column in batch.columns}
    ]
    records = np.concatenate(own)
    return len(np.unique(records)) == len(records)


def names_known_signals_and_units(subject: Subject) -> None:
    """Hold that every column and every value set aside is of a known signal, in a unit and in words that it has."""
    for sample in subject.samples:
        for item in see(subject, sample).items:
            if isinstance(item, Rejected):
                _hold_signal(item.signal, sample.file_name)
            elif isinstance(item, SourceBatch):
                _hold_words(item, sample.file_name)
        whole(subject, sample)


def _hold_signal(signal: str, where: str) -> None:
    if signal not in SIGNALS:
        todo = f"Name one of {', '.join(SIGNALS)}; count what fits none in Recording.not_carried."
        raise Failure(f"{signal!r} is no signal", where=where, todo=todo)


def _hold_words(batch: SourceBatch, where: str) -> None:
    """Raise Failure for a word of a batch that is not in its closed list."""
    _hold_word("SourceBatch.stamp", batch.stamp, _literals(SourceBatch, "stamp"), where)
    for times in filter(None, (batch.time, batch.time_end)):
        _hold_word("Times.unit", times.unit, _literals(Times, "unit"), where)
        _hold_word("Times.basis", times.basis, _literals(Times, "basis"), where)
    for column in batch.columns:
        _hold_signal(column.signal, where)
        try:
            conversion(column.unit, SIGNALS[column.signal])
        except SourceError as error:
            raise Failure(error.what, where=f"{where}, {column.signal}", todo=f"{error.todo}.") from error
        _hold_word("Column.counting", column.counting, _literals(Column, "counting"), where)
        _hold_word("Column.statistic", column.statistic, _STATISTICS, where)
        _hold_word("Column.counts", column.counts, _COUNTS, where)


def _literals(holder: type, field: str) -> tuple[str, ...]:
    return get_args(get_type_hints(holder)[field])


def _hold_word(what: str, word: str, known: tuple[str, ...], where: str) -> None:
    if word not in known:
        raise Failure(f"{what} is {word!r}", where=where, todo=f"Say one of {', '.join(map(repr, known))}.")


def numbers_records_rising(subject: Subject) -> None:
    """Hold that record numbers are whole, rise within each channel from batch to batch, and begin at 0 or above."""
    for sample in subject.samples:
        last: dict[tuple[int, str], int] = {}
        for at, batch in enumerate(see(subject, sample).batches):
            where = f"{sample.file_name}, batch {at + 1}"
            if not isinstance(batch.record, np.ndarray) or batch.record.dtype != np.int64:
                raise Failure(
                    "`record` is no int64 array", where=where, todo="Write np.arange(...) or np.array(..., np.int64)."
                )
            for column in batch.columns:
                _hold_rising(batch, column.signal, last, where)
        whole(subject, sample)


def _hold_rising(batch: SourceBatch, signal: str, last: dict[tuple[int, str], int], where: str) -> None:
    if not len(batch):
        return
    before = last.get((batch.recording, signal), -1)
    falls = np.flatnonzero(np.diff(batch.record) < 0)
    if int(batch.record[0]) <= before or len(falls):
        this, other = (batch.record[falls[0] + 1], batch.record[falls[0]]) if len(falls) else (batch.record[0], before)
        what = f"record {this} of {signal} in recording {batch.recording} comes behind record {other}"
        todo = "Number the rows as they stand in the file, and go on counting from batch to batch."
        raise Failure(what, where=where, todo=todo)
    last[batch.recording, signal] = int(batch.record[-1])


def reads_twice_the_same(subject: Subject) -> None:
    """Hold that reading a sample twice gives the same, and that other bytes of its name, read in between, do not."""
    todo = "Let `read` begin anew each time; keep what it learns in local variables, not on the importer."
    for sample in subject.samples:
        first = whole(subject, sample)
        other = see(subject, sample, sample.content[:1])
        if not difference(first, other):
            what = "the first byte of the sample gives the same as all of it: the importer remembers it by its name"
            raise Failure(what, where=sample.file_name, todo=todo)
        _hold_same(sample, first, see(subject, sample), "again", todo)


def reads_the_same_in_any_pieces(subject: Subject) -> None:
    """Hold that a stream which gives 1, 7 or 4,096 bytes at a time gives the same as one that gives all."""
    todo = "A stream's read(n) may give fewer than n bytes before the end: read on until it gives none."
    for sample in subject.samples:
        first = whole(subject, sample)
        for piece in PIECES:
            if piece >= 7 or len(sample.content) <= MOST_BY_BYTES:
                again = see(subject, sample, piece=piece)
                _hold_same(sample, first, again, f"in pieces of {piece:,} bytes", todo)


def _hold_same(sample: Sample, first: Seen, again: Seen, how: str, todo: str) -> None:
    differs = difference(first, again)
    if differs:
        raise Failure(f"read {how}, the sample gives something else: {differs}", where=sample.file_name, todo=todo)
