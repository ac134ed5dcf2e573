"""Recognises values that contradict their declared unit; it never converts them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from math import pi

import numpy as np

from vambrace.rules.catalogue import RULES
from vambrace.rules.judging import Floats, Ints, differences
from vambrace.rules.saying import unit_words
from vambrace.rules.thresholds import Thresholds
from vambrace.rules.words import Finding


@dataclass(frozen=True, slots=True)
class Band:
    """Where values lie that were read in the wrong unit: by size, in the signal's unit; `seen` is what they look like.

    The band holds what a person's device shows in the other unit, as far as it lies outside what it shows in this.
    """

    low: float
    high: float
    seen: str


BANDS: Mapping[str, tuple[Band, ...]] = {
    "heart_rate": (Band(0.3, 4.5, "a rate in Hz"), Band(1200, 15000, "a rate in /min, read as Hz")),
    "respiratory_rate": (Band(0.03, 1.5, "a rate in Hz"), Band(240, 4800, "a rate in /min, read as Hz")),
    "rr_interval": (Band(0.2, 3.5, "seconds"), Band(2e5, 3.5e6, "milliseconds, read as seconds")),
    "oxygen_saturation": (Band(0.5, 1, "a fraction"), Band(5000, 10000, "percent, read as a fraction")),
    "latitude": (Band(1000, 2.0**31, "semicircles"), Band(1e-9, pi / 2, "radians")),
    "longitude": (Band(1000, 2.0**31, "semicircles"), Band(1e-9, pi, "radians")),
    "altitude": (Band(9001, 30000, "feet"),),
    "speed": (Band(61, 350, "km/h"),),
    "body_temperature": (Band(86, 110, "degrees Fahrenheit"), Band(303, 317, "kelvin")),
    "skin_temperature": (Band(59, 108, "degrees Fahrenheit"), Band(288, 316, "kelvin")),
    "ambient_temperature": (Band(61, 130, "degrees Fahrenheit"), Band(223, 333, "kelvin")),
}
"""The bands of each signal. Both halves of a fix must look like radians: all of that square is open sea."""

_RATIOS = (
    (3.6, "speed", "km/h"),
    (3600 / 1609.344, "speed", "mi/h"),
    (3600 / 1852, "speed", "knots"),
    (1000.0, "distance", "km"),
)
"""How many times too large speed is against distance, or distance too small against speed, and what that looks like."""
_EARTH_M = 6371008.7714
"""Mean radius R1 of the GRS80 ellipsoid: Moritz, Geodetic Reference System 1980, Journal of Geodesy 74, 2000."""


class Sizes:
    """Counts the values of one channel in the bands of its signal, whatever became of them."""

    def __init__(self, recording: str, signal: str) -> None:
        """Begin without any value."""
        self._recording, self.signal, self.bands = recording, signal, BANDS.get(signal, ())
        self._n = 0
        self._low, self._high = np.inf, -np.inf
        self._inside = np.zeros(len(self.bands), np.int64)
        self._places: tuple[int, int, int | None, int | None] = (0, 0, None, None)

    def add(self, value: Floats, time: Ints, record: Ints) -> None:
        """Count values in their signal's unit (at least one, none of them NaN); `time` may hold fewer."""
        self._low, self._high = min(self._low, float(value.min())), max(self._high, float(value.max()))
        size = np.abs(value)
        inside = [((size >= band.low) & (size <= band.high)).sum() for band in self.bands]
        self._inside += np.array(inside, np.int64)
        first, _, begin, end = self._places
        first = first if self._n else int(record[0])
        if len(time):
            begin = int(time.min()) if begin is None else min(begin, int(time.min()))
            end = int(time.max()) if end is None else max(end, int(time.max()))
        self._places = (first, int(record[-1]), begin, end)
        self._n += len(value)

    def looks(self, thresholds: Thresholds) -> Band | None:
        """Return the band that holds nearly all values."""
        share = thresholds.number("unit-suspect", "share", self.signal)
        if self._n < thresholds.number("unit-suspect", "least_n", self.signal):
            return None
        return next((b for b, n in zip(self.bands, self._inside, strict=True) if n >= share * self._n), None)

    def finding(self, seen: str, evidence: str, count: int | None = None) -> Finding:
        """Return what is suspected of the channel."""
        first, last, begin, end = self._places
        worst = self._high if abs(self._high) >= abs(self._low) else self._low
        message = (
            f"the values look like {seen}, not {unit_words(self.signal).strip()}: {evidence}; nothing is converted"
        )
        severity = RULES["unit-suspect"].severity
        return Finding(
            "unit-suspect", severity, message, "", self._recording, self.signal, begin, end, first, last,
            count=self._n if count is None else count, worst=worst,
        )  # fmt: skip

    def suspected(self, band: Band) -> Finding:
        """Return the finding that the values lie in a band."""
        n = int(self._inside[self.bands.index(band)])
        size = f"{band.low:,.6g} to {band.high:,.6g} in size"
        evidence = f"{n:,} of {self._n:,} are {size} (from {self._low:.6g} to {self._high:.6g})"
        return self.finding(band.seen, evidence, n)


