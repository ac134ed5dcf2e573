"""Looks at spreadsheets: which sheet holds rows, and which row names their columns."""

from __future__ import annotations

import io
from collections.abc import Sequence
from itertools import islice

from vambrace.plugin import Refused, Source
from vambrace_plugins.importers.csv.headerrows import VALUE
from vambrace_plugins.mapping.drafts.looked import MOST_ROWS, Looked
from vambrace_plugins.mapping.drafts.page import Entry, ask, shown
from vambrace_plugins.mapping.sheetrecords import MOST_BYTES, check_archive, opened, text_of_cell

_HEADERS = 50


def look(source: Source) -> Looked:
    """Return what is seen of a spreadsheet; raise Refused where no sheet has a row that names columns."""
    data = io.BytesIO(source.read(MOST_BYTES))
    check_archive(data)
    book = opened(data)
    try:
        tables = {str(name): _table(book[name]) for name in book.sheetnames}
    finally:
        book.close()
    found = {name: table for name, table in tables.items() if table is not None}
    if not found:
        what = f"no sheet has a row that names columns ({shown(tables)})"
        raise Refused("no-header", what, todo="Put a row before the others that names their columns")
    best = max(found, key=lambda name: len(found[name][1]))
    at, rows = found[best]
    settings = []
    if len(found) > 1:
        settings = [Entry("sheet", ask(f'which of {shown(found, 9)}? This draft explains "{best}"'))]
    elif len(tables) > 1:
        settings = [Entry("sheet", best, "sure: no other sheet has a table")]
    settings += [Entry("header_row", at, "the first row that names columns")] if at > 1 else []
    return Looked("xlsx", rows, settings, read=f"the first {len(rows):,} rows")


def _table(sheet: object) -> tuple[int, list[dict[str, str]]] | None:
    """Return where the header stands, counted from 1, and the rows below it; None without one."""
    sheet.reset_dimensions()  # type: ignore[attr-defined]
    every = sheet.iter_rows(values_only=True)  # type: ignore[attr-defined]
    rows = [[text_of_cell(cell).strip() for cell in row] for row in islice(every, MOST_ROWS)]
    for at, row in enumerate(rows[:_HEADERS], 1):
        if _names(row) and at < len(rows) and any(VALUE.match(cell) for cell in rows[at]):
            return at, [dict(zip(row, cells, strict=False)) for cells in rows[at:] if any(cells)]
    return None


def _names(row: Sequence[str]) -> bool:
    return sum(map(bool, row)) > 1 and not any(map(VALUE.match, row))
