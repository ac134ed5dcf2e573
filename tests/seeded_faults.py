"""Tables without a fault, and the faults that are put into them, each with the findings that it must give.

Records are counted from 1, below the header.
"""

from __future__ import annotations

import gzip
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta

import numpy as np

from vambrace.demo.fit_encoder import FIT_EPOCH, FitEncoder

START = datetime(2031, 3, 4, 9, 0, tzinfo=UTC)
ROWS, LONG = 300, 1000
HEAD = {
    "time": "time",
    "heart_rate": "heart rate [bpm]",
    "oxygen_saturation": "SpO2 [%]",
    "cadence": "step cadence [steps/min]",
    "speed": "speed [m/s]",
    "distance": "distance [m]",
    "altitude": "altitude [m]",
    "latitude": "latitude [deg]",
    "longitude": "longitude [deg]",
    "power": "power [W]",
    "step_count": "steps",
}
SIGNALS = tuple(HEAD)[1:]
OPTIONS = {"csv": {"counting": "total"}}

Found = tuple[str, str | None, int | None, int]
"""A finding in short: rule, signal, first record, count."""


@dataclass
class Table:
    """Rows as texts by column, and what must be found in them."""

    cells: dict[str, list[str]]
    expected: list[Found] = field(default_factory=list)
    head: dict[str, str] = field(default_factory=lambda: dict(HEAD))
    name: str = "table.csv"
    raw: bytes | None = None

    def to_bytes(self) -> bytes:
        """Return the file."""
        if self.raw is not None:
            return self.raw
        rows = [[self.head[name] for name in self.cells], *map(list, zip(*self.cells.values(), strict=True))]
        return "".join(f"{','.join(row)}\n" for row in rows).encode()

    def drop(self, rows: slice) -> None:
        """Leave rows out."""
        for column in self.cells.values():
            del column[rows]


def record(row: int) -> int:
    """Return the record number of a row."""
    return row + 1


def clean(seed: int, rows: int = ROWS) -> Table:
    """Return an invented walk, one row a second, in which nothing is wrong."""
    rng = np.random.default_rng(seed)
    t = np.arange(rows)
    speed = 1.5 + 0.3 * np.sin(t / 90) + rng.normal(0, 0.02, rows)
    distance = np.concatenate([[0], np.cumsum((speed[1:] + speed[:-1]) / 2)])
    heart = np.rint(95 + 12 * np.sin(t / 120) + rng.normal(0, 1.2, rows))
    rate = np.rint(112 + 2 * np.sin(t / 50) + rng.normal(0, 1, rows))
    columns = {
        "heart_rate": heart,
        "oxygen_saturation": np.rint(97 + rng.normal(0, 0.5, rows)).clip(95, 99),
        "cadence": rate + 20,
        "speed": speed.round(3),
        "distance": distance.round(2),
        "altitude": (400 + 20 * np.sin(t / 200)).round(1),
        "latitude": (38.7 + distance / 111_195 / 1).round(7),
        "longitude": np.full(rows, -27.2),
        "power": np.rint(180 + rng.normal(0, 15, rows)),
        "step_count": np.floor(np.cumsum(rate / 60)),
    }
    times = [(START + timedelta(seconds=int(k))).strftime("%Y-%m-%dT%H:%M:%SZ") for k in t]
    return Table({"time": times, **{name: [f"{value:.10g}" for value in each] for name, each in columns.items()}})


def _place(rng: np.random.Generator, least: int = 20) -> int:
    return int(rng.integers(least, ROWS - 130))


def _set(table: Table, name: str, row: int, value: float) -> None:
    table.cells[name][row] = f"{value:.10g}"


def spike(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng)
    _set(table, "heart_rate", row, float(table.cells["heart_rate"][row]) + 70)
    table.expected += [("rate-of-change", "heart_rate", record(row), 2), ("spike", "heart_rate", record(row), 1)]


def jump(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng)
    for k in range(row, ROWS):
        _set(table, "heart_rate", k, float(table.cells["heart_rate"][k]) + 60)
    table.expected += [("rate-of-change", "heart_rate", record(row), 1)]


