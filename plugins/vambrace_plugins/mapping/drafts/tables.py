"""Looks at tables of text: what parts their cells, which line names the columns, and rows from the whole file."""

from __future__ import annotations

import csv
import io
from collections import Counter
from collections.abc import Iterator, Sequence
from itertools import islice
from typing import BinaryIO

from vambrace.plugin import Refused, Source
from vambrace_plugins.importers.csv.charsets import GUESS, shows_cp1252
from vambrace_plugins.importers.csv.dialect import NAMES
from vambrace_plugins.importers.csv.encoding import detect
from vambrace_plugins.importers.csv.fixedwidth import gaps_of, with_tabs
from vambrace_plugins.importers.csv.headerrows import VALUE
from vambrace_plugins.importers.csv.lines import PREAMBLE_LINES, Lines
from vambrace_plugins.mapping.drafts.looked import MOST_ROWS, Looked, thinned
from vambrace_plugins.mapping.drafts.page import Entry, ask, shown

HEAD = 1 << 20
_PLACES, _PIECE = 20, 1 << 14
_LOOKED = 300


def look(source: Source) -> Looked:
    """Return what is seen of a table of text; raise Refused where no line names its columns."""
    with source.open() as raw:
        head = raw.read(HEAD)
        text, asked, encoding = decoded(head)
        text = text if len(head) == source.size else text[: text.rfind("\n") + 1]
        delimiter, before, header = _cut(text)
        names = [cell.strip() for cell in header]
        lines = text.splitlines(keepends=True)[before:]
        settings = [Entry("delimiter", NAMES.get(delimiter, "fixed"), f"the columns are {shown(names, 6)}"), *asked]
        if delimiter:
            rest, where = _elsewhere(raw, source.size, encoding)
            rows = [*_rows("".join(lines), delimiter), *_rows(rest, delimiter)]
        else:
            found = _fixed(text)
            rows, where = (found[1:] if found else []), ""
    table = [dict(zip(names, row, strict=False)) for row in rows if row != header and len(row) == len(names)]
    twins = [name for name, n in Counter(filter(None, names)).items() if n > 1]
    notes = [f"{shown(twins)}: two columns have one name, and only the last can be read. Rename one"] if twins else []
    read = f"the first {min(len(head), source.size):,} of {source.size:,} bytes{where}"
    return Looked("csv", thinned(table), [*settings, *_decimal(table, delimiter)], notes=notes, read=read)


def decoded(head: bytes) -> tuple[str, list[Entry], str]:
    """Return the text of the first bytes, the question of its encoding where nothing shows it, and the encoding."""
    encoding, mark = detect(head)
    try:
        # The last character may be cut.
        return head[mark:].decode(encoding, "strict"), [], encoding
    except UnicodeDecodeError as error:
        if len(head) - mark - error.start < 4 and len(head) >= HEAD:
            return head[mark:].decode(encoding, "ignore"), [], encoding
    if b"\0" in head:
        what = "it is no text, no JSON, no XML and no spreadsheet, and a mapping explains nothing else"
        raise Refused("mapping-records", what, todo="Write an importer for it: vambrace new-importer NAME")
    text = head.decode(GUESS, "replace")
    if shows_cp1252(head):
        return text, [], GUESS
    word = next((word for word in text.split() if not word.isascii()), "")[:30]
    question = ask(f'{GUESS}? Then a word in it is "{word}". Or another: {_others(head)}')
    return text, [Entry("encoding", question, "its bytes are no UTF-8, and nothing shows what they are")], GUESS


def _others(head: bytes) -> str:
    word = next((word for word in head.split() if not word.isascii()), b"")[:30]
    return ", ".join(f'{name} ("{word.decode(name, "replace")}")' for name in ("cp437", "mac-roman", "cp1250"))


def _cut(text: str) -> tuple[str, int, list[str]]:
    """Return what parts the cells ("" for columns of one width), the lines before the header, and the header."""
    found = [(best, one) for one in NAMES if (best := _header(text, one)) is not None]
    if found:
        (_, _, before, header), delimiter = max(found, key=lambda pair: pair[0][:2])
        return delimiter, before, header
    fixed = _fixed(text)
    if fixed:
        return "", 0, fixed[0]
    first = next((line.strip() for line in text.splitlines() if line.strip()), "")
    what = f'no line names the columns of a table (it begins with "{first[:60]}")'
    todo = "Put a line before the rows that names their columns, or write an importer: vambrace new-importer NAME"
    raise Refused("no-header", what, where="line 1", todo=todo)


def _header(text: str, delimiter: str) -> tuple[int, int, int, list[str]] | None:
    """Return how many rows have the width of most, that width, where the header stands, and it; None without one."""
    lines = list(islice(io.StringIO(text, newline=None), _LOOKED))
    rows = [(at, row) for at, line in enumerate(lines) if (row := next(_rows(line, delimiter), None))]
    widths = Counter(len(row) for _, row in rows if len(row) > 1)
    for width, n in sorted(widths.items(), key=lambda pair: (-pair[1], -pair[0]))[:3]:
        for at, row in rows:
            names = [cell.strip() for cell in row]
            if len(row) == width and at <= PREAMBLE_LINES and sum(map(bool, names)) > 1:
                if not any(map(VALUE.match, names)) and n > 1:
                    return n, width, at, row
                break
    return None


def _rows(text: str, delimiter: str) -> Iterator[list[str]]:
    return csv.reader(io.StringIO(text, newline=""), delimiter=delimiter, skipinitialspace=True)


def _fixed(text: str) -> list[list[str]]:
    """Return the rows of a table with columns of one width, the header first; none for any other text."""

    def named(cells: Sequence[str]) -> int:
        words = [cell.strip() for cell in cells if cell.strip()]
        return 0 if any(map(VALUE.match, words)) else len(words)

    lines = Lines(iter([text.encode()]))
    found = gaps_of(lines, named)
    if found is None:
        return []
    rows = (line.decode() for line in with_tabs(lines, *found))
    return [row for row in csv.reader(islice(rows, found[1], MOST_ROWS), delimiter="\t") if any(row)]


def _elsewhere(raw: BinaryIO, size: int, encoding: str) -> tuple[str, str]:
    """Return whole lines from places in the rest of a file, and which these are."""
    if size <= HEAD or not raw.seekable() or encoding.startswith("utf-16"):
        return "", ""
    texts = []
    for n in range(_PLACES):
        raw.seek(HEAD + max(0, size - HEAD - _PIECE) * n // (_PLACES - 1))
        piece = raw.read(_PIECE).decode(encoding, "replace")
        texts.append(piece[piece.find("\n") + 1 : piece.rfind("\n") + 1])
    return "".join(texts), f", and pieces from {_PLACES} places behind"


def _decimal(rows: Sequence[dict[str, str]], delimiter: str) -> list[Entry]:
    """Return the decimal mark where cells show one that could be read otherwise."""
    cells = [cell.strip() for row in rows for cell in row.values()]
    commas = [cell for cell in cells if cell.count(",") == 1 and cell.replace(",", "").lstrip("+-").isdigit()]
    if delimiter == "," or not commas:
        return []
    dots = any(cell.count(".") == 1 and cell.replace(".", "").lstrip("+-").isdigit() for cell in cells)
    telling = next((cell for cell in commas if len(cell.partition(",")[2]) != 3), "")
    if telling and not dots:
        return [Entry("decimal", "comma", f'sure: the cells show it ("{telling}")')]
    return [Entry("decimal", ask(f'comma or dot: what is "{telling or commas[0]}"?'))]
