"""What each device made of the body: lag, noise, artefacts, gaps and clock, in whole numbers as its file stores them.

strap-R is the reference, band-A sits on the wrist, ring-B on a finger, watch-C saw the walk. A heart rate of 0 means
that the device had none.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vambrace.demo.body import Body, beats
from vambrace.demo.noise import Floats, NoiseFor
from vambrace.demo.plan import CRATES, GATE, LADDERS, LOOM, RAIN, ROAD, WALK, Visit, seconds

Ints = NDArray[np.int64]

BAND_CLOCK_S = 3600
"""band-A's clock is an hour ahead all day: it was set by a phone that had come from the next zone."""


@dataclass(frozen=True, slots=True)
class Strap:
    """One row a second from `time` (Unix s); `rr_ms` are the intervals of the beats heard in second `rr_row`."""

    time: Ints
    heart_rate: Ints
    rr_row: Ints
    rr_ms: Ints


@dataclass(frozen=True, slots=True)
class Band:
    """One row a second as the band stamps it (Unix s); no rows while its battery was out. Laps: start, end."""

    time: Ints
    heart_rate: Ints
    temperature: Ints
    laps: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True)
class BandDay:
    """The band's day: step counters (type 6 walking, 1 running), heart rates, and readings of oxygen saturation.

    Columns: `steps` time, type, total; `heart_rate` time, rate; `oxygen` time, percent, confidence, mode.
    """

    steps: Ints
    heart_rate: Ints
    oxygen: Ints


@dataclass(frozen=True, slots=True)
class Ring:
    """Heart rate in ten-thousandths of Hz, oxygen saturation in thousandths (0: none), each with its times (Unix s)."""

    rate_time: Ints
    rate_hz_e4: Ints
    oxygen_time: Ints
    oxygen_thousandths: Ints


@dataclass(frozen=True, slots=True)
class Watch:
    """One fix every few seconds: 1e-7 degrees, decimetres, beats and steps of one foot a minute; part 1 or 2."""

    time: Ints
    latitude: Ints
    longitude: Ints
    altitude_dm: Ints
    distance_dm: Ints
    heart_rate: Ints
    cadence: Ints
    part: Ints


@dataclass(frozen=True, slots=True)
class Tally:
    """An observer's running total of steps, once a minute (Unix s)."""

    time: Ints
    steps: Ints


def wear_strap(body: Body, visit: Visit, noise: NoiseFor) -> Strap:
    """Record with dry electrodes (missed beats) for two minutes, and lose contact when the strap slips at 09:40."""
    first, last = _session(visit)
    slip = seconds("09:40") - first
    at_ms, rr = beats(body.cut(body.heart_rate, first, last), noise)
    heard = np.ones(len(at_ms), dtype=bool)
    heard[noise("missed").pick(int((at_ms < 120_000).sum()), 5)] = False
    heard &= (at_ms < slip * 1000) | (at_ms > (slip + 90) * 1000)
    at_ms, rr = at_ms[heard], np.diff(at_ms[heard], prepend=(at_ms[0] - rr[0]))
    rows = np.ceil(at_ms / 1000).astype(np.int64)
    known = (rows < last - first) & (rr < 10_000)
    rows, rr = rows[known], rr[known]
    return Strap(_unix(visit, np.arange(first, last)), _from_last_beats(rows, rr, last - first), rows, _whole(rr))


def _from_last_beats(rows: Ints, rr: Floats, n: int) -> Ints:
    """Show 60000 / (mean of the last five intervals), and nothing once three seconds passed without a beat."""
    out = np.zeros(n, dtype=np.int64)
    for row in range(n):
        stop = int(np.searchsorted(rows, row, side="right"))
        if stop and row - rows[stop - 1] < 3:
            recent = rr[max(0, stop - 5) : stop]
            out[row] = round(60000.0 * len(recent) / float(recent.sum()))
    return out


