"""Times of day without dates: the user says the first date, and the order of the rows when a day has passed."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace.plugin import Recording, Refused, SourceBatch
from vambrace_plugins.importers.csv.blocks import Block
from vambrace_plugins.importers.csv.options import Said
from vambrace_plugins.importers.csv.stopwatch import whole
from vambrace_plugins.importers.csv.timecells import full_days, kind_of, without_half
from vambrace_plugins.importers.csv.timing import Places, places
from vambrace_plugins.importers.csv.vocabulary import Heading
from vambrace_plugins.importers.csv.zonewords import without_zones, zones_parted

_ZONE = r"\s*(?:[Zz]|UTC|GMT|[+\-][0-9:]+)?(?:\[[^\[\]]*\])*\s*$"
_CLOCK = r"^\s*(?P<h>[0-9]{1,2}):(?P<m>[0-5][0-9])(?::(?P<s>[0-5][0-9])(?:[.,](?P<part>[0-9]{1,6})[0-9]*)?)?" + _ZONE
_SECOND = 1_000_000
_HALF_DAY, _ALMOST_A_DAY = 12 * 3600 * _SECOND, 23 * 3600 * _SECOND
_SHOWN = 5
_TODO = "Sort its rows by time, or export it again with dates"


@dataclass(slots=True)
class Passing:
    """Where the clock of some rows stands: its last time of day in microseconds with its text, and the days passed.

    `first` is the first time of day of all.
    """

    first: int = -1
    last: int = -1
    text: str = ""
    days: int = 0


@dataclass(slots=True)
class DayClock:
    """Puts dates before the times of day of a table, block by block; `start` None leaves all as it is.

    `parting` are the columns that part the rows into those of several devices or signals; `written` are the record
    numbers and the times of the last block as they stood. `everything` is where the tables before have left the clock,
    and `base` the days that had passed at the first row of this one; `half_days` says that times have AM and PM.
    """

    heads: Sequence[Heading]
    said: Said
    parting: Sequence[int]
    found: Places | None = None
    everything: Passing = field(default_factory=Passing)
    each: dict[str, Passing] = field(default_factory=dict)
    midnights: list[int] = field(default_factory=list)
    count: int = 0
    base: int | None = None
    half_days: bool = False
    written: tuple[NDArray[np.int64], pa.Array] | None = None

    def blocks(self, blocks: Iterator[Block]) -> Iterator[Block]:
        """Yield the blocks with dates in their times of day; raise Refused where the order of rows says no date."""
        first = True
        for block in blocks:
            if first and self.said.date is not None:
                self.found, self.half_days = _without_dates(self.heads, self.said, block)
            first = False
            yield block if self.found is None else self._dated(block)

    def shown(self, batch: SourceBatch) -> SourceBatch:
        """Return rows of the block that was yielded last with their times as the file writes them, to be shown."""
        if self.written is None:
            return batch
        records, cells = self.written
        texts = cells.take(pa.array(np.searchsorted(records, batch.record)))
        return replace(batch, time=replace(batch.time, texts=texts))

    def recorded(self, item: Recording) -> Recording:
        """Return what is known of a recording, with what was decided of its dates."""
        if self.found is None or self.said.date is None:
            return item
        begin = self.said.date + timedelta(days=self.base or 0)
        why = "the clock has gone on from that of the table before" if self.base else "csv.date says"
        sentence = f"times: dates from {begin} on, as {why}"
        if self.count:
            rows = ", ".join(f"{number:,}" for number in self.midnights) + (", …" if self.count > _SHOWN else "")
            times = "once" if self.count == 1 else f"{self.count:,} times"
            sentence += f"; the clock falls by more than half a day {times}, and the date goes on by one (row {rows})"
        ends = "times: an end before its start taken as on the next day" if self.found.end is not None else ""
        return replace(item, conversions=(*item.conversions, *filter(None, (sentence, ends))))

    def _dated(self, block: Block) -> Block:
        columns = self._with_dates(block.records, block.columns)
        if self.found is not None and self.found.main is not None:
            self.written = block.records, block.columns[self.found.main]
        if block.cut is None:
            return replace(block, columns=columns)
        record, row, line = block.cut
        # The last cell may itself be cut, and decides nothing.
        whole = [*row[:-1], *([""] * (len(columns) - len(row) + 1))]
        dated = self._with_dates(np.array([record]), [pa.array([cell], pa.string()) for cell in whole])
        cells = [str(column[0].as_py()) for column in dated]
        return replace(block, columns=columns, cut=(record, [*cells[: len(row) - 1], row[-1]], line))

    def _with_dates(self, records: NDArray[np.int64], columns: Sequence[pa.Array]) -> list[pa.Array]:
        """Return the columns with dates in those of the times."""
        at, end = (self.found.main, self.found.end) if self.found else (None, None)
        if at is None:
            return list(columns)
        clock, known = clocks(columns[at], self.said.zones, half_days=self.half_days)
        days = np.zeros(len(clock), np.int64)
        rows = np.flatnonzero(known)
        days[rows] = self._days(clock[rows], columns, rows, records)
        dated = list(columns)
        dated[at] = self._joined(days, columns[at], known)
        if end is not None:
            last, there = clocks(columns[end], self.said.zones, half_days=self.half_days)
            dated[end] = self._joined(days + (last < clock), columns[end], known & there)
        return dated

    def _joined(self, days: NDArray[np.int64], cells: pa.Array, known: NDArray[np.bool_]) -> pa.Array:
        start = self.said.date or date.min
        different, at = np.unique(days, return_inverse=True)
        dates = pa.array([str(start + timedelta(days=int(day))) for day in different], pa.string()).take(pa.array(at))
        joined = pc.binary_join_element_wise(dates, pc.utf8_trim_whitespace(cells), " ")
        return pc.if_else(pa.array(known), joined, cells)

    def _days(
        self, clock: NDArray[np.int64], columns: Sequence[pa.Array], rows: NDArray[np.intp], records: NDArray[np.int64]
    ) -> NDArray[np.int64]:
        """Return the days that have passed at each row with a time; remember where the clock stands."""
        if not len(rows):
            return np.zeros(0, np.int64)
        cells = columns[self.found.main].take(pa.array(rows))  # type: ignore[index, union-attr]
        where = records[rows]
        if self.base is None:
            self._go_on(int(clock[0]), str(cells[0].as_py()), int(where[0]))
        days, midnights = passed(self.everything, clock, cells, where, strict=not self.parting)
        self._check_parts(clock, cells, [columns[at].take(pa.array(rows)) for at in self.parting], where, days)
        self.count += len(midnights)
        self.midnights += midnights[: max(0, _SHOWN - len(self.midnights))]
        return days

    def _go_on(self, clock: int, text: str, record: int) -> None:
        """Take up the clock where the table before has left it; refuse a table that may be of another day as well."""
        before = self.everything
        if before.last < 0:
            before.first, self.base = clock, 0
            return
        midnight = clock - before.last < -_HALF_DAY
        self.base = before.days + midnight
        overlaps = clock < before.last and not midnight
        # A table that begins at a time of day behind the first of all may be of the first day as well.
        if overlaps or (self.base and clock >= before.first):
            begin = self.said.date or date.min
            days = (before.days, before.days + 1) if overlaps else (0, self.base)
            shown = " or of ".join(str(begin + timedelta(days=each)) for each in days)
            what = f'another table begins at "{text.strip()}", and the one before ends at "{before.text.strip()}": '
            todo = "Split the file into one for each table, and say the date of each; or export it again with dates"
            raise Refused("time-two-readings", f"{what}it may be of {shown}", where=f"row {record:,}", todo=todo)
        if midnight:
            before.days, before.last = self.base, clock

    def _check_parts(
        self,
        clock: NDArray[np.int64],
        cells: pa.Array,
        parting: Sequence[pa.Array],
        records: NDArray[np.int64],
        days: NDArray[np.int64],
    ) -> None:
        """Refuse rows of several devices or signals where those of one alone would have another date."""
        if not parting:
            return
        keys = parting[0] if len(parting) == 1 else pc.binary_join_element_wise(*parting, ", ")
        encoded = pc.dictionary_encode(pc.utf8_trim_whitespace(keys))
        codes = encoded.indices.to_numpy(zero_copy_only=False)
        for code, name in enumerate(encoded.dictionary.to_pylist()):
            own = np.flatnonzero(codes == code)
            passing = self.each.setdefault(name, Passing(days=self.base or 0))
            alone, _ = passed(passing, clock[own], cells.take(pa.array(own)), records[own], strict=True)
            other = np.flatnonzero(alone != days[own])
            if len(other):
                at = own[other[0]]
                first, second = (
                    str((self.said.date or date.min) + timedelta(days=int(day))) for day in (days[at], alone[other[0]])
                )
                what = f'"{cells[int(at)]}" is on {first} by the rows before, on {second} by those of "{name}" alone'
                todo = "Split the file into one for each, or export it again with dates"
                raise Refused("time-two-readings", what, where=f"row {int(records[at]):,}", todo=todo)


def clocks(
    cells: pa.Array, zones: Mapping[str, str], *, half_days: bool
) -> tuple[NDArray[np.int64], NDArray[np.bool_]]:
    """Return times of day in microseconds, and which cells are one."""
    texts, _ = zones_parted(cells, zones, "")
    texts = full_days(texts) if half_days else texts
    parts = pc.extract_regex(texts, _CLOCK)
    h, m, s = (pc.fill_null(whole(parts, name), 0).to_numpy(zero_copy_only=False) for name in "hms")
    part = pc.utf8_rpad(pc.fill_null(pc.struct_field(parts, "part"), ""), 6, "0")
    micro = pc.cast(part, pa.int64()).to_numpy(zero_copy_only=False)
    us = ((h * 60 + m) * 60 + s) * _SECOND + micro
    known = pc.is_valid(parts).to_numpy(zero_copy_only=False) & (us <= 2 * _HALF_DAY)
    return np.where(known, us, 0), known


def passed(
    passing: Passing, clock: NDArray[np.int64], cells: pa.Array, records: NDArray[np.int64], *, strict: bool
) -> tuple[NDArray[np.int64], list[int]]:
    """Return the days passed at each row, and the rows at which one passes: the clock falls by more than half a day.

    Where `strict`, raise Refused for any other fall, and for a rise by almost a day: such rows are out of order.
    """
    before = np.concatenate(([passing.last if passing.last >= 0 else clock[0]], clock[:-1]))
    step = clock - before
    midnight = step < -_HALF_DAY
    odd = np.flatnonzero(((step < 0) & ~midnight) | (step > _ALMOST_A_DAY))
    if strict and len(odd):
        at = int(odd[0])
        text, now = cells[at - 1].as_py() if at else passing.text, cells[at].as_py()
        way, most = ("falls", "a day lies between") if step[at] < 0 else ("rises", "almost a whole day lies between")
        what = f'the clock {way} from "{text.strip()}" to "{now.strip()}": rows are out of order, or {most}'
        raise Refused("time-two-readings", what, where=f"row {int(records[at]):,}", todo=_TODO)
    days = passing.days + np.cumsum(midnight)
    passing.last, passing.text, passing.days = int(clock[-1]), cells[-1].as_py(), int(days[-1])
    return days, records[midnight].tolist()


def _without_dates(heads: Sequence[Heading], said: Said, block: Block) -> tuple[Places | None, bool]:
    """Return the columns of times of day without dates, None where they have one; and whether AM and PM stand there."""
    found = places(heads, said)
    if found.main is None or found.date is not None:
        return None, False
    words = heads[found.main].time
    if said.time_kind == "elapsed" or (words is not None and words.elapsed):
        return None, False
    header = heads[found.main].text.strip()
    sample = pc.unique(block.columns[found.main]).to_pylist()
    cells: Sequence[str] = without_zones(sample, said.zones, header)
    kind = kind_of(cells, header, sample)
    half_days = kind == "half-day"
    if half_days:
        kind = kind_of([text for cell in cells if (text := without_half(cell)) is not None], header)
    return (found, half_days) if kind == "clock" else (None, False)
