"""How the instants of a table's rows are written, and their texts as ISO 8601 or counts."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Literal

import pyarrow as pa

from vambrace.plugin import Times
from vambrace_plugins.importers.csv.timecells import (
    full_days,
    is_usual,
    iso_clocks,
    iso_dates,
    joined,
    numbered_months,
    tagged,
)

Unit = Literal["iso8601", "s", "ms", "us", "ns", "d"]


@dataclass(frozen=True, slots=True)
class Instant:
    """How one instant of each row is read: texts of `at` (and `date`), or counts of `unit` since `epoch_s`."""

    at: int
    date: int | None = None
    zone: int | None = None
    unit: Unit = "iso8601"
    epoch_s: int = 0
    order: str = ""
    named_zone: str = ""
    by_range: bool = False
    half_days: bool = False
    named_months: bool = False
    deciding: str = ""

    def times(self, columns: Sequence[pa.Array]) -> Times:
        """Return the times of a block's rows."""
        if self.unit != "iso8601":
            # A spreadsheet's days are those of its own clock.
            local = self.unit == "d" and self.named_zone != "Z"
            return Times(columns[self.at], self.unit, "local" if local else "utc", self.epoch_s)
        texts = full_days(columns[self.at]) if self.half_days else columns[self.at]
        texts = numbered_months(texts) if self.named_months else texts
        bare = self.date is None and self.zone is None and not (self.order or self.named_zone)
        if bare and is_usual(texts):
            return Times(texts, "iso8601", "text")
        texts = (
            iso_dates(texts, self.order)
            if self.date is None
            else joined(iso_dates(columns[self.date], self.order), texts)
        )
        texts = iso_clocks(texts)
        if self.named_zone == "Z":
            return Times(texts, "iso8601", "utc")
        if self.named_zone:
            texts = tagged(texts, pa.array([self.named_zone] * len(texts), pa.string()))
        elif self.zone is not None:
            texts = tagged(texts, columns[self.zone])
        return Times(texts, "iso8601", "text")

    @property
    def used(self) -> set[int]:
        """Return the places of the columns that are read."""
        return {at for at in (self.at, self.date, self.zone) if at is not None}

    @property
    def sentences(self) -> tuple[str, ...]:
        """Return what was decided about these times, for people."""
        found = []
        if self.unit != "iso8601":
            found.append(f"times: {self.unit} since {datetime.fromtimestamp(self.epoch_s, UTC).isoformat()[:19]}Z")
        if self.by_range:
            found.append(f"times: the header names no unit; only in {self.unit} are they dates of 1990 to 2100")
        if self.unit == "d":
            found.append("times: days rounded to the millisecond")
        if self.order and not self.named_months:
            why = f', as "{self.deciding}" can only be read so' if self.deciding else ""
            found.append(f"times: dates read {self.order.replace('-', ' ')}{why}")
        if self.named_months:
            found.append("times: English names of months read")
        if self.half_days:
            found.append("times: AM and PM read as hours of 24 (12 AM is 00)")
        if self.date is not None:
            found.append("times: date and time of day joined from two columns")
        if self.named_zone and self.named_zone != "Z":
            found.append(f"times: {self.named_zone}, as the header says")
        return tuple(found)
