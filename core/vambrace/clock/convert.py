"""Times of any basis to UTC, with a fault where a row has no instant or more than one."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from vambrace.batch import FAULTS, Instants, Mask, Times
from vambrace.clock import counts, isotexts
from vambrace.clock.tags import Tag, tag_of
from vambrace.clock.zones import SECOND, WALLS_US, both_passes, check_zone, from_wall, offsets_at
from vambrace.columns import plain_values, source_texts
from vambrace.errors import NoTimeZone, Refused

PLAUSIBLE_US = (631_152_000 * SECOND, 4_102_444_800 * SECOND)
"""1990-01-01 and 2100-01-01, both inclusive."""

_NO_TIME, _AMBIGUOUS, _NONEXISTENT, _IMPLAUSIBLE = (np.uint8(FAULTS.index(name) + 1) for name in FAULTS)


def to_utc(times: Times, zone: str | None, start_us: int | None = None) -> Instants:
    """Return the instants of a source's times.

    `zone` is the IANA name of where clocks stood whose times carry no zone, `start_us` the instant from which elapsed
    times count. A text that says its own offset is read by it, whatever the basis. An offset that contradicts the
    zone written beside it is `time-ambiguous`: two instants are possible.
    Raise NoTimeZone where local times need a zone, Refused ("no-start") where elapsed times need a start,
    VambraceError for a zone that does not exist.
    """
    if zone is not None:
        check_zone(zone)
    times = replace(times, values=plain_values(times.values))
    rows = _Rows.of(times)
    if times.basis == "elapsed":
        _elapsed(times, start_us, rows)
    elif times.unit == "iso8601":
        _texts(times, zone, rows)
    else:
        _counts(times, zone, rows)
    if rows.fault.any():
        rows.us = np.where(rows.fault > 0, 0, rows.us)
    zones = list(rows.zones)
    shown = "several" if len(zones) > 1 else "".join(zones)
    return Instants(rows.us, rows.fault, shown, "in file" if zones and not rows.outside else "", rows.cut, rows.leap)


def in_both_passes(times: Times, zone: str | None) -> tuple[Instants, Instants]:
    """Return the instants of a source's times as if each were in the first pass of an hour that comes twice, or second.

    They differ where a zone's clock shows a local time twice, and nowhere else.
    """
    first, second = (np.full(len(times), which, np.uint8) for which in (1, 2))
    return to_utc(replace(times, passes=first), zone), to_utc(replace(times, passes=second), zone)


def implausible(us: NDArray[np.int64]) -> Mask:
    """Return where instants lie outside the dates that any device could mean."""
    return np.asarray((us < PLAUSIBLE_US[0]) | (us > PLAUSIBLE_US[1]), np.bool_)


def _present(times: Times) -> Mask:
    return np.ones(len(times), np.bool_) if times.present is None else times.present


def time_texts(times: Times, rows: NDArray[np.intp]) -> list[str]:
    """Return the times of the given rows as the source writes them, "" where it has none."""
    there = _present(times)[rows].tolist()
    return [text if present else "" for text, present in zip(source_texts(times.written, rows), there, strict=True)]


@dataclass(slots=True)
class _Rows:
    """Instants in the making; `outside` is True once the zone from outside the file was used."""

    us: NDArray[np.int64]
    fault: NDArray[np.uint8]
    passes: NDArray[np.uint8]
    zones: dict[str, None] = field(default_factory=dict)
    outside: bool = False
    cut: int = 0
    leap: int = 0

    @classmethod
    def of(cls, times: Times) -> _Rows:
        none = np.zeros(len(times), np.uint8)
        return cls(np.zeros(len(times), np.int64), none.copy(), none if times.passes is None else times.passes)

    def local(self, at: NDArray[np.intp], wall_us: NDArray[np.int64], zone: str) -> None:
        """Place wall-clock times of some rows in a zone; those that it shows twice in the pass that is said."""
        beyond = (wall_us < WALLS_US[0]) | (wall_us >= WALLS_US[1])
        self.us[at], possible = from_wall(np.where(beyond, 0, wall_us), zone)
        fault = np.where(possible == 1, 0, np.where(possible == 0, _NONEXISTENT, _AMBIGUOUS))
        self.fault[at] = np.where(beyond, _IMPLAUSIBLE, fault)
        self.zones[zone] = None
        twice = np.flatnonzero((possible == 2) & ~beyond & (self.passes[at] > 0))
        if len(twice):
            earlier, later = both_passes(wall_us[twice], zone)
            self.us[at[twice]] = np.where(self.passes[at[twice]] == 1, earlier, later)
            self.fault[at[twice]] = 0


def _counted(times: Times, rows: _Rows) -> NDArray[np.int64]:
    """Return counts in microseconds from their epoch's; fault those that are none."""
    if isinstance(times.values, np.ndarray):
        found = counts.from_numbers(times.values, times.unit)
    else:
        found = counts.from_texts(times.values, times.unit)
    epoch = times.epoch_s * SECOND
    beyond = found.beyond | (np.abs(found.us) > counts.MOST_US - abs(epoch))
    rows.fault[beyond] = _IMPLAUSIBLE
    known = found.known & _present(times)
    rows.fault[~known] = _NO_TIME
    rows.cut = int((found.cut & known).sum())
    return np.where(beyond, 0, found.us) + epoch