def flat(table: Table, rng: np.random.Generator) -> None:
    row = int(rng.integers(20, LONG - 660))
    table.cells["heart_rate"][row : row + 640] = ["101"] * 640
    # Neighbours that happen to be equal would lengthen the stretch.
    table.cells["heart_rate"][row - 1] = table.cells["heart_rate"][row + 640] = "103"
    table.expected += [("flat-line", "heart_rate", record(row), 1)]


def gap(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng)
    table.drop(slice(row + 1, row + 91))
    table.expected += [("gap", name, record(row), 1) for name in SIGNALS]


def twice(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng)
    for column in table.cells.values():
        column.insert(row, column[row])
    table.expected += [("duplicate-time", name, record(row + 1), 1) for name in SIGNALS]


def swapped(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng)
    for column in table.cells.values():
        column[row], column[row + 1] = column[row + 1], column[row]
    # The row that stands too late holds a larger count too, and the counters take it as a fall of the next.
    lower = [
        name for name in ("distance", "step_count") if float(table.cells[name][row]) > float(table.cells[name][row + 1])
    ]
    table.expected += [("time-goes-back", name, record(row + 1), 1) for name in SIGNALS]
    table.expected += [("counter-fell", name, record(row + 1), 1) for name in lower]
    table.expected += [("refused", None, None, 1)]


def counter(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng, 60)
    below = float(table.cells["step_count"][row - 1])
    for k in range(row, ROWS):
        _set(table, "step_count", k, float(table.cells["step_count"][k]) - below)
    table.expected += [("counter-fell", "step_count", record(row), 1)]


def beyond(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng)
    table.cells["oxygen_saturation"][row] = "104"
    table.expected += [("outside-domain", "oxygen_saturation", record(row), 1)]


def odd(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng)
    table.cells["power"][row] = "4100"
    table.expected += [("outside-plausible", "power", record(row), 1)]


def rescaled(name: str, factor: float, *more: str) -> Callable[[Table, np.random.Generator], None]:
    """Return a fault: all values of a column are in another unit, which gives unit-suspect and more."""

    def fault(table: Table, rng: np.random.Generator) -> None:
        table.cells[name] = [f"{float(cell) * factor:.10g}" for cell in table.cells[name]]
        table.expected += [("unit-suspect", name, record(0), ROWS), *((rule, name, record(0), ROWS) for rule in more)]

    return fault


def feet(table: Table, rng: np.random.Generator) -> None:
    metres = np.array([float(cell) for cell in table.cells["altitude"]]) + 2800
    table.cells["altitude"] = [f"{value / 0.3048:.6f}" for value in metres]
    table.expected += [(rule, "altitude", record(0), ROWS) for rule in ("unit-suspect", "outside-plausible")]


def radians(table: Table, rng: np.random.Generator) -> None:
    for name in ("latitude", "longitude"):
        table.cells[name] = [f"{np.radians(float(cell)):.10f}" for cell in table.cells[name]]
    table.expected += [("unit-suspect", "latitude", record(0), ROWS)]


def semicircles(table: Table, rng: np.random.Generator) -> None:
    for name in ("latitude", "longitude"):
        table.cells[name] = [f"{float(cell) * 2**31 / 180:.0f}" for cell in table.cells[name]]
        table.expected += [("unit-suspect", name, record(0), ROWS), ("outside-domain", name, record(0), ROWS)]


def seconds_for_ms(table: Table, rng: np.random.Generator) -> None:
    times = table.cells["time"]
    gaps = rng.normal(0.8, 0.02, ROWS).round(3)
    table.cells = {"time": times, "power": table.cells["power"], "rr_interval": [f"{gap:g}" for gap in gaps]}
    table.head["rr_interval"] = "RR [ms]"
    table.expected += [(rule, "rr_interval", record(0), ROWS) for rule in ("unit-suspect", "outside-domain")]


def locked(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng)
    # Ramps on both sides: the lock itself must be the only fault.
    rate = np.array([float(cell) for cell in table.cells["heart_rate"]])
    steps = np.array([float(cell) for cell in table.cells["cadence"]])
    ramp = np.clip(np.minimum(np.arange(ROWS) - (row - 10), (row + 110) - np.arange(ROWS)) / 10, 0, 1)
    mixed = rate + ramp * (steps - rate)
    table.cells["heart_rate"] = [
        f"{value:.10g}" for value in np.where(ramp == 1, steps, np.rint(mixed - 3 * (ramp > 0)))
    ]
    first = int(np.argmax(np.abs(np.array([float(c) for c in table.cells["heart_rate"]]) - steps) <= 2))
    table.expected += [("rate-follows-steps", "heart_rate", record(first), 1)]


