"""What an importer makes of a sample that breaks off."""

from __future__ import annotations

from collections import Counter

from vambrace.errors import DamagedFile, PluginFault
from vambrace.testing.failure import Failure
from vambrace.testing.sample import Sample, Subject, small_samples
from vambrace.testing.seen import Seen, difference, see, whole

__tracebackhide__ = True  # pytest then shows where the check was called, and its sentence

_INCOMPLETE = "Raise DamagedFile where the file breaks off, or yield Recording(..., complete=False)."


def stands_a_cut_at_every_byte(subject: Subject) -> None:
    """Hold that a sample of at most 4,096 bytes, cut at any byte, is damaged, whole, or a prefix that says so."""
    for sample in small_samples(subject):
        _cut_everywhere(subject, sample)


def _cut_everywhere(subject: Subject, sample: Sample) -> None:
    all_of_it = whole(subject, sample)
    values = all_of_it.values
    row_ends = 0
    for at in range(len(sample.content)):
        data = sample.content[:at]
        row_ends += subject.at_row_end(data)
        cut = see(subject, sample, data)
        where = f"{sample.file_name}, cut behind byte {at:,}"
        _hold_prefix(values, cut, where)
        if subject.importer.end_mark:
            _hold_marked(all_of_it, cut, where)
        else:
            _hold_possibly_cut(all_of_it, cut, where, subject.at_row_end(data))
    if not subject.importer.end_mark and row_ends * 2 > len(sample.content):
        todo = "Let `at_row_end` say yes only where the last byte of a row stands at the end."
        raise Failure(f"{row_ends} of {len(sample.content)} bytes end a row", where=sample.file_name, todo=todo)


def _hold_prefix(values: Counter[tuple[str, int, int, float, int]], cut: Seen, where: str) -> None:
    """Raise Failure for an error that is none of the door's, and for a value that the whole file does not hold."""
    if isinstance(cut.error, PluginFault):
        todo = "Look how many bytes there are before you take them, and raise DamagedFile."
        raise Failure(cut.error.what, where=where, todo=todo) from cut.raised
    more = cut.values - values
    if more:
        signal, time, _, value, record = next(iter(more))
        what = f"{signal} {value!r} (record {record}, {time} µs) is not in the whole file"
        todo = "Hand no half of a row over: set its value aside, or raise DamagedFile before it."
        raise Failure(what, where=where, todo=todo)


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
    if cut.error is not None or at_row_end or any(rule == "possibly-cut" for rule, _, _ in cut.notes):
        return
    if not difference(all_of_it, cut):
        return
    what = "a file that ends inside a row passes without a word"
    todo = (
        'Call source.note("possibly-cut", ...) and set the last row aside, or raise DamagedFile. If a row does end '
        "here, say so in the method `at_row_end` of the test class; without it a row ends with a line feed."
    )
    raise Failure(what, where=where, todo=todo)
