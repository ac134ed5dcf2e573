"""Spaces that no keyboard has: unbreakable and narrow ones are read as spaces, but for those between thousands."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from vambrace_plugins.importers.csv.blocks import Block, Cells, Numbers, cell_ends
from vambrace_plugins.importers.csv.vocabulary import Heading

# The category Zs of Unicode without the usual space.
_ODD = "[\u00a0\u1680\u2000-\u200a\u202f\u205f\u3000]"
# Figure and thin spaces part thousands as the narrow one does.
_BETWEEN = "[\u2007\u2009]"
_NARROW = "\u202f"
_SHOWN = 40


class Spaces:
    """Reads odd spaces in the columns of times and of values as usual ones; `sentences` say where."""

    def __init__(self, heads: Sequence[Heading], values: int | None) -> None:
        """Take what the columns are, and the column of values of a long table."""
        self._heads = heads
        self._places = {
            at: heading.time is not None
            for at, heading in enumerate(heads)
            if heading.time is not None or heading.signal or at == values
        }
        self.sentences: dict[int, str] = {}

    def blocks(self, blocks: Iterator[Block]) -> Iterator[Block]:
        """Yield the blocks with usual spaces."""
        for block in blocks:
            odd = [at for at in self._places if not _is_ascii(block.columns[at])]
            if odd or block.cut is not None:
                yield self._told(block, odd)
            else:
                yield block

    def _told(self, block: Block, places: Sequence[int]) -> Block:
        columns = list(block.columns)
        for at in places:
            columns[at] = self._column(at, columns[at])
        cut = block.cut
        if cut is not None:
            record, row, line = cut
            cells = [
                self._column(at, pa.array([cell]))[0].as_py() if at in self._places else cell
                for at, cell in enumerate(row)
            ]
            cut = record, cells, line
        return replace(block, columns=columns, cut=cut)

    def _column(self, at: int, cells: pa.Array) -> pa.Array:
        odd = pc.match_substring_regex(cells, _ODD)
        first = pc.index(odd, True).as_py()
        if first < 0:
            return cells
        if self._places[at]:
            changed = pc.replace_substring_regex(cells, _ODD, " ")
        else:
            changed = pc.replace_substring_regex(cells, rf"(^|[^0-9]){_ODD}+", r"\1 ")
            changed = pc.replace_substring_regex(changed, rf"{_ODD}+($|[^0-9])", r" \1")
            changed = pc.replace_substring_regex(changed, _BETWEEN, _NARROW)
        if at not in self.sentences:
            where = pc.index(pc.not_equal(changed, cells), True).as_py()
            if where >= 0:
                name, shown = self._heads[at].text.strip(), changed[where].as_py().strip()[:_SHOWN]
                self.sentences[at] = f'{name}: unbreakable or narrow spaces read as spaces, as in "{shown}"'
        return changed


def _is_ascii(column: Cells) -> bool:
    if isinstance(column, Numbers):
        return True
    ends = cell_ends(column)
    if not len(column) or ends[-1] == ends[0]:
        return True
    data = np.frombuffer(column.buffers()[2], np.uint8)[ends[0] : ends[-1]]
    return int(data.max()) < 0x80
