"""Who did what when in the invented study "Loom and ladder": the plan that the generator follows.

Clock times are those of the workshop's wall; 2031 lies beyond any published zone data, so its offset is written down
here and the files never depend on the zone data of the machine that writes them.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

SEED = 20310304
UTC_OFFSET_S = -3600
"""The workshop's clock less UTC: Atlantic/Azores in winter."""


@dataclass(frozen=True, slots=True)
class Bout:
    """One stretch of the day: the heart rate it asks for, and the steps per minute it takes.

    `kind` and `label` are the contract's words for activities. `swing` is added and taken off every half minute
    (climbing and coming down). `stop_s` is how many seconds of each minute are without steps.
    """

    start: str
    kind: str
    label: str
    heart_rate: float
    steps_per_min: float = 0.0
    swing: float = 0.0
    stop_s: int = 0


@dataclass(frozen=True, slots=True)
class Visit:
    """One day of P01: bouts that follow one another, and the session within it."""

    date: str
    bouts: tuple[Bout, ...]
    end: str
    session_start: str
    session_end: str

    @property
    def midnight(self) -> datetime:
        """Return the instant of the workshop's midnight before the visit."""
        return datetime.fromisoformat(self.date).replace(tzinfo=UTC) - timedelta(seconds=UTC_OFFSET_S)

    def span(self, label: str) -> tuple[int, int]:
        """Return the seconds from midnight at which the first bout of a label begins and the last one ends."""
        ends = [*(seconds(bout.start) for bout in self.bouts[1:]), seconds(self.end)]
        found = [(seconds(bout.start), end) for bout, end in zip(self.bouts, ends, strict=True) if bout.label == label]
        return found[0][0], found[-1][1]


def seconds(clock: str) -> int:
    """Return the seconds from midnight of a clock time such as 09:05 or 09:05:30."""
    parts = [int(part) for part in clock.split(":")]
    return sum(part * size for part, size in zip(parts, (3600, 60, 1), strict=False))


ROAD, RAIN = "to the workshop", "caught in the rain"
WALK, GATE, CRATES, LADDERS, LOOM = "paced walk", "at the gate", "carrying crates", "climbing ladders", "at the loom"

_MORNING = (
    Bout("00:00", "sleep", "asleep", 54),
    Bout("06:30", "household", "breakfast", 76, steps_per_min=12, stop_s=45),
    Bout("08:15", "walking", ROAD, 101, steps_per_min=110),
    Bout("08:36", "running", RAIN, 142, steps_per_min=164),
    Bout("08:38", "standing", "getting ready", 82),
)
_SESSION = (
    Bout("09:00", "rest", "sitting quietly", 63),
    Bout("09:05", "walking", WALK, 104, steps_per_min=112),
    Bout("09:15", "standing", GATE, 84),
    Bout("09:16", "walking", WALK, 106, steps_per_min=112),
    Bout("09:25", "standing", "between tasks", 82),
    Bout("09:27", "manual_work", CRATES, 124, steps_per_min=88, swing=5, stop_s=20),
    Bout("09:37", "standing", "between tasks", 86),
    Bout("09:39", "stair_climbing", LADDERS, 143, swing=9),
    Bout("09:49", "standing", "between tasks", 90),
    Bout("09:51", "manual_work", LOOM, 86, swing=2),
    Bout("10:05", "recovery", "sitting down", 67),
)
_AFTER = (
    Bout("10:10", "manual_work", LOOM + " again", 84, swing=2),
    Bout("12:30", "walking", "to the shore", 100, steps_per_min=108),
    Bout("12:45", "manual_work", LOOM + " again", 83, swing=2),
)

MAIN_VISIT = Visit("2031-03-04", (*_MORNING, *_SESSION, *_AFTER), "14:00", "09:00", "10:10")

TRIAL = Visit("2031-03-03", (Bout("15:55", "rest", "sitting quietly", 66),), "16:10", "16:00", "16:08")
"""The day before: a short try of the band, of which only a broken upload is left."""