def wear_band(body: Body, visit: Visit, noise: NoiseFor) -> Band:
    """Record with lag, lock on to the steps for a while, lose the skin on the ladders, and the battery at the loom."""
    first, last = _session(visit)
    n = last - first
    rate = _optical(body, visit, noise, "band-A", delay=9, over=7, sd=1.8)
    labels = {bout.label for bout in visit.bouts}
    if CRATES in labels:
        crates = visit.span(CRATES)[0] - first
        rate[crates + 240 : crates + 330] = body.cut(body.cadence, crates + first + 210, crates + first + 211)[0]
    if LADDERS in labels:
        ladders = visit.span(LADDERS)[0] - first
        for begin in (95, 260, 431):
            rate[ladders + begin : ladders + begin + 12] = 0
    powered = np.ones(n, dtype=bool)
    if LOOM in labels:
        out = visit.span(LOOM)[0] - first + 130
        powered[out : out + 240] = False
    warmth = 24.5 + 4.0 * np.arange(n) / n + noise("warmth").wander(n, 0.4, 0.995)
    time = _unix(visit, np.arange(first, last)) + BAND_CLOCK_S
    cuts = [first, *(seconds(b.start) for b in visit.bouts if first < seconds(b.start) < last), last]
    stamped = (_unix(visit, np.array(cuts)) + BAND_CLOCK_S).tolist()
    laps = tuple(pairwise(stamped))
    return Band(time[powered], _whole(rate)[powered], _whole(warmth)[powered], laps)


def wear_band_all_day(body: Body, visit: Visit, noise: NoiseFor) -> BandDay:
    """Count steps a little low in every minute with steps, and read heart rate and oxygen now and then."""
    minutes = np.arange(60, len(body.walked) + 1, 60)
    rows = [(0, 6, 0), (0, 1, 0)]
    for kind, truth, share in ((6, body.walked, 0.97), (1, body.ran, 0.99)):
        totals = np.floor(share * truth[minutes - 1]).astype(np.int64)
        changed = np.flatnonzero(np.diff(totals, prepend=0))
        rows += [(int(minutes[i]), kind, int(totals[i])) for i in changed]
    beats_at = np.arange(300, len(body.heart_rate), 600)
    rates = body.heart_rate[beats_at] + 1.5 * noise("day rate").normal(len(beats_at))
    return BandDay(
        _stamped(visit, np.array(sorted(rows))),
        _stamped(visit, np.column_stack([beats_at, _whole(rates)])),
        _stamped(visit, _day_oxygen(body, visit, noise)),
    )


def _day_oxygen(body: Body, visit: Visit, noise: NoiseFor) -> Ints:
    """Read each hour of the night (mode 3), six times in the session (mode 1), and once off the wrist (mode 0)."""
    first, last = _session(visit)
    night = np.arange(3600, seconds("06:30"), 3600)
    spots = first + 120 + (last - first - 240) // 5 * np.arange(6)
    at = np.concatenate([night, spots])
    value = np.clip(_whole(body.oxygen[at] + 0.7 * noise("spot").normal(len(at))), 95, 99)
    confidence = np.concatenate([np.full(len(night), 4), np.array([4, 3, 3, 2, 4, 4])])
    mode = np.concatenate([np.full(len(night), 3), np.full(len(spots), 1)])
    off_wrist = [[seconds("07:10"), 71, 0, 0]]
    rows = np.vstack([np.column_stack([at, value, confidence, mode]), off_wrist])
    return rows[np.argsort(rows[:, 0], kind="stable")]


