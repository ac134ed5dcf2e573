"""How the instants of a table's rows are written, and their texts as ISO 8601 or counts."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime
from typing import Literal

import pyarrow as pa

from vambrace.plugin import Times
from vambrace_plugins.importers.csv.scientific import refuse_rounded
from vambrace_plugins.importers.csv.serials import serial_dates
from vambrace_plugins.importers.csv.stopwatch import lengths, seconds
from vambrace_plugins.importers.csv.timecells import (
    full_days,
    is_usual,
    iso_clocks,
    iso_dates,
    joined,
    numbered_months,
    on_weekdays,
    tagged,
    unpacked,
)
from vambrace_plugins.importers.csv.zonewords import with_zones, zones_parted, zones_said

Unit = Literal["iso8601", "s", "ms", "us", "ns", "d"]


@dataclass(frozen=True, slots=True)
class Instant:
    """How one instant of each row is read: texts of `at` (and `date`), or counts of `unit` since `epoch_s`.

    `zone_said` is the header of the column of zones, and the unit of its offsets where that says it. `zones` holds what
    short names of zones mean, `century` the first digits of years with two, and `stopwatch` what two parts of a time
    since a start are (`mm:ss` or `hh:mm`; `h:mm:ss` where all have three), `length` is `min` or `h`, `step` what the
    last digit of counts in scientific notation stands for, and `zero_day` the day of Unix time from which dates are
    numbered; all are empty where that is not said or not needed.
    """

    at: int
    date: int | None = None
    zone: int | None = None
    unit: Unit = "iso8601"
    epoch_s: int = 0
    order: str = ""
    named_zone: str = ""
    by_range: bool = False
    half_days: bool = False
    packed: bool = False
    named_months: bool = False
    deciding: str = ""
    header: str = ""
    zone_said: tuple[str, str] = ("", "")
    century: str = ""
    from_start: bool = False
    stopwatch: str = ""
    step: str = ""
    length: str = ""
    zero_day: int | None = None
    zones: Mapping[str, str] = field(default_factory=dict)

    def times(self, columns: Sequence[pa.Array]) -> Times:
        """Return the times of a block's rows."""
        times = self._times(columns)
        texts = columns[self.at]
        if times.values is texts:
            return times
        return replace(times, texts=texts if self.date is None else joined(columns[self.date], texts))

    def _times(self, columns: Sequence[pa.Array]) -> Times:
        if self.unit != "iso8601":
            # A spreadsheet's days are those of its own clock.
            local = self.unit == "d" and self.named_zone != "Z"
            counts = columns[self.at]
            if not (self.stopwatch or self.length or self.step):
                refuse_rounded(self.header, self.unit, counts)
            if self.stopwatch or self.length:
                counts = seconds(counts, self.stopwatch) if self.stopwatch else lengths(counts, self.length)
            return Times(counts, self.unit, "local" if local else "utc", self.epoch_s)
        bare = self.date is None and self.zone is None and not (self.order or self.named_zone or self.half_days)
        if bare and is_usual(columns[self.at]):
            return Times(columns[self.at], "iso8601", "text")
        texts, zones = zones_parted(columns[self.at], self.zones, self.header)
        texts = full_days(texts) if self.half_days else unpacked(texts) if self.packed else texts
        texts = self._dates(texts) if self.date is None else joined(self._dates(columns[self.date]), texts)
        texts = with_zones(iso_clocks(texts), zones)
        if self.named_zone == "Z":
            return Times(texts, "iso8601", "utc")
        if self.named_zone:
            texts = tagged(texts, pa.array([self.named_zone] * len(texts), pa.string()))
        elif self.zone is not None:
            texts = tagged(texts, zones_said(columns[self.zone], self.zones, *self.zone_said))
        return Times(texts, "iso8601", "text")

    def _dates(self, texts: pa.Array) -> pa.Array:
        """Return dates, with or without a time of day, with the year first."""
        if self.zero_day is not None:
            return serial_dates(texts, self.zero_day)
        if not self.named_months:
            return iso_dates(texts, self.order, self.century)
        return on_weekdays(iso_dates(numbered_months(texts), self.order, self.century), texts)

    @property
    def used(self) -> set[int]:
        """Return the places of the columns that are read."""
        return {at for at in (self.at, self.date, self.zone) if at is not None}

    @property
    def sentences(self) -> tuple[str, ...]:
        """Return what was decided about these times, for people."""
        found = self._of_counts() if self.unit != "iso8601" else []
        if self.order and not self.named_months:
            why = f', as "{self.deciding}" can only be read so' if self.deciding else ""
            found.append(f"times: dates read {self.order.replace('-', ' ')}{why}")
        if self.named_months:
            found.append("times: English names of months read; a date is no time on another weekday than it says")
        if self.packed:
            found.append("times: digits read as a date and a clock, as they are a date in no unit since 1970")
        if self.century:
            found.append(f"times: years of two digits are of {self.century}00 to {self.century}99, as csv.century says")
        if self.unit == "iso8601":
            found += [f"times: {word} read as {zone}, as csv.zones says" for word, zone in sorted(self.zones.items())]
        if self.half_days:
            found.append("times: AM and PM read as hours of 24 (12 AM is 00)")
        if self.zero_day is not None:
            found.append("times: dates are days as spreadsheets count them, as csv.time says")
        if self.date is not None:
            found.append("times: date and time of day joined from two columns")
        if self.named_zone and self.named_zone != "Z":
            found.append(f"times: {self.named_zone}, as the header says")
        return tuple(found)

    def _of_counts(self) -> list[str]:
        """Return what was decided about times that count since an instant."""
        what = self.stopwatch or self.length or self.unit
        what += " (and h:mm:ss)" if self.stopwatch in {"mm:ss", "hh:mm"} else ""
        why = ", the start that csv.start gives" if self.from_start else ""
        since = datetime.fromtimestamp(self.epoch_s, UTC).isoformat()[:19]
        found = [f"times: {what} since {since}Z{why}"]
        if self.stopwatch and self.deciding:
            found.append(f"times: two parts read as {self.stopwatch}, as {self.deciding}")
        if self.by_range:
            found.append(f"times: the header names no unit; only in {self.unit} are they dates of 1990 to 2100")
        if self.step:
            found.append(f"times: counts in scientific notation, with digits to {self.step}")
        if self.unit == "d":
            found.append("times: days rounded to the millisecond")
        return found
