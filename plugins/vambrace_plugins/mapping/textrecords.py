"""Rows of tables of text, as the CSV importer reads them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import islice
from typing import BinaryIO

from vambrace_plugins.importers.csv.blocks import Block
from vambrace_plugins.importers.csv.dialect import choose_dialect
from vambrace_plugins.importers.csv.encoding import decode
from vambrace_plugins.importers.csv.fixedwidth import with_tabs
from vambrace_plugins.importers.csv.headerrows import HeaderRows, Kind
from vambrace_plugins.importers.csv.lines import Lines
from vambrace_plugins.importers.csv.rows import Rows
from vambrace_plugins.mapping.model import Mapping
from vambrace_plugins.mapping.said import said_of


class OneTable(HeaderRows):
    """Takes every row behind the header as a row: a mapping explains one table."""

    def time_at(self, cells: Sequence[str]) -> int | None:
        """Return that no row is the header of another table."""
        return None

    def kind(self, row: list[str], at: int) -> Kind:
        """Return that a row of words is a row."""
        return ""

    def is_units(self, header: Sequence[str], row: Sequence[str]) -> bool:
        """Say that the mapping gives the units, and no row does."""
        return False


class TextRecords:
    """The rows of a table of text; its header is the first line that has all fields of the mapping."""

    def __init__(self, raw: BinaryIO, mapping: Mapping) -> None:
        said = said_of(mapping)
        self.left: dict[str, int] = {}
        decoded, pieces = decode(raw, said.encoding)
        self.sentences = [decoded.sentence] if decoded.sentence else []
        self.complete: bool | None = None
        self._lines = Lines(pieces)
        if mapping.layout.skip_lines:
            every = iter(self._lines)
            for _ in islice(every, mapping.layout.skip_lines):
                pass
            # What stands behind them in the same piece of text is ahead again; the iterator must live until then.
            if (ahead := self._lines.take()) is not None:
                self._lines.put_back(ahead)
            self.sentences.append(
                f"{mapping.layout.skip_lines} lines before the header passed over, as the mapping says"
            )
        wanted = frozenset(mapping.fields)

        def known(cells: Sequence[str]) -> int:
            return len(wanted & {cell.strip().strip('"') for cell in cells})

        dialect = choose_dialect(self._lines, said.delimiter, known)
        lines = self._lines
        if dialect.gaps:
            lines = self._lines = Lines(with_tabs(lines, dialect.gaps, dialect.before))
        self._rows = Rows(lines, dialect.delimiter, dialect.before, OneTable(said))
        self.delimiter = dialect.delimiter
        self.names: Sequence[str] = [cell.strip() for cell in self._rows.header]
        self.before = self._rows.before

    def blocks(self) -> Iterator[Block]:
        """Yield the rows; a last row that is too short stands in `cut` of its block."""
        cut = False
        for block in self._rows.blocks():
            cut = cut or block.cut is not None
            yield block
        self.complete = False if cut else None
        if self._rows.headers_again:
            self.sentences.append(f"the header stands {self._rows.headers_again} times again between the rows")
        if self._rows.comments:
            self.sentences.append(f"{self._rows.comments} lines of comment between the rows passed over")
        if self._rows.fault is not None:
            raise self._rows.fault
        if not cut and not self._lines.ended:
            self.complete = None
            self.sentences.append("the last line has no end; the file may have been cut there")
