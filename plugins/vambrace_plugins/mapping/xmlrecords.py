"""Rows of XML: a repeated element, whose attributes and inner elements are the fields; read as a stream."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import DamagedFile, Refused, Source
from vambrace_plugins.importers.csv.blocks import Block
from vambrace_plugins.importers.xmlprolog import TextReader
from vambrace_plugins.importers.xmlstream import MOST_ROW_BYTES
from vambrace_plugins.mapping.model import Mapping
from vambrace_plugins.mapping.records import ROWS
from vambrace_plugins.mapping.xmlshape import Shape, end_of_last, still_inside
from vambrace_plugins.mapping.xmltree import Tree, key_of

_MANY = 50_000
_FEW_LETTERS = 2_000


class XmlRecords:
    """The records of an XML document.

    The text is cut behind whole records. A piece that consists of records shaped as those before it is taken apart as
    text; every other one is parsed, and walked through element by element.
    """

    delimiter = ","

    def __init__(self, source: Source, mapping: Mapping) -> None:
        self._source, self._mapping = source, mapping
        self.names: Sequence[str] = mapping.fields
        self.left: dict[str, int] = {}
        self.sentences: list[str] = []
        self.complete: bool | None = True
        self._keys = {key_of(name): name for name in self.names}
        self._held: dict[str, list[str]] = {name: [] for name in self.names}
        self._record, self._most = 1, ROWS
        self._tree = Tree(source, mapping, self._take)
        self._shape = Shape()

    def blocks(self) -> Iterator[Block]:
        """Yield the rows; raise DamagedFile behind the last one before a damage."""
        fault: DamagedFile | Refused | None = None
        with self._source.open() as raw:
            reader = TextReader(raw)
            pieces = self._pieces(reader)
            more = True
            while more:
                try:
                    more = self._read(next(pieces, None))
                except (DamagedFile, Refused) as error:
                    fault, more = error, False
                while self._ready(at_end=not more):
                    yield self._block()
            if reader.note:
                self.sentences.append(reader.note)
        if fault is not None:
            raise fault
        if self._record == 1:
            what = f"it has no element <{self._mapping.layout.records}>, which the mapping names"
            todo = "Name the element that is repeated for each row, by its path below the outermost one"
            raise self._mapping.refusal("mapping-records", ("source", "records"), what, todo)

    def _read(self, piece: tuple[str, bool] | None) -> bool:
        """Take one piece of the text, or its end; return whether there may be more."""
        tree = self._tree
        if piece is None:
            tree.close()
            tree.harvest(self._shape, clean=False, whole=True)
            return False
        self._taken(*piece)
        return True

    def _taken(self, text: str, clean: bool) -> None:
        """Take text apart by the shape of its records, in halves where not all of them have it; or parse it."""
        tree = self._tree
        alike = clean and tree.parent is not None
        columns = self._shape.rows(text) if alike else None
        if columns is not None:
            tree.skip(text)
            self._add(columns)
            return
        half = end_of_last(text[: len(text) // 2], tree.tag) if alike and len(text) > _FEW_LETTERS else 0
        if half and "<!" not in text and "<?" not in text:
            self._taken(text[:half], clean)
            self._taken(text[half:], clean)
            return
        try:
            tree.feed(text)
        except DamagedFile:
            tree.harvest(self._shape, clean=False)
            raise
        tree.harvest(self._shape, clean=clean)

    def _pieces(self, reader: TextReader) -> Iterator[tuple[str, bool]]:
        """Yield the text in pieces, and whether each ends behind a whole record, outside all comments."""
        rest = inside = ""
        fault: DamagedFile | Refused | None = None
        chunks = reader.chunks()
        chunk = b" "
        while chunk:
            try:
                chunk = next(chunks, b"")
            except (DamagedFile, Refused) as error:
                chunk, fault = b"", error
            if reader.start.name:
                self._tree.begin(reader.start.name)
            rest += chunk.decode()
            tag = self._tree.tag
            end = end_of_last(rest, tag) if tag and chunk else 0
            if not end and tag and chunk and len(rest) < MOST_ROW_BYTES // 4:
                continue
            piece, rest = (rest[:end], rest[end:]) if end else (rest, "")
            if inside or "!" in piece or "?" in piece:
                inside = still_inside(piece, inside)
            if piece:
                yield piece, bool(end) and not inside
        if fault is not None:
            raise fault

    def _add(self, columns: Sequence[Sequence[str]]) -> None:
        """Take rows that a shape took apart."""
        n = len(columns[0])
        around = self._tree.around()
        found = dict(zip(self._shape.paths, columns, strict=True))
        for key, name in self._keys.items():
            cells = found.pop(key, None)
            self._held[name].extend([around.get(key, "")] * n if cells is None else cells)
        for path, cells in found.items():
            blank = cells.count("") + sum(map(str.isspace, cells))
            self.left[path] = self.left.get(path, 0) + n - blank

    def _take(self, row: dict[str, str] | None, left: dict[str, int]) -> None:
        """Take one row that was read element by element (None outside of rows), and what it has beside its fields."""
        if row is not None:
            for key, name in self._keys.items():
                self._held[name].append(row.get(key, ""))
        for path, n in left.items():
            self.left[path] = self.left.get(path, 0) + n

    def _ready(self, *, at_end: bool) -> bool:
        n = len(self._held[self.names[0]])
        return n >= self._most or (at_end and n > 0)

    def _block(self) -> Block:
        n = min(self._most, len(self._held[self.names[0]]))
        columns = []
        for cells in self._held.values():
            columns.append(pc.utf8_trim_whitespace(pa.array(cells[:n], pa.string())))
            del cells[:n]
        records = np.arange(self._record, self._record + n)
        self._record += n
        self._most = _MANY
        return Block(records, columns)
