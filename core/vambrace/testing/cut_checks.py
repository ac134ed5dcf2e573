"""What an importer makes of a sample that breaks off."""

from __future__ import annotations

from collections import Counter
from typing import NamedTuple

from vambrace.errors import DamagedFile, PluginFault
from vambrace.pipeline.reading import ChannelTally
from vambrace.testing.failure import Failure
from vambrace.testing.sample import Sample, Subject, small_samples
from vambrace.testing.seen import Seen, difference, hand_over, judge, whole
from vambrace.testing.streams import opener_of

__tracebackhide__ = True  # pytest then shows where the check was called, and its sentence

_INCOMPLETE = "Raise DamagedFile where the file breaks off, or yield Recording(..., complete=False)."


def stands_a_cut_at_every_byte(subject: Subject) -> None:
    """Hold that a sample of at most 4,096 bytes, cut at any byte, is damaged, whole, or a prefix that says so."""
    for sample in small_samples(subject):
        _cut_everywhere(subject, sample)


def _cut_everywhere(subject: Subject, sample: Sample) -> None:
    all_of_it = whole(subject, sample)
    known: dict[bytes | None, Seen] = {}
    row_ends = 0
    for at in range(len(sample.content)):
        data = sample.content[:at]
        handed = hand_over(subject, sample, len(data), opener_of(data))
        # Most cuts give what the one before gave; the core then has nothing new to say.
        print_ = handed.fingerprint
        cut = known.get(print_) if print_ else None
        if cut is None:
            known = {print_: judge(subject, sample, handed)}
            cut = known[print_]
        where = f"{sample.file_name}, cut behind byte {at:,}"
        _hold_prefix(all_of_it, cut, where)
        if subject.importer.end_mark:
            _hold_marked(all_of_it, cut, where)
            continue
        row_ends += subject.at_row_end(data)
        _hold_possibly_cut(all_of_it, cut, where, subject.at_row_end(data))
    if row_ends * 2 > len(sample.content):
        todo = "Let `at_row_end` say yes only where the last byte of a row stands at the end."
        raise Failure(f"{row_ends} of {len(sample.content)} bytes end a row", where=sample.file_name, todo=todo)


def _hold_prefix(all_of_it: Seen, cut: Seen, where: str) -> None:
    """Raise Failure for an error that is none of the door's, and for a value that the whole file does not hold."""
    if isinstance(cut.error, PluginFault):
        todo = "Look how many bytes there are before you take them, and raise DamagedFile."
        raise Failure(cut.error.what, where=where, todo=todo) from cut.raised
    open_ = {
        signal for seen in (all_of_it, cut) for (_, signal), tally in seen.reading.channels.items() if _is_open(tally)
    }
    values = _values(cut, open_)
    last = max((value.record for value in values), default=0)
    for value in values - _values(all_of_it, open_):
        # The last of a format without an end mark may be cut in a way that nobody can see; a finding says so.
        if value.record < last or not _says_possibly_cut(cut):
            said = f"{value.signal} {value.value!r} of record {value.record}, at {value.time_us} µs"
            what = f"a cut file gives a value that the whole file does not hold: {said}"
            todo = "Hand no half of a row over: set its value aside, or raise DamagedFile before it."
            raise Failure(what, where=where, todo=todo)


class _Value(NamedTuple):
    """A kept value, without the number of its recording: a part of a file may have fewer recordings."""

    signal: str
    record: int
    time_us: int
    end_us: int
    value: float


def _is_open(tally: ChannelTally) -> bool:
    """Say whether the importer itself says that the meaning of a channel's numbers is unknown."""
    return "unknown" in tally.counts


def _values(seen: Seen, open_: set[str]) -> Counter[_Value]:
    """Return the values that were kept; of signals that are `open_` only that there is one."""
    return Counter(
        _Value(signal, record, time, end, 0.0 if signal in open_ else value)
        for (_, signal), rows in seen.kept.items()
        for time, end, value, record, *_ in rows
    )


def _says_possibly_cut(seen: Seen) -> bool:
    return any(rule == "possibly-cut" for rule, _, _ in seen.notes)


def _hold_marked(all_of_it: Seen, cut: Seen, where: str) -> None:
    """Raise Failure where a cut file of a format with an end mark passes as a whole one."""
    if isinstance(cut.error, DamagedFile):
        return
    if cut.error is not None:
        what = f"the importer refuses a file that breaks off: {cut.error} [{cut.error.code}]"
        todo = "Raise DamagedFile: only then can a user keep the rows that stand before."
        raise Failure(what, where=where, todo=todo)
    if not difference(all_of_it, cut):
        return
    if False not in cut.complete:
        what = f"a part of the file passes as a whole one ({cut.reading.kept} of {all_of_it.reading.kept} values)"
        raise Failure(what, where=where, todo=_INCOMPLETE)
    for number, about in cut.reading.about.items():
        if about.complete and _of(all_of_it, number) != _of(cut, number):
            what = f"recording {number} is a part and says that it is complete"
            raise Failure(what, where=where, todo=_INCOMPLETE)


def _of(seen: Seen, recording: int) -> dict[str, int]:
    return {signal: len(rows) for (number, signal), rows in seen.kept.items() if number == recording}


def _hold_possibly_cut(all_of_it: Seen, cut: Seen, where: str, at_row_end: bool) -> None:
    """Raise Failure where a cut inside a row of a format without an end mark leaves no finding."""
    if cut.error is not None or at_row_end or _says_possibly_cut(cut):
        return
    if not difference(all_of_it, cut):
        return
    what = "a file that ends inside a row passes without a word"
    todo = (
        'Call source.note("possibly-cut", ...) and set the last row aside, or raise DamagedFile. If a row does end '
        "here, say so in the method `at_row_end` of the test class; without it a row ends with a line feed."
    )
    raise Failure(what, where=where, todo=todo)
