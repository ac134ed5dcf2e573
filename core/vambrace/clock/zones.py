"""Wall clocks of time zones, as columns: which instant a local time is, and where there is none or two.

The zone data is always that of the package `tzdata`, never the system's: its version can be named exactly, and the
same environment gives the same instants on every machine.
"""

from __future__ import annotations

import difflib
import importlib
from dataclasses import dataclass
from datetime import UTC, datetime
from functools import lru_cache
from importlib import resources
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from vambrace.errors import VambraceError

SECOND = 1_000_000
"""Microseconds."""

_FAR = 1 << 40
_DAY_S = 86_400
# Sampled every two days. The closest changes of any zone since 1900 lie almost seven days apart (598 zones, 2026f).
_SAMPLE_S = 2 * _DAY_S
_YEARS = range(1799, 2402)
WALLS_US = tuple(int(datetime(year, 1, 1, tzinfo=UTC).timestamp()) * SECOND for year in (1800, 2401))
"""Wall-clock times, from and up to, that a zone can place; no zone has an offset before, and nobody knows one after."""


@dataclass(frozen=True, slots=True)
class Segments:
    """Stretches of one offset each: instants `start` <= t < `end`, all int64 seconds; `offset` is local minus UTC."""

    start: NDArray[np.int64]
    end: NDArray[np.int64]
    offset: NDArray[np.int64]


def zone_data_version() -> str:
    """Return the version of the zone data that every local time is read with."""
    return f"tzdata {importlib.import_module('tzdata').IANA_VERSION}"


def check_zone(name: str) -> None:
    """Raise VambraceError for a name that is no time zone, with the names that come near."""
    if name in zone_names():
        return
    what = f"{name!r} is no time zone"
    raise VambraceError(what, todo=f"Give an IANA name such as Europe/Berlin or UTC{_near(name)}")


def _near(name: str) -> str:
    folded = {known.casefold(): known for known in sorted(zone_names())}
    folded |= {known.rpartition("/")[2]: folded[known] for known in list(folded) if "/" in known}
    found = difflib.get_close_matches(name.strip().replace(" ", "_").casefold(), folded, n=3, cutoff=0.6)
    names = list(dict.fromkeys(folded[each] for each in found))
    return f"; near it: {', '.join(names)}" if names else ""


@lru_cache(maxsize=1)
def zone_names() -> frozenset[str]:
    """Return the names of all zones."""
    return frozenset(resources.files("tzdata").joinpath("zones").read_text("utf-8").split())


@lru_cache(maxsize=128)
def _zone(name: str) -> ZoneInfo:
    check_zone(name)
    with resources.files("tzdata").joinpath("zoneinfo", *name.split("/")).open("rb") as stream:
        return ZoneInfo.from_file(stream, key=name)


def from_wall(wall_us: NDArray[np.int64], name: str) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the instants of wall-clock times in a zone, and how many instants each of them could be: 0, 1 or more.

    Both in int64 microseconds; an instant is meaningful only where there is exactly one.
    """
    wall = wall_us // SECOND
    segments = _around(wall, name)
    opens, closes = segments.start + segments.offset, segments.end + segments.offset
    by_open, by_close = np.argsort(opens, kind="stable"), np.argsort(closes, kind="stable")
    opened = np.searchsorted(opens[by_open], wall, side="right")
    closed = np.searchsorted(closes[by_close], wall, side="right")
    count = opened - closed
    # Where one segment holds the wall time, the difference of the summed numbers is that segment's number.
    which = _sums(by_open)[opened] - _sums(by_close)[closed]
    offset = segments.offset[np.where(count == 1, which, 0)]
    return wall_us - offset * SECOND, count


def both_passes(wall_us: NDArray[np.int64], name: str) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return the earliest and the latest instant of wall-clock times that exist in a zone, in int64 microseconds."""
    wall = wall_us // SECOND
    segments = _around(wall, name)
    least, most = np.full(len(wall), _FAR), np.full(len(wall), -_FAR)
    for start, end, offset in zip(segments.start, segments.end, segments.offset, strict=True):
        held = (wall >= start + offset) & (wall < end + offset)
        least = np.where(held & (-offset < least), -offset, least)
        most = np.where(held & (-offset > most), -offset, most)
    return wall_us + least * SECOND, wall_us + most * SECOND


def _sums(numbers: NDArray[np.int64]) -> NDArray[np.int64]:
    return np.concatenate((np.zeros(1, np.int64), np.cumsum(numbers)))


def offsets_at(us: NDArray[np.int64], name: str) -> NDArray[np.int64]:
    """Return local time minus UTC at each instant, in seconds."""
    seconds = us // SECOND
    segments = _around(seconds, name)
    return segments.offset[np.searchsorted(segments.start, seconds, side="right") - 1]


def _around(seconds: NDArray[np.int64], name: str) -> Segments:
    """Return the segments of all years that the times lie in or near, whether they are wall times or instants."""
    days = np.unique(seconds // _DAY_S)
    near = np.unique(np.concatenate((days - 2, days + 2))).astype("datetime64[D]")
    years = np.unique(near.astype("datetime64[Y]").astype(np.int64) + 1970)
    parts = [_year(name, int(year)) for year in years if year in _YEARS] or [_year(name, 1970)]
    joined = np.array([row for part in parts for row in part], np.int64)
    return Segments(joined[:, 0], joined[:, 1], joined[:, 2])


@lru_cache(maxsize=4096)
def _year(name: str, year: int) -> tuple[tuple[int, int, int], ...]:
    """Return the segments (start, end, offset) of one zone in one UTC year."""
    zone = _zone(name)
    start = int(datetime(year, 1, 1, tzinfo=UTC).timestamp())
    end = int(datetime(year + 1, 1, 1, tzinfo=UTC).timestamp())
    edges = [start]
    samples = [*range(start, end, _SAMPLE_S), end - 1]
    known = [_offset(zone, sample) for sample in samples]
    for at in range(1, len(samples)):
        if known[at] != known[at - 1]:
            edges.append(_change(zone, samples[at - 1], samples[at]))
    return tuple((begin, stop, _offset(zone, begin)) for begin, stop in zip(edges, [*edges[1:], end], strict=True))


def _change(zone: ZoneInfo, before: int, after: int) -> int:
    """Return the first second after `before` and up to `after` at which the offset has changed."""
    old = _offset(zone, before)
    while after - before > 1:
        middle = (before + after) // 2
        if _offset(zone, middle) == old:
            before = middle
        else:
            after = middle
    return after


def _offset(zone: ZoneInfo, second: int) -> int:
    offset = datetime.fromtimestamp(second, zone).utcoffset()
    return 0 if offset is None else offset.days * _DAY_S + offset.seconds
