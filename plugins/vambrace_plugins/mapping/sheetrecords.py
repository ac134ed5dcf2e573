"""Rows of a sheet of a spreadsheet (.xlsx)."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Iterator, Sequence
from contextlib import ExitStack
from datetime import date, datetime, time, timedelta
from itertools import islice
from typing import Any

from vambrace.plugin import DamagedFile, Refused, Source
from vambrace_plugins.importers.csv.blocks import Block
from vambrace_plugins.mapping.model import Mapping
from vambrace_plugins.mapping.records import ROWS

MOST_BYTES = 1 << 30
_MOST_UNPACKED = 2 << 30
_MOST_CELLS = 2_000
_AGAIN = "Open it in a spreadsheet program and save it again, or export it as CSV"


class SheetRecords:
    """The rows below the header row of one sheet; dates and times of cells become ISO 8601."""

    delimiter = ","

    def __init__(self, source: Source, mapping: Mapping, open_: ExitStack) -> None:
        self._mapping = mapping
        self.left: dict[str, int] = {}
        self.sentences: list[str] = []
        self.complete: bool | None = True
        data = io.BytesIO(source.read(MOST_BYTES))
        check_archive(data)
        book = opened(data)
        open_.callback(book.close)
        self._rows = self._sheet(book).iter_rows(values_only=True)
        head = mapping.layout.header_row
        header = next(islice(self._rows, head - 1, head), ())[:_MOST_CELLS]
        names = [text_of_cell(cell).strip() for cell in header]
        while names and not names[-1]:
            names.pop()
        self.names: Sequence[str] = names
        self._first = 1

    def _sheet(self, book: Any) -> Any:
        wanted = self._mapping.layout.sheet
        sheets = list(book.sheetnames)
        if not wanted and len(sheets) > 1:
            what = f"it has several sheets ({_listed(sheets)}), and the mapping names none"
            raise self._mapping.refusal("mapping-records", ("source",), what, f'Add sheet = "{sheets[0]}" there')
        if wanted and wanted not in sheets:
            what = f'it has no sheet "{wanted}" (it has {_listed(sheets)})'
            raise self._mapping.refusal("mapping-records", ("source", "sheet"), what, "Name one that it has")
        sheet = book[wanted or sheets[0]]
        # What a program wrote of the sheet's size may be wrong.
        sheet.reset_dimensions()
        return sheet

    def blocks(self) -> Iterator[Block]:
        """Yield the rows; blank ones are passed over, and counted in the record numbers."""
        width = len(self.names)
        record = 0
        while rows := self._next():
            kept, records = [], []
            for row in rows:
                record += 1
                cells = [text_of_cell(cell) for cell in row]
                for at, cell in enumerate(cells[width:], width + 1):
                    if cell.strip():
                        name = f"column {at}"
                        self.left[name] = self.left.get(name, 0) + 1
                if any(cell.strip() for cell in cells[:width]):
                    kept.append([*cells[:width], *([""] * (width - len(cells)))])
                    records.append(record)
            yield Block.of_rows(records, kept, width)

    def _next(self) -> list[Sequence[Any]]:
        try:
            return list(islice(self._rows, ROWS))
        except Exception as error:
            raise DamagedFile(f"the sheet breaks off: {type(error).__name__}: {error}", todo=_AGAIN) from None


def opened(data: io.BytesIO) -> Any:
    """Return the workbook; raise Refused without the library, DamagedFile for what is none."""
    try:
        from openpyxl import load_workbook
    except ModuleNotFoundError:
        what = "spreadsheets need a library that is not installed (openpyxl)"
        raise Refused("not-installed", what, todo='Install it, as in pip install "vambrace[spreadsheets]"') from None
    try:
        return load_workbook(data, read_only=True, data_only=True)
    except Exception as error:
        what = f"it is no spreadsheet that can be read: {type(error).__name__}: {error}"
        raise DamagedFile(what[:300], todo=_AGAIN) from None


def check_archive(data: io.BytesIO) -> None:
    """Refuse a spreadsheet that is no ZIP archive, or would unpack to more than any has."""
    try:
        with zipfile.ZipFile(data) as archive:
            size = sum(each.file_size for each in archive.infolist())
    except zipfile.BadZipFile as error:
        raise DamagedFile(f"it is no whole spreadsheet: {error}", todo=_AGAIN) from None
    if size > _MOST_UNPACKED:
        what = f"it would unpack to {size:,} bytes, and at most {_MOST_UNPACKED:,} are read"
        raise Refused("too-large", what, todo="Split it, or export it as CSV")


def _listed(sheets: Sequence[str]) -> str:
    return ", ".join(f'"{name}"' for name in sheets[:6])


def text_of_cell(cell: Any) -> str:
    """Return the value of a cell as a text."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, datetime):
        return cell.isoformat()
    if isinstance(cell, date | time):
        return cell.isoformat()
    if isinstance(cell, timedelta):
        return str(cell)
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    return str(cell)
