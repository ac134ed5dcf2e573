"""What separates the cells of a table, and where its header stands."""

from __future__ import annotations

import csv
from collections.abc import Callable, Iterable
from itertools import islice
from typing import NamedTuple

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.fixedwidth import Gap, gaps_of
from vambrace_plugins.importers.csv.headerrows import VALUE
from vambrace_plugins.importers.csv.lines import PREAMBLE_LINES, Lines
from vambrace_plugins.importers.csv.options import DELIMITERS, FIXED
from vambrace_plugins.importers.csv.rows import csv_fault, is_blank

NAMES = {",": "comma", ";": "semicolon", "\t": "tab", "|": "pipe"}


class Dialect(NamedTuple):
    """What separates cells, and how many lines stand before the header; `gaps` part columns of fixed width."""

    delimiter: str
    before: int
    gaps: tuple[Gap, ...] = ()


def choose_dialect(lines: Lines, said: str, known: Callable[[list[str]], int]) -> Dialect:
    """Return how the lines of a table are cut into cells.

    `known` says how many cells of a header mean something to us.

    Raise Refused where two delimiters fit equally well, or where no header is found.
    """
    if said == FIXED:
        fixed = _fixed(lines, known)
        if fixed is None:
            raise _no_header([next((line for line in lines.ahead() if line.strip()), "")])
        return fixed
    try:
        return Dialect(*_delimiter(lines, said, known))
    except Refused:
        fixed = None if said else _fixed(lines, known)
        if fixed is None:
            raise
        return fixed


def _fixed(lines: Lines, known: Callable[[list[str]], int]) -> Dialect | None:
    found = gaps_of(lines, known)
    return Dialect("\t", found[1], found[0]) if found else None


def _delimiter(lines: Lines, said: str, known: Callable[[list[str]], int]) -> tuple[str, int]:
    headers = _headers(lines, (said,) if said else DELIMITERS, known)
    counts = {one: known(header) for one, header in headers.items()}
    first, *others = sorted(headers, key=lambda one: (-counts[one], -len(headers[one])))
    best = counts[first]
    if not best or (len(headers[first]) == 1 and not said and gaps_of(lines, known)):
        return _behind_others(lines, headers[first], known, said)
    for other in others:
        if len(headers[first]) > 1 and (counts[other], len(headers[other])) == (best, len(headers[first])):
            cuts = (f"at each {NAMES[one]} ({_shown(headers[one])})" for one in (first, other))
            what = f"its header can be cut {' or '.join(cuts)}"
            ways = f"--option csv.delimiter={NAMES[first]} (or ={NAMES[other]})"
            todo = f"Say which, as in {ways}, or write only one of the two between its cells"
            raise Refused("delimiter-two-readings", what, where="line 1", todo=todo)
    return first, 0


def _headers(lines: Lines, delimiters: Iterable[str], known: Callable[[list[str]], int]) -> dict[str, list[str]]:
    """Return the first row as each delimiter cuts it; raise DamagedFile where the one that fits never ends it."""
    found: dict[str, list[str]] = {}
    fault: Exception | None = None
    for delimiter in delimiters:
        reader = csv.reader(lines.ahead(), delimiter=delimiter, strict=True, skipinitialspace=True)
        try:
            row = next((row for row in reader if not is_blank(row)), None)
        except csv.Error as error:
            if known(next(lines.ahead(), "").split(delimiter)):
                fault = csv_fault(error, 1)
            continue
        if row is None:
            what = "there is no text in it but spaces and line ends"
            raise Refused("no-header", what, todo="Export it again, or delete it", unrecognised=True)
        found[delimiter] = row
    if fault is not None and not any(map(known, found.values())):
        raise fault
    return found


def _behind_others(lines: Lines, first: list[str], known: Callable[[list[str]], int], said: str) -> tuple[str, int]:
    """Return the delimiter of a header behind other lines, and how many they are; raise Refused where there is none."""
    for before, line in enumerate(islice(lines.ahead(), PREAMBLE_LINES)):
        counts = {one: known(line.strip().split(one)) for one in ((said,) if said else DELIMITERS)}
        best = max(counts, key=lambda one: counts[one])
        if counts[best] > 1:
            return best, before
    raise _no_header(first)


def _no_header(header: list[str]) -> Refused:
    """Return the refusal of a table no line of which means anything as a header."""
    if any(VALUE.match(cell.strip()) for cell in header):
        what = f'its first line holds values ("{header[0].strip()[:40]}"), where the names of the columns belong'
        todo = "Put a line before it that names them, such as time,heart_rate"
        return Refused("no-header", what, where="line 1", todo=todo, unrecognised=True)
    what = f"no column is known by its header ({_shown(header)})"
    todo = "If it holds measurements, say of what, as in --option 'csv.columns=HEADER=heart_rate;HEADER=time', "
    todo += "or in a mapping: vambrace draft-mapping FILE"
    return Refused("no-known-column", what, where="line 1", todo=todo, unrecognised=True)


def _shown(header: list[str]) -> str:
    """Return the first cells of a header as a sentence shows them."""
    return ", ".join(f'"{cell.strip()[:40]}"' for cell in header[:6]) + (", …" if len(header) > 6 else "")
