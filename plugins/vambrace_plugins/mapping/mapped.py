"""Makes batches of the blocks of an export: filters, marks of missing values, and a table for each kind of rows."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import Recording, Rejected, Source, SourceBatch
from vambrace_plugins.importers.csv.blocks import Block
from vambrace_plugins.importers.csv.dayclock import DayClock
from vambrace_plugins.importers.csv.recordings import Key
from vambrace_plugins.importers.csv.table import Given, Table, filled, sample_of
from vambrace_plugins.mapping.model import Mapping, SignalField, Where
from vambrace_plugins.mapping.refusals import said_by_mapping
from vambrace_plugins.mapping.said import headings, said_of
from vambrace_plugins.mapping.times import Times
from vambrace_plugins.mapping.words import are, shown, without

_MOST_NAMES = 200


class Mapped:
    """The rows of one export in the making: what its fields are, and what was counted so far.

    `names` are the fields of the blocks, `delimiter` what parts their cells where they are of a text.
    """

    def __init__(self, source: Source, mapping: Mapping, names: Sequence[str], delimiter: str) -> None:
        self._source, self._mapping = source, mapping
        self.names = [*names, *mapping.constants]
        said = said_of(mapping)
        self._given = Given(source, said, delimiter, list(self.names))
        self._at = {name: at for at, name in enumerate(self.names)}
        self._times = Times(mapping, self._at)
        heads = headings(self.names, mapping, mapping.signals)
        parting = [at for at, heading in enumerate(heads) if heading.key]
        self._dates = DayClock(heads, said, parting)
        self._groups: dict[tuple[Where, ...], list[SignalField]] = {}
        for each in mapping.signals:
            self._groups.setdefault(each.where, []).append(each)
        self._tables: dict[tuple[Where, ...], Table] = {}
        self._sample: list[Sequence[str]] = []
        self._numbers: dict[tuple[Key, str], int] = {}
        self._absent: dict[str, None] = {}
        self._left_out = 0
        used = {self._at[name] for name in mapping.fields} | {self._at[name] for name in mapping.constants}
        self._read = frozenset(range(len(self.names)))
        self._rest = [at for at in range(len(self.names)) if at not in used]
        self.not_carried: dict[str, int] = {self.names[at] or f"column {at + 1}": 0 for at in self._rest}

    def batches(self, blocks: Iterator[Block]) -> Iterator[SourceBatch | Rejected]:
        """Yield the rows of blocks that hold the fields of the export."""
        for block in self._dates.blocks(map(self._prepared, blocks)):
            if not self._sample and len(block):
                self._sample = sample_of(block)
            yield from self._of_groups(self._filtered(block))
            if block.cut is not None:
                yield from self._cut(block.cut)

    def _prepared(self, block: Block) -> Block:
        """Return a block with the columns of constants, times in ISO 8601, and nothing for missing values."""
        n = len(block)
        constants = [pa.array([text] * n, pa.string()) for text in self._mapping.constants.values()]
        columns = [*block.columns, *constants]
        for at in self._rest:
            name = self.names[at] or f"column {at + 1}"
            self.not_carried[name] += filled(columns[at])
        marks: dict[int, tuple[str | int | float | bool, ...]] = {}
        for each in self._mapping.signals:
            at = self._at[each.field]
            marks[at] = tuple(dict.fromkeys((*marks.get(at, self._mapping.absent), *each.absent)))
        for at, words in marks.items():
            if words:
                columns[at], found = without(columns[at], words)
                self._absent.update(dict.fromkeys(found))
        return self._times.prepared(replace(block, columns=columns))

    def _filtered(self, block: Block) -> Block:
        """Return the rows that the filters of the mapping take; the values of the others are counted."""
        kept = self._fits(block, self._mapping.where)
        if kept is None:
            return block
        out = block.filtered(pc.invert(kept))
        self._left_out += len(out)
        what = ", ".join(f"{each.field} is not {shown(each.words)}" for each in self._mapping.where)
        for name in dict.fromkeys(each.field for each in self._mapping.signals):
            self._count(f"{name} ({what})", filled(out.columns[self._at[name]]))
        return block.filtered(kept)

    def _fits(self, block: Block, where: Sequence[Where]) -> pa.Array | None:
        fits = None
        for each in where:
            one = are(block.columns[self._at[each.field]], each.words)
            fits = one if fits is None else pc.and_(fits, one)
        return fits

    def _count(self, name: str, n: int) -> None:
        if n:
            known = name in self.not_carried or len(self.not_carried) < _MOST_NAMES
            name = name if known else "fields beyond the first 200"
            self.not_carried[name] = self.not_carried.get(name, 0) + n

    def _of_groups(self, block: Block) -> Iterator[SourceBatch]:
        """Yield the rows of each kind; the values of rows that are of no kind are counted."""
        taken: dict[str, pa.Array | None] = {}
        ready: list[tuple[Table, Block]] = []
        for where, signals in self._groups.items():
            fits = self._fits(block, where)
            own = block if fits is None else block.filtered(fits)
            for each in signals:
                before = taken.get(each.field, False)
                both = None if fits is None or before is None else fits if before is False else pc.or_(before, fits)
                taken[each.field] = both
            if len(own):
                ready.append((self._table(where, own), own))
        for table, own in ready:
            for batch in table.batches(own):
                yield replace(batch, recording=self._number(table, batch.recording))
        for field, fits in taken.items():
            if fits is not None:
                self._count_others(field, block.filtered(pc.invert(fits)))

    def _count_others(self, field: str, rows: Block) -> None:
        """Count the values of a field in rows of which no signal is said, by the words that the filters look at."""
        cells = rows.columns[self._at[field]]
        if not filled(cells):
            return
        told = dict.fromkeys(one.field for each in self._mapping.signals if each.field == field for one in each.where)
        keys = [pc.utf8_trim_whitespace(rows.columns[self._at[name]]) for name in told]
        words = pc.binary_join_element_wise(*keys, ", ")
        there = pc.not_equal(pc.utf8_trim_whitespace(cells), "")
        for pair in pc.value_counts(words.filter(there)).to_pylist():
            self._count(f"{field} ({', '.join(told)}: {pair['values'][:80]})", int(pair["counts"]))

    def _table(self, where: tuple[Where, ...], rows: Block) -> Table:
        if where not in self._tables:
            signals = self._groups[where]
            heads = headings(self.names, self._mapping, signals)
            sample = list(self._sample)
            for each in signals:
                sample[self._at[each.field]] = pc.unique(rows.columns[self._at[each.field]]).to_pylist()
            self._tables[where] = Table(self._given, heads, sample, read=self._read)
        return self._tables[where]

    def _number(self, table: Table, own: int) -> int:
        """Return the number of a recording over all tables: rows and fields of one device are one recording."""
        key, device = table.recordings.key_of(own)
        return self._numbers.setdefault((key, device), len(self._numbers) + 1)

    def _cut(self, cut: tuple[int, list[str], int]) -> Iterator[SourceBatch | Rejected]:
        """Yield what is whole of a last row that is too short."""
        record, row, line = cut
        constants = list(self._mapping.constants.values())
        whole = [*row, *([""] * (len(self.names) - len(constants) - len(row))), *constants]
        block = self._prepared(Block.of_rows([record], [whole], len(self.names)))
        self._sample = self._sample or sample_of(block)
        taken = False
        for where in self._groups:
            fits = self._fits(block, (*self._mapping.where, *where))
            if fits is None or fits[0].as_py():
                taken = True
                for item in self._table(where, block).cut((record, row, line)):
                    yield replace(item, recording=self._number(self._tables[where], item.recording))
        if not taken:
            what = f"line {line:,}: the last row ends after {len(row)} of {len(self.names) - len(constants)} cells"
            self._source.note("possibly-cut", f"{what} and is of no signal that the mapping names", "warning")

    def about(self, *, complete: bool | None, sentences: Sequence[str] = ()) -> Iterator[Recording]:
        """Yield what is known of the recordings, once all is read."""
        mapping = self._mapping
        own = [f"read by the mapping {mapping.file} (SHA-256 {mapping.digest[:16]})", *sentences]
        own += [f'cells with "{word}" read as absent, as the mapping says' for word in sorted(self._absent)]
        own += self._times.sentences()
        device = mapping.device
        # A table that was refused in its first rows has no recording of its own.
        for table in (each for each in self._tables.values() if each.recordings.begun):
            for item in table.about(complete=complete):
                number = self._number(table, item.recording)
                whole = replace(
                    item,
                    recording=number,
                    manufacturer=device.manufacturer or None,
                    product=item.product or device.product or None,
                    serial=item.serial or device.serial or None,
                    firmware=device.firmware or None,
                    not_carried={},
                    conversions=(*own, *item.conversions),
                )
                yield said_by_mapping(self._dates.recorded(whole))
        if self._tables:
            yield Recording(1, not_carried=dict(self.not_carried))
        if self._left_out:
            what = "; ".join(f"{each.field} is not {shown(each.words)}" for each in mapping.where)
            self._source.note("rows-left-out", f"rows left out, as the mapping says: {what}", count=self._left_out)
        if mapping.time.first_date and self._dates.found is None:
            self._source.note(
                "option-without-use", f"its times have dates, and first_date of {mapping.file} is not used"
            )
