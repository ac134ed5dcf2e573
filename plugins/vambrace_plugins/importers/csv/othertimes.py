"""Columns of times beside the one that is read: it is said which is read, and refused where they disagree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace.plugin import Refused, Source, Times
from vambrace_plugins.importers.csv.blocks import Block
from vambrace_plugins.importers.csv.instants import Instant
from vambrace_plugins.importers.csv.options import Said, option_key
from vambrace_plugins.importers.csv.timing import Timing, alone
from vambrace_plugins.importers.csv.vocabulary import Heading

_SECOND = 1_000_000
_MINUTE, _QUARTER = 60 * _SECOND, 900 * _SECOND


def settled(heads: Sequence[Heading], timing: Timing, said: Said, block: Block, source: Source) -> list[str]:
    """Return which column of times is read where there are others; raise Refused where these say other instants.

    `block` holds the first rows of the table.
    """
    main = timing.start.at
    others = [at for at, heading in enumerate(heads) if _is_time(heading) and at not in timing.used]
    words = heads[main].time
    if others and not (words is not None and words.told) and not timing.start.from_start:
        read = _instants(timing.start.times(block.columns), source)
        for at in others:
            other = _other(heads, at, said, block.columns)
            if other is not None:
                _compare(heads, timing.start, other, read, block, source)
    others += [at for at, heading in enumerate(heads) if _is_told_zone(heading) and at not in timing.used]
    return [f'times: read from "{_name(heads, main)}", and not from "{_name(heads, at)}"' for at in others]


def _is_told_zone(heading: Heading) -> bool:
    """Say whether the user names a column of zones, which is not read where the times have zones themselves."""
    return heading.time is not None and heading.time.told and heading.time.part in {"offset", "zone"}


def _is_time(heading: Heading) -> bool:
    return heading.time is not None and heading.time.part in {"time", "date"}


def _name(heads: Sequence[Heading], at: int) -> str:
    return heads[at].text.strip()


def _other(heads: Sequence[Heading], at: int, said: Said, columns: Sequence[pa.Array]) -> Instant | None:
    """Return how another column of times would be read, None where it says no instants by itself."""
    words = heads[at].time
    if words is None or words.part != "time" or words.elapsed or words.edge == "end":
        return None
    sample = [pc.unique(column).to_pylist() if place == at else [] for place, column in enumerate(columns)]
    try:
        found = alone(heads, at, said, sample)
    except Refused:
        return None
    return None if found.from_start else found


def _instants(times: Times, source: Source) -> tuple[NDArray[np.int64], NDArray[np.bool_], bool]:
    """Return instants in microseconds, which of them are known, and whether they are of a clock in no known zone."""
    found = replace(source, zone=source.zone or "UTC").in_both_passes(times)[0]
    # Where another zone gives other instants, the times themselves say none.
    moved = found if source.zone else replace(source, zone="Etc/GMT-1").in_both_passes(times)[0]
    return found.us, np.asarray(found.fault == 0, np.bool_), bool((found.us != moved.us).any())


def _compare(
    heads: Sequence[Heading],
    main: Instant,
    other: Instant,
    read: tuple[NDArray[np.int64], NDArray[np.bool_], bool],
    block: Block,
    source: Source,
) -> None:
    """Refuse rows of which two columns say different instants, beyond what the digits of either leave out."""
    try:
        us, known, local = _instants(other.times(block.columns), source)
    except Refused:
        return
    both = np.flatnonzero(known & read[1])
    if not len(both):
        return
    apart = read[0][both] - us[both]
    if local or read[2]:
        # Clocks of two zones are whole quarters of an hour apart.
        apart = (apart + _QUARTER // 2) % _QUARTER - _QUARTER // 2
    least = max(_step(read[0][both]), _step(us[both]))
    odd = np.flatnonzero(np.abs(apart) >= least)
    if len(odd):
        row = int(both[odd[0]])
        names = [_name(heads, each.at) for each in (main, other)]
        cells = [str(block.columns[each.at][row]).strip() for each in (main, other)]
        what = f'"{names[0]}" has "{cells[0]}" where "{names[1]}" has "{cells[1]}", which is another time'
        first, second = (f'"csv.columns={option_key(name)}=-"' for name in names)
        todo = f"Leave one out, as in --option {second} (or {first})"
        raise Refused("time-two-columns", what, where=f"row {int(block.records[row]):,}", todo=todo)


def _step(us: NDArray[np.int64]) -> int:
    """Return in which steps times are written: a minute, or a second and its parts."""
    return _MINUTE if not (us % _MINUTE).any() else _SECOND
