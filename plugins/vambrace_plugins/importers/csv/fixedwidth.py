"""Tables whose cells stand below each other: where their columns are parted, and their lines with tabs between."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from itertools import islice, pairwise
from typing import NamedTuple, TypeAlias

import numpy as np
from numpy.typing import NDArray

from vambrace.plugin import DamagedFile
from vambrace_plugins.importers.csv.lines import PREAMBLE_LINES, SALVAGE, Lines

_LINES = 1000
_WIDEST = 4000
Mask: TypeAlias = NDArray[np.bool_]


class Gap(NamedTuple):
    """What is blank between two columns: from the first place behind one to the first of the next."""

    begin: int
    end: int


def gaps_of(lines: Lines, known: Callable[[list[str]], int]) -> tuple[tuple[Gap, ...], int] | None:
    """Return the gaps between columns and how many lines stand before the header, or None for any other text.

    The first 1,000 lines show them: a gap is blank in each. `known` says how many cells of a header mean something.
    """
    first = [line.rstrip() for line in islice(lines.ahead(), _LINES)]
    if any("\t" in line or len(line) > _WIDEST for line in first):
        return None
    for before, header in enumerate(first[:PREAMBLE_LINES]):
        rows = [line for line in first[before + 1 :] if line]
        if " " not in header.strip() or not rows:
            continue
        gaps = _gaps(header, rows)
        if known(_cells(header, gaps)) > 1:
            return gaps, before
    return None


def _gaps(header: str, rows: Sequence[str]) -> tuple[Gap, ...]:
    width = max(map(len, (header, *rows)))
    filled = np.array([list(line.ljust(width)) for line in rows]) != " "
    named = np.array(list(header.ljust(width))) != " "
    edges = np.flatnonzero(np.diff(np.concatenate(([False], filled.any(axis=0) | named, [False]))))
    columns: list[tuple[int, int]] = []
    for begin, end in edges.reshape(-1, 2).tolist():
        if columns and _is_one(columns[-1], (begin, end), filled, named):
            columns[-1] = (columns[-1][0], end)
        else:
            columns.append((begin, end))
    return tuple(Gap(left[1], right[0]) for left, right in pairwise(columns))


def _is_one(left: tuple[int, int], right: tuple[int, int], filled: Mask, named: Mask) -> bool:
    """Say whether two runs of letters are one column: a name of two words, or cells of two words under one name."""
    if not named[slice(*right)].any():
        return True
    words = right[0] + int(named[slice(*right)].argmax()) - np.flatnonzero(named[: right[0]])[-1:]
    return bool((words == 2).all()) and not (filled[:, slice(*left)].any() and filled[:, slice(*right)].any())


def _cut(line: str, gap: Gap) -> int:
    """Return where the line is cut in a gap; raise ValueError where a word reaches over it, or hangs in it alone."""
    between = line[gap.begin : gap.end]
    if not between.strip():
        return gap.end
    # A cell may reach into a gap from either side.
    blank = between.find(" ")
    left = between[: blank if blank >= 0 else None] if line[gap.begin - 1] != " " else ""
    right = between[between.rfind(" ") + 1 :] if line[gap.end : gap.end + 1].strip() else ""
    if blank < 0 or len(left) + len(right) != len(between.replace(" ", "")):
        raise ValueError(between)
    return gap.begin + (len(between) - len(right) if right else len(left))


def _cells(line: str, gaps: Sequence[Gap]) -> list[str]:
    """Return the cells of a line; raise ValueError where one reaches over a gap."""
    cells, at = [], 0
    for gap in gaps:
        cut = _cut(line[: gap.end + 1], gap)
        cells.append(line[at:cut].strip())
        at = cut
    return [*cells, line[at:].strip()]


def with_tabs(lines: Lines, gaps: Sequence[Gap], before: int) -> Iterator[bytes]:
    """Yield the text with tabs between the cells; raise DamagedFile for a line whose cells are not in their columns."""
    whole = iter(lines)
    yield "".join(islice(whole, before)).encode()
    for number, line in enumerate(whole, before + 1):
        bare = line.rstrip("\r\n")
        end = line[len(bare) :]
        try:
            cells = _cells(bare, gaps) if bare.strip() else []
        except ValueError:
            shown = bare.strip()[:60]
            what = f'the cells of "{shown}" do not stand below their headers, as those of the first lines do'
            raise DamagedFile(what, where=f"line {number:,}", todo=SALVAGE) from None
        joined = "\t".join('"' + cell.replace('"', '""') + '"' if '"' in cell else cell for cell in cells)
        yield (joined + end).encode()
