"""The demo's CSV files: the ring's two exports, with decimal commas, and the observer's tally."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

from vambrace.demo.devices import Ring, Tally
from vambrace.demo.plan import UTC_OFFSET_S

_WALL = timezone(timedelta(seconds=UTC_OFFSET_S))


def ring_rate_csv(ring: Ring) -> bytes:
    """Write the heart rate in Hz, with the times of a wall clock that does not say its zone."""
    rows = zip(ring.rate_time.tolist(), ring.rate_hz_e4.tolist(), strict=True)
    lines = [f"{_wall(time)};{rate // 10_000},{rate % 10_000:04d}" for time, rate in rows]
    return _joined(["time;heart rate (Hz)", *lines], "\n").encode()


def ring_oxygen_csv(ring: Ring) -> bytes:
    """Write the oxygen saturation as a fraction, with an empty cell where there was no reading."""
    rows = zip(ring.oxygen_time.tolist(), ring.oxygen_thousandths.tolist(), strict=True)
    lines = [f"{_wall(time)};" + (f"{value // 1000},{value % 1000:03d}" if value else "") for time, value in rows]
    return _joined(["time;oxygen saturation (fraction)", *lines], "\n").encode()


def tally_csv(tally: Tally) -> bytes:
    """Write the observer's running total as a spreadsheet saves it: byte order mark, carriage returns, an offset."""
    rows = zip(tally.time.tolist(), tally.steps.tolist(), strict=True)
    lines = [f"{datetime.fromtimestamp(time, UTC).astimezone(_WALL).isoformat()},{steps}," for time, steps in rows]
    lines[0] += "start"
    return _joined(["time,cumulative steps,note", *lines], "\r\n").encode("utf-8-sig")


def _wall(time: int) -> str:
    return datetime.fromtimestamp(time + UTC_OFFSET_S, UTC).strftime("%Y-%m-%d %H:%M:%S")


def _joined(lines: list[str], end: str) -> str:
    return end.join([*lines, ""])