class Ways:
    """How far one recording went, by its speed, its distance and its positions, between rows that are near in time."""

    def __init__(self, within_s: float) -> None:
        """Begin at rest; rows that are further apart are not joined."""
        self._within_us = within_s * 1e6
        self.metres: dict[str, float] = {}
        self._last: dict[str, tuple[int, Floats]] = {}

    def add(self, kind: str, time: Ints, value: Floats) -> None:
        """Take rows in file order; `value` has one column, or latitude and longitude in degrees for `position`."""
        if kind in self._last:
            last, row = self._last[kind]
            time, value = np.concatenate([[last], time]), np.concatenate([row[None], value])
        self._last[kind] = int(time[-1]), value[-1]
        length = np.diff(time)
        near = (length > 0) & (length <= self._within_us)
        steps = _steps(kind, value, length / 1e6)
        self.metres[kind] = self.metres.get(kind, 0.0) + float(np.sum(steps[near]))

    def contradiction(self, tolerance: float, least_m: float) -> tuple[str, str, str] | None:
        """Return the signal whose unit the others contradict, what it looks like, and the evidence."""
        for known in ("distance", "position"):
            speed, other = self.metres.get("speed", 0.0), self.metres.get(known, 0.0)
            for ratio, signal, seen in _RATIOS:
                judged = signal == "speed" or known == "distance"
                far = max(speed, other) >= least_m and other > 0
                if judged and far and abs(speed / other / ratio - 1) <= tolerance:
                    evidence = (
                        f"speed adds up to {speed:,.6g} m, {known} to {other:,.6g} m, a ratio of {speed / other:.4g}"
                    )
                    return signal, seen, evidence
        return None


def _steps(kind: str, value: Floats, seconds: Floats) -> Floats:
    if kind == "speed":
        return (value[1:, 0] + value[:-1, 0]) / 2 * seconds
    if kind == "distance":
        return np.maximum(np.diff(value[:, 0]), 0)
    north = np.radians(np.diff(value[:, 0]))
    east = np.radians(differences(value[:, 1], "longitude")) * np.cos(np.radians(value[1:, 0]))
    return np.asarray(_EARTH_M * np.hypot(north, east))


def suspected(
    sizes: Mapping[tuple[str, str], Sizes], ways: Mapping[str, Ways], thresholds: Thresholds
) -> Iterator[Finding]:
    """Yield what is suspected of all channels; the keys are recording and signal."""
    looks = {key: band for key, each in sizes.items() if (band := each.looks(thresholds))}
    for (recording, signal), band in looks.items():
        if band.seen == "radians":
            both = [looks.get((recording, name)) for name in ("latitude", "longitude")]
            if signal == "longitude" or any(each is None or each.seen != "radians" for each in both):
                continue
        yield sizes[recording, signal].suspected(band)
    for recording, way in ways.items():
        told = way.contradiction(*(thresholds.number("unit-suspect", name) for name in ("tolerance", "least_m")))
        if told and (recording, told[0]) in sizes and (recording, told[0]) not in looks:
            yield sizes[recording, told[0]].finding(told[1], told[2])
