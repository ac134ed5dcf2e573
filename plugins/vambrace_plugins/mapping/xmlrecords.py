"""Rows of XML: a repeated element, whose attributes and inner elements are the fields; read as a stream."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from typing import TypeAlias

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
from vambrace_plugins.mapping.xmltree import Tree

_MANY = 50_000


SourceFault: TypeAlias = DamagedFile | Refused


@dataclass(frozen=True, slots=True)
class _Piece:
    """A piece of text while it is parsed; `clean` and `plain` as the pieces are, `last` for the end of the document."""

    text: str
    clean: bool
    plain: bool
    fed: Future[None]
    last: bool = False


class XmlRecords:
    """The records of an XML document.

    The text is cut behind whole records. The parser sees every piece; then the piece is taken apart by the shape that
    the records before it had, or where it has any other, element by element.
    """

    delimiter = ","

    def __init__(self, source: Source, mapping: Mapping) -> None:
        self._source, self._mapping = source, mapping
        self.names: Sequence[str] = mapping.fields
        self.left: dict[str, int] = {}
        self.sentences: list[str] = []
        self.complete: bool | None = True
        self._keys = {name.replace("/@", "@"): name for name in self.names}
        self._held: dict[str, list[str]] = {name: [] for name in self.names}
        self._record, self._most = 1, ROWS
        self._tree = Tree(source, mapping, self._take)
        self._shape = Shape()

    def blocks(self) -> Iterator[Block]:
        """Yield the rows; raise DamagedFile behind the last one before a damage."""
        fault: SourceFault | None = None
        # One thread parses a piece while this one takes it apart, and hands over what stands in those before.
        with self._source.open() as raw, ThreadPoolExecutor(1) as worker:
            reader = TextReader(raw)
            pieces = self._pieces(reader)
            piece, fault = self._ahead(worker, pieces)
            while piece is not None:
                columns, fault = self._parsed(piece)
                piece, fault = (None, fault) if fault or piece.last else self._ahead(worker, pieces)
                if columns is not None:
                    self._add(columns)
                while self._ready(at_end=piece is None):
                    yield self._block()
            if reader.note:
                self.sentences.append(reader.note)
        if fault is not None:
            raise fault
        if self._record == 1:
            what = f"it has no element <{self._mapping.layout.records}>, which the mapping names"
            todo = "Name the element that is repeated for each row, by its path below the outermost one"
            raise self._mapping.refusal("mapping-records", ("source", "records"), what, todo)

    def _pieces(self, reader: TextReader) -> Iterator[tuple[str, bool, bool]]:
        """Yield the text in pieces; whether each ends behind a record, outside all comments; whether it has none."""
        rest = inside = ""
        fault: SourceFault | None = None
        chunks = reader.chunks()
        while fault is None:
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
            plain = not inside and ("!" not in piece or "<!" not in piece) and ("?" not in piece or "<?" not in piece)
            inside = inside if plain else still_inside(piece, inside)
            if piece:
                yield piece, bool(end) and not inside, plain
            if not chunk:
                break
        if fault is not None:
            raise fault

    def _ahead(
        self, worker: ThreadPoolExecutor, pieces: Iterator[tuple[str, bool, bool]]
    ) -> tuple[_Piece | None, SourceFault | None]:
        """Let the next piece be parsed, or the document be closed; return it, or why there is none."""
        try:
            found = next(pieces, None)
        except (DamagedFile, Refused) as error:
            return None, error
        if found is None:
            return _Piece("", False, False, worker.submit(self._tree.close), last=True), None
        return _Piece(*found, worker.submit(self._tree.feed, found[0])), None

    def _parsed(self, piece: _Piece) -> tuple[Sequence[Sequence[str]] | None, SourceFault | None]:
        """Return the columns of a piece's records, None where they were handed over one by one, and what is wrong."""
        tree = self._tree
        alike = piece.clean and piece.plain and tree.parent is not None
        columns = self._shape.rows(piece.text) if alike else None
        fault: SourceFault | None = None
        try:
            piece.fed.result()
        except (DamagedFile, Refused) as error:
            columns, fault = None, error
        if columns is not None and tree.drop(len(columns[0])):
            return columns, None
        try:
            tree.harvest(self._shape, clean=piece.clean and fault is None, whole=piece.last and fault is None)
        except (DamagedFile, Refused) as error:
            fault = fault or error
        return None, fault

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
