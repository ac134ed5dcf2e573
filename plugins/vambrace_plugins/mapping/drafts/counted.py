"""Drafts times that are counts: of which unit, since an epoch or since a start."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from vambrace_plugins.importers.csv.timewords import TimeWords
from vambrace_plugins.mapping.drafts.looked import numbers
from vambrace_plugins.mapping.drafts.page import Entry, ask

_SCALE = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}
# Plausible dates are of 1990 to 2100; before mid-2014 a count of seconds may as well be one since 1989-12-31.
_FIRST_S, _LAST_S, _SURE_S = 631_152_000, 4_102_444_800, 1_400_000_000
_FIT_S = 631_065_600
_DAYS = (20_000, 80_000)
_MAPPED = ("s", "ms", "us", "ns")


@dataclass(frozen=True, slots=True)
class Counted:
    """A field of counts: `unit` is that in which all are plausible dates since 1970, "" where there is none."""

    found: tuple[float, ...]
    unit: str

    @property
    def epoch(self) -> bool:
        """Say whether the counts are plausible dates."""
        return bool(self.unit)

    def entries(self, words: TimeWords, start: str) -> list[Entry]:
        """Return what the times are; `start` is where the export shows one, for people."""
        if self.unit and not words.elapsed:
            return self._since_epoch(words)
        first, last = self.found[0], self.found[-1]
        goes = f"they go from {first:.15g} to {last:.15g}"
        if not words.elapsed and all(_DAYS[0] <= each <= _DAYS[1] for each in self.found):
            days = datetime(1899, 12, 30, tzinfo=UTC) + timedelta(days=first)
            question = f"serial-1900 or serial-1904, days of a spreadsheet? By the first it begins on {days:%Y-%m-%d}"
            return [Entry("format", ask(question), goes), Entry("zone", ask("UTC, or leave this line out"))]
        likely = "sure: the name says so" if words.elapsed or words.unit else f"likely: {goes}, which are no dates"
        unit = words.unit if words.unit in _MAPPED else ""
        told = Entry("unit", unit, "sure: the name says it") if unit else Entry("unit", ask(f"s, ms, us or ns: {goes}"))
        has = f"; the export has {start}" if start else ""
        question = ask(f"the instant from which they count, as in 2031-03-04T09:00:00+01:00{has}")
        return [Entry("format", "elapsed", likely), told, Entry("start", question)]

    def _since_epoch(self, words: TimeWords) -> list[Entry]:
        first = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(seconds=self.found[0] / _SCALE[self.unit])
        why = f"sure: since 1970 they begin on {first:%Y-%m-%d}, and no other unit gives a date"
        found = [Entry("format", "epoch"), Entry("unit", self.unit, why)]
        if words.epoch_s is None and self.unit == "s" and min(self.found) < _SURE_S:
            other = first + timedelta(seconds=_FIT_S)
            question = f"1970-01-01T00:00:00Z (it begins {first:%Y-%m-%d}) or 1989-12-31T00:00:00Z ({other:%Y-%m-%d})"
            return [*found, Entry("epoch", ask(question))]
        if words.epoch_s:
            since = datetime.fromtimestamp(words.epoch_s, UTC)
            return [*found, Entry("epoch", since.strftime("%Y-%m-%dT%H:%M:%SZ"), "sure: the name says it")]
        return found


def counted(cells: Sequence[str]) -> Counted:
    """Return what counts may be."""
    found = tuple(numbers(cells))
    fitting = (unit for unit, scale in _SCALE.items() if all(_FIRST_S <= each / scale <= _LAST_S for each in found))
    return Counted(found, next(fitting, "") if found else "")
