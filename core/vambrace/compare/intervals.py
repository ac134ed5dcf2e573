"""What an interval says: its ends, its unit, what it rests on, and why there is none."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

Ends = tuple[float, float]

STATISTICS = ("bias", "sd_difference", "loa_lower", "loa_upper", "mae", "mape", "pearson_r", "ccc")
"""The figures that can have an interval."""


@dataclass(frozen=True, slots=True)
class Intervals:
    """95 % intervals of one group. Each of `STATISTICS` stands in `ends` or, with its reason, in `refused`.

    `unit` is what was drawn at random: the interval speaks of more of these and of nothing else. `estimates` are the
    figures that the intervals are about, `companions` narrower intervals of the same figures by Satterthwaite's
    method, `notes` sentences to print beside them.
    """

    unit: str
    n_units: int
    ends: Mapping[str, Ends]
    refused: Mapping[str, str]
    estimates: Mapping[str, float] = field(default_factory=dict)
    effective_n: float | None = None
    companions: Mapping[str, Ends] = field(default_factory=dict)
    notes: tuple[str, ...] = ()

    def no_interval(self) -> str | None:
        """Return the sentence for the figures without an interval, None where each has one."""
        by_reason: dict[str, list[str]] = {}
        for name, reason in self.refused.items():
            by_reason.setdefault(reason, []).append(name)
        parts = [f"no interval: {reason} ({', '.join(names)})" for reason, names in by_reason.items()]
        return "; ".join(parts) or None


def nothing(unit: str, n_units: int, reason: str, notes: tuple[str, ...] = ()) -> Intervals:
    """Return the refusal of every interval for one reason."""
    return Intervals(unit, n_units, {}, dict.fromkeys(STATISTICS, reason), notes=notes)


def refuse(names: Iterable[str], reason: str) -> dict[str, str]:
    """Return the same reason for several figures."""
    return dict.fromkeys(names, reason)
