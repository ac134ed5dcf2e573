"""Holds the smallest example of each refusal that `docs/refusals.md` explains, with the way on."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Example:
    """A code, what it means, a table that is refused with it, and the options or the table that are read."""

    code: str
    meaning: str
    table: str
    options: dict[str, str]
    mended: str = ""


T = "2031-03-04T09:00:00Z"

EXAMPLES = (
    Example("empty-file", "The file holds no byte.", "", {}, f"time,heart_rate\n{T},60\n"),
    Example(
        "zone-word",
        "A short name in a header may be a time zone, and such names stand for several.",
        "time (EST),heart_rate\n2031-03-04T09:00:00,60\n",
        {"columns": "time (EST)=time", "zone": "America/New_York"},
    ),
    Example(
        "zone-two-readings",
        "The header and the cells say different things of the zone.",
        f"local time,heart_rate\n{T},60\n",
        {"columns": "local time=time"},
    ),
    Example(
        "unit-not-said",
        "A number may be in either of two units.",
        f"time,oxygen saturation\n{T},0.97\n{T},1\n",
        {"units": "oxygen saturation=fraction"},
    ),
    Example(
        "no-time-zone",
        "Times are local, and nothing says in which zone.",
        "time,heart_rate\n2031-03-04T09:00:00,60\n",
        {"zone": "Europe/Berlin"},
    ),
    Example(
        "time-two-readings",
        "A date may have its day or its month first.",
        "time,heart_rate\n03/04/2031 09:00:00,60\n",
        {"zone": "Europe/Berlin"},
        "time,heart_rate\n2031-03-04T09:00:00,60\n",
    ),
    Example(
        "header-twice",
        "Two columns have one header.",
        f"time,heart_rate,heart_rate\n{T},60,61\n",
        {},
        f"time,heart_rate\n{T},60\n",
    ),
    Example(
        "no-known-column",
        "No header names a signal.",
        f"time,qqq\n{T},60\n",
        {"columns": "qqq=heart_rate"},
    ),
    Example(
        "time-two-digit-year",
        "A year of two digits does not say its century, nor always which of three numbers it is.",
        "time,heart_rate\n03/04/31 09:00:00,60\n",
        {"century": "20", "time": "day-first", "zone": "Europe/Berlin"},
    ),
    Example(
        "no-time-column",
        "No column holds the time of a row.",
        "heart_rate,speed (m/s)\n60,1\n",
        {},
        f"time,heart_rate,speed (m/s)\n{T},60,1\n",
    ),
    Example(
        "time-without-date",
        "A time of day comes without its day.",
        "time,heart_rate\n09:00:00,60\n",
        {"date": "2031-03-04", "zone": "Europe/Berlin"},
    ),
    Example(
        "time-days-only",
        "Days come without a time of day.",
        "date,heart_rate\n2031-03-04,60\n",
        {},
        f"time,heart_rate\n{T},60\n",
    ),
)
