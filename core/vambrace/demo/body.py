"""What the participant's body did, second by second: the truth that the devices then record well or badly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vambrace.demo.noise import Floats, NoiseFor
from vambrace.demo.plan import Bout, Visit, seconds

_RISE_S, _FALL_S = 35.0, 55.0
_EVERY_HALF_MINUTE = 30
_STRIDE_M = 0.76


@dataclass(frozen=True, slots=True)
class Body:
    """Series of one value a second from `start` (seconds from midnight of the workshop's clock).

    `heart_rate` in beats a minute, `cadence` in steps a minute, `walked` and `ran` in steps since the start,
    `oxygen` in percent, `path_m` in metres walked since the start.
    """

    start: int
    heart_rate: Floats
    cadence: Floats
    walked: Floats
    ran: Floats
    oxygen: Floats
    path_m: Floats

    def cut(self, series: Floats, first: int, last: int) -> Floats:
        """Return the part of a series between two clock times in seconds from midnight."""
        return series[first - self.start : last - self.start]


def live(visit: Visit, noise: NoiseFor) -> Body:
    """Play one visit's day."""
    start, stop = seconds(visit.bouts[0].start), seconds(visit.end)
    ends = [*(seconds(bout.start) for bout in visit.bouts[1:]), stop]
    lengths = [end - seconds(bout.start) for bout, end in zip(visit.bouts, ends, strict=True)]
    n = stop - start
    wanted = np.concatenate([_wanted(bout, length) for bout, length in zip(visit.bouts, lengths, strict=True)])
    cadence = np.concatenate([_cadence(bout, length) for bout, length in zip(visit.bouts, lengths, strict=True)])
    cadence = np.where(cadence > 0, cadence + noise("cadence").wander(n, 2.0, 0.97), 0.0)
    running = np.repeat([bout.kind == "running" for bout in visit.bouts], lengths)
    heart_rate = _follow(wanted) + noise("heart rate").wander(n, 2.2, 0.985)
    strain = np.clip((_follow(wanted) - 100.0) / 50.0, 0.0, 1.0)
    oxygen = np.clip(97.6 - 1.1 * strain + noise("oxygen").wander(n, 0.45, 0.98), 95.0, 99.0)
    taken = cadence / 60.0
    path_m = np.cumsum(taken * _STRIDE_M)
    return Body(start, heart_rate, cadence, np.cumsum(taken * ~running), np.cumsum(taken * running), oxygen, path_m)


def _wanted(bout: Bout, length: int) -> Floats:
    half = np.arange(length, dtype=np.float64) // _EVERY_HALF_MINUTE % 2.0
    return bout.heart_rate + bout.swing * (1.0 - 2.0 * half)


def _cadence(bout: Bout, length: int) -> Floats:
    moving = np.arange(length) % 60 < 60 - bout.stop_s
    return np.where(moving, bout.steps_per_min, 0.0)


def _follow(wanted: Floats) -> Floats:
    """Lag behind what the work asks for, faster up than down."""
    out = np.empty(len(wanted))
    level = float(wanted[0])
    for i, target in enumerate(wanted.tolist()):
        level += (target - level) / (_RISE_S if target > level else _FALL_S)
        out[i] = level
    return out


def beats(heart_rate: Floats, noise: NoiseFor) -> tuple[Floats, Floats]:
    """Turn a heart rate, one value a second, into beats: their times in whole ms, and the RR intervals that they end.

    Breathing makes the intervals swing, less so at higher rates.
    """
    n = len(heart_rate)
    jitter = noise("beats").normal(5 * n).tolist()
    rates = heart_rate.tolist()
    now = 0
    times: list[int] = []
    intervals: list[int] = []
    while True:
        rate = rates[min(now // 1000, n - 1)]
        breath = abs(now % 4000 - 2000) / 1000.0 - 1.0
        depth = 2600.0 / rate
        interval = round(60000.0 / rate + depth * breath + 6.0 * jitter[len(times)])
        now += interval
        if now >= n * 1000:
            return np.array(times, dtype=np.float64), np.array(intervals, dtype=np.float64)
        times.append(now)
        intervals.append(interval)