def _counts(times: Times, zone: str | None, rows: _Rows) -> None:
    rows.us = _counted(times, rows)
    good = rows.fault == 0
    if not good.any():
        return
    if times.basis == "utc":
        rows.zones["UTC"] = None
        return
    at = np.flatnonzero(good)
    rows.local(at, rows.us[at], _needed(zone, times, at))
    rows.outside = True


def _elapsed(times: Times, start_us: int | None, rows: _Rows) -> None:
    if times.unit == "iso8601":
        what = "its elapsed times are written as date-times"
        raise Refused("no-start", what, todo="Give elapsed times as counts of seconds or milliseconds")
    if start_us is None:
        what = "its times are counted from a start that the file does not give"
        raise Refused("no-start", what, todo="Export it again with dates and times")
    counted = _counted(times, rows)
    rows.fault[(rows.fault == 0) & (np.abs(counted) > counts.MOST_US - abs(start_us))] = _IMPLAUSIBLE
    rows.us = np.where(rows.fault == 0, counted, 0) + start_us


def _texts(times: Times, zone: str | None, rows: _Rows) -> None:
    parsed = isotexts.parse(times.values)
    if parsed.zulu and times.present is None:
        rows.us, rows.zones["UTC"] = parsed.wall_us, None
        return
    known = parsed.known & _present(times)
    rows.fault[~known] = _NO_TIME
    rows.cut, rows.leap = int((parsed.cut & known).sum()), int((parsed.leap & known).sum())
    rows.us = parsed.wall_us - parsed.offset_s * SECOND
    tags = [tag_of(text) for text in parsed.tags.texts]
    for number, tag in enumerate(tags):
        _tagged(parsed, tag, np.flatnonzero(known & (parsed.tags.at == number)), rows)
    named = np.array([bool(tag.zone) or tag.offset_s is not None for tag in tags], np.bool_)[parsed.tags.at]
    _name_offsets(parsed, known & parsed.fixed & ~named & (rows.fault == 0), rows)
    bare = np.flatnonzero(known & ~parsed.fixed & ~named & (rows.fault == 0))
    if not len(bare):
        return
    if times.basis == "utc":
        rows.zones["UTC"] = None
        return
    rows.local(bare, parsed.wall_us[bare], _needed(zone, times, bare))
    rows.outside = True


def _tagged(parsed: isotexts.Parsed, tag: Tag, at: NDArray[np.intp], rows: _Rows) -> None:
    """Read rows by the zone written in brackets after them (RFC 9557)."""
    if not len(at) or tag.empty:
        return
    if tag.unreadable:
        rows.fault[at] = _NO_TIME
        return
    fixed, bare = at[parsed.fixed[at]], at[~parsed.fixed[at]]
    if tag.zone:
        expected = offsets_at(rows.us[fixed], tag.zone) if len(fixed) else np.zeros(0, np.int64)
        if len(bare):
            rows.local(bare, parsed.wall_us[bare], tag.zone)
        rows.zones[tag.zone] = None
    elif tag.offset_s is not None:
        expected = np.full(len(fixed), tag.offset_s)
        rows.us[bare] = parsed.wall_us[bare] - tag.offset_s * SECOND
        rows.zones[_shown(tag.offset_s)] = None
    else:
        # A zone that we do not know and need not know: the offset before it says the instant.
        rows.fault[bare] = _NO_TIME
        return
    unknown_offset = np.array([text in {"Z", "z", "-00:00", "-0000", "-00"} for text in parsed.offsets.texts], np.bool_)
    against = (parsed.offset_s[fixed] != expected) & ~unknown_offset[parsed.offsets.at[fixed]]
    rows.fault[fixed[against]] = _AMBIGUOUS


def _name_offsets(parsed: isotexts.Parsed, which: Mask, rows: _Rows) -> None:
    for offset in np.unique(parsed.offset_s[which]):
        rows.zones[_shown(int(offset))] = None


def _shown(offset_s: int) -> str:
    if offset_s == 0:
        return "UTC"
    hours, minutes = divmod(abs(offset_s) // 60, 60)
    return f"{'+' if offset_s > 0 else '-'}{hours:02d}:{minutes:02d}"


def _needed(zone: str | None, times: Times, at: NDArray[np.intp]) -> str:
    if zone is not None:
        return zone
    first = source_texts(times.values, at[:1])[0]
    what = f"its times carry no time zone (the first is {first})"
    raise NoTimeZone(what, todo="Say where its clock stood, as an IANA name: --zone Europe/Berlin")