def wear_ring(body: Body, visit: Visit, noise: NoiseFor) -> Ring:
    """Read the rate every 5 s and the oxygen every 30 s; one rate is a glitch, one oxygen is absent, one is 104 %."""
    first, last = _session(visit)
    rate = _whole(_optical(body, visit, noise, "ring-B", delay=14, over=11, sd=2.4)[::5] * 10_000.0 / 60.0)
    rate[(visit.span(LOOM)[0] - first + 300) // 5] = 3000
    at = np.arange(first, last, 30)
    oxygen = _whole(body.oxygen[at - body.start] * 10 + 4.0 * noise("ring oxygen").normal(len(at)))
    oxygen = np.clip(oxygen, 950, 990)
    ladders = (visit.span(LADDERS)[0] - first) // 30
    oxygen[ladders + 4], oxygen[ladders + 9] = 0, 1040
    return Ring(_unix(visit, np.arange(first, last, 5)), rate, _unix(visit, at), oxygen)


_LATITUDE, _LONGITUDE, _METRES_A_DEGREE, _COSINE = 37.25, -27.5, 111_320.0, 0.796
"""Where the gate of the workshop's yard is: an invented place, in the open sea."""
_ROUND_M = 380.0


@dataclass(frozen=True, slots=True)
class _Way:
    """Where the wearer truly was at some clock times: metres along the way, and east and north of the gate."""

    name: str
    at: Ints
    part: Ints
    along: Floats
    east: Floats
    north: Floats


def watch_yard(body: Body, visit: Visit, noise: NoiseFor) -> Watch:
    """Follow the paced walk round the yard (120 m by 70 m), a fix every 5 s, paused by hand at the gate."""
    first, last = visit.span(WALK)
    gate_from, gate_to = visit.span(GATE)
    at = np.arange(first, last, 5)
    at = at[(at <= gate_from) | (at >= gate_to)]
    along = _walked(body, at, first)
    turn = along % _ROUND_M
    east = np.clip(turn, 0.0, 120.0) - np.clip(turn - 190.0, 0.0, 120.0)
    north = np.clip(turn - 120.0, 0.0, 70.0) - np.clip(turn - 310.0, 0.0, 70.0)
    return _watch(body, visit, noise, _Way("yard", at, np.where(at <= gate_from, 1, 2), along, east, north))


def watch_road(body: Body, visit: Visit, noise: NoiseFor) -> Watch:
    """Follow the straight way to the gate, walked and then run, a fix every 5 s; the heart rate is gone for a while."""
    first, rain, last = visit.span(ROAD)[0], *visit.span(RAIN)
    at = np.arange(first, last, 5)
    along = _walked(body, at, first)
    part = np.where(at < rain, 1, 2)
    watch = _watch(body, visit, noise, _Way("road", at, part, along, along - along[-1], np.zeros(len(at))))
    watch.heart_rate[(at >= first + 600) & (at < first + 640)] = 0
    return watch


def _walked(body: Body, at: Ints, first: int) -> Floats:
    walked: Floats = body.path_m[at - body.start] - body.path_m[first - body.start]
    return walked


def _watch(body: Body, visit: Visit, noise: NoiseFor, way: _Way) -> Watch:
    """Return fixes that stray some metres, a heart rate six seconds late, and a distance that is 2 % too long."""
    n, i = len(way.at), way.at - body.start
    east = way.east + noise(f"{way.name} east").wander(n, 1.8, 0.96)
    north = way.north + noise(f"{way.name} north").wander(n, 1.8, 0.96)
    rate = body.heart_rate[i - 6] + noise(f"{way.name} rate").wander(n, 1.5, 0.7)
    return Watch(
        _unix(visit, way.at),
        _whole((_LATITUDE + north / _METRES_A_DEGREE) * 1e7),
        _whole((_LONGITUDE + east / (_METRES_A_DEGREE * _COSINE)) * 1e7),
        _whole(4200.0 + 5.0 * north + noise(f"{way.name} up").wander(n, 8.0, 0.98)),
        _whole(way.along * 10.2),
        _whole(rate),
        _whole(body.cadence[i] / 2.0),
        way.part,
    )


def tally(body: Body, visit: Visit) -> Tally:
    """Count every step by hand, from the start of the paced walk to the last crate, and note the total each minute."""
    first, last = visit.span(WALK)[0], visit.span(CRATES)[1]
    at = np.arange(first, last + 1, 60)
    counted = body.walked[at - body.start] - body.walked[first - body.start]
    return Tally(_unix(visit, at), np.floor(counted).astype(np.int64))


def _optical(body: Body, visit: Visit, noise: NoiseFor, device: str, *, delay: int, over: int, sd: float) -> Floats:
    """Return the session's heart rate as light sees it: late, averaged over some seconds, and noisy."""
    first, last = _session(visit)
    early = max(body.start, first - delay - over)
    total = np.cumsum(body.cut(body.heart_rate, early, last))
    at = np.arange(first, last) - delay - early
    late: Floats = (total[at] - total[at - over]) / over
    return late + noise(device).wander(last - first, sd, 0.9)


def _session(visit: Visit) -> tuple[int, int]:
    return seconds(visit.session_start), seconds(visit.session_end)


def _unix(visit: Visit, at: Ints) -> Ints:
    return at.astype(np.int64) + int(visit.midnight.timestamp())


def _stamped(visit: Visit, rows: Ints) -> Ints:
    """Put the band's time in place of the seconds from midnight in the first column."""
    return np.column_stack([_unix(visit, rows[:, 0]) + BAND_CLOCK_S, rows[:, 1:]])


def _whole(values: Floats) -> Ints:
    return np.rint(values).astype(np.int64)