def garbled(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng)
    table.cells["heart_rate"][row] = "error"
    table.expected += [("not-a-number", "heart_rate", record(row), 1)]


def untimed(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng)
    table.cells["time"][row] = ""
    table.expected += [("no-time", name, record(row), 1) for name in SIGNALS]


def never(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng)
    table.cells["time"][row] = "1970-01-01T00:00:00Z"
    table.expected += [("time-implausible", name, record(row), 1) for name in SIGNALS]


def half(table: Table, rng: np.random.Generator) -> None:
    row = _place(rng)
    table.cells["longitude"][row] = ""
    table.expected += [("half-a-fix", "latitude", record(row), 1)]


def unended(table: Table, rng: np.random.Generator) -> None:
    table.raw = table.to_bytes()[:-1]
    table.expected += [("possibly-cut", None, None, 1)]


def zoneless(table: Table, rng: np.random.Generator) -> None:
    table.cells["time"] = [cell.removesuffix("Z") for cell in table.cells["time"]]
    table.expected += [("zone-unknown", None, None, 1)]


def stranger(table: Table, rng: np.random.Generator) -> None:
    table.cells["mood"] = ["3"] * ROWS
    table.head["mood"] = "mood"
    table.expected += [("not-carried", None, None, ROWS)]


def few(table: Table, rng: np.random.Generator) -> None:
    table.drop(slice(int(rng.integers(3, 9)), None))
    n = len(table.cells["time"])
    table.expected += [("too-few-samples", name, record(0), n) for name in SIGNALS]


def uneven(table: Table, rng: np.random.Generator) -> None:
    at, times, off = START, [], 0
    for _ in range(ROWS):
        times.append(at.strftime("%Y-%m-%dT%H:%M:%SZ"))
        step = int(rng.choice([2, 4], p=[0.6, 0.4]))
        off += step == 4
        at += timedelta(seconds=step)
    off -= step == 4
    table.cells = {"time": times, "power": table.cells["power"]}
    table.expected += [("sampling-irregular", "power", record(0), off)]


def cut_gzip(table: Table, rng: np.random.Generator) -> None:
    whole = gzip.compress(table.to_bytes(), mtime=0)
    table.raw, table.name = whole[: len(whole) // 2], "table.csv.gz"
    table.expected += [("file-cut-short", None, None, 1)]


def broken_gzip(table: Table, rng: np.random.Generator) -> None:
    whole = bytearray(gzip.compress(table.to_bytes(), mtime=0))
    whole[-8] ^= 1
    table.raw, table.name = bytes(whole), "table.csv.gz"
    table.expected += [("checksum-wrong", None, None, 1)]


def _fit(rng: np.random.Generator) -> bytes:
    fit = FitEncoder()
    start = int(START.timestamp()) - FIT_EPOCH
    fit.define(0, 0, [(0, "enum"), (1, "uint16"), (2, "uint16"), (3, "uint32z"), (4, "uint32")])
    fit.write(0, 4, 255, 1, 7, start)
    fit.define(1, 20, [(253, "uint32"), (3, "uint8")])
    for k, rate in enumerate((95 + 9 * np.sin(np.arange(600) / 40) + rng.normal(0, 1, 600)).astype(int).tolist()):
        fit.write(1, start + k, rate)
    return fit.to_bytes()


_CARRIED_NOT: Found = ("not-carried", None, None, 1)
"""A FIT file says of which type it is, and no signal is that."""


def cut_fit(table: Table, rng: np.random.Generator) -> None:
    whole = _fit(rng)
    table.raw, table.name = whole[: int(rng.integers(400, len(whole) - 20))], "strap.fit"
    table.expected += [("file-cut-short", None, None, 1), _CARRIED_NOT]


def broken_fit(table: Table, rng: np.random.Generator) -> None:
    whole = bytearray(_fit(rng))
    whole[-1] ^= 0x55
    table.raw, table.name = bytes(whole), "strap.fit"
    table.expected += [("checksum-wrong", None, None, 1), _CARRIED_NOT]


def _gpx() -> bytes:
    points = "".join(
        f'<trkpt lat="{38.7 + k / 1e5:.6f}" lon="-27.2"><ele>{400 + k / 10:.1f}</ele>'
        f"<time>{(START + timedelta(seconds=k)).strftime('%Y-%m-%dT%H:%M:%SZ')}</time></trkpt>\n"
        for k in range(300)
    )
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<gpx version="1.1" creator="demo" '
        f'xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>{points}</trkseg></trk></gpx>\n'
    ).encode()


def cut_gpx(table: Table, rng: np.random.Generator) -> None:
    whole = _gpx()
    table.raw, table.name = whole[: int(rng.integers(len(whole) // 2, len(whole) - 40))], "walk.gpx"
    table.expected += [("file-cut-short", None, None, 1)]


def _night(table: Table, off_s: float = 0, at: int = 40) -> None:
    """Put 100 epochs of 30 s in place of the walk; from one on they begin, and end, so many seconds later."""
    begins = [START + timedelta(seconds=30 * k + (off_s if k >= at else 0)) for k in range(100)]
    form = "%Y-%m-%dT%H:%M:%SZ"
    table.cells = {
        "start": [each.strftime(form) for each in begins],
        "end": [(each + timedelta(seconds=30)).strftime(form) for each in begins],
        "sleep_stage": [str(k // 7 % 4) for k in range(100)],
    }
    table.head |= {"start": "start time", "end": "end time", "sleep_stage": "sleep stage [stage]"}


def shifted(table: Table, rng: np.random.Generator) -> None:
    at = int(rng.integers(5, 90))
    _night(table, 7, at)
    table.expected += [("epoch-misaligned", "sleep_stage", record(at), 100 - at)]


def overlapping(table: Table, rng: np.random.Generator) -> None:
    _night(table)
    at = int(rng.integers(5, 90))
    table.cells["end"][at] = table.cells["end"][at + 1]
    table.expected += [("overlap", "sleep_stage", record(at + 1), 1)]


def codeless(table: Table, rng: np.random.Generator) -> None:
    _night(table)
    at = int(rng.integers(5, 90))
    table.cells["sleep_stage"][at] = "7"
    # The epoch that is set aside leaves an interval of 60 s in place of one of 30: no gap yet.
    table.expected += [("unknown-code", "sleep_stage", record(at), 1)]


FAULTS: dict[str, Callable[[Table, np.random.Generator], None]] = {
    "a spike": spike,
    "a jump": jump,
    "a flat line": flat,
    "a gap": gap,
    "a row twice": twice,
    "two rows swapped": swapped,
    "a counter that begins again": counter,
    "a saturation of 104 %": beyond,
    "a power of 4100 W": odd,
    "saturation as a fraction": rescaled("oxygen_saturation", 0.01, "outside-domain"),
    "heart rate in Hz": rescaled("heart_rate", 1 / 60, "outside-plausible"),
    "speed in km/h": rescaled("speed", 3.6),
    "speed in mi/h": rescaled("speed", 2.236936),
    "distance in km": rescaled("distance", 0.001),
    "altitude in feet": feet,
    "positions in radians": radians,
    "positions in semicircles": semicircles,
    "seconds for milliseconds": seconds_for_ms,
    "heart rate locked to steps": locked,
    "a word for a number": garbled,
    "a row without time": untimed,
    "a time in 1970": never,
    "half a fix": half,
    "a last line without end": unended,
    "times without zone": zoneless,
    "a field without signal": stranger,
    "a few rows": few,
    "uneven sampling": uneven,
    "a packed file that is cut": cut_gzip,
    "a packed file with a wrong checksum": broken_gzip,
    "a FIT file that is cut": cut_fit,
    "a FIT file with a wrong checksum": broken_fit,
    "a GPX file that is cut": cut_gpx,
    "epochs that begin later from one on": shifted,
    "an epoch that lasts too long": overlapping,
    "a sleep stage without meaning": codeless,
}
"""What can be wrong, one fault each, in words."""


def seeded(name: str, seed: int) -> Table:
    """Return a clean table with one fault at a place that the seed chooses."""
    table = clean(seed, LONG if name == "a flat line" else ROWS)
    FAULTS[name](table, np.random.default_rng([seed, 7]))
    return table
