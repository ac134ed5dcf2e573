"""Times the reading of a large table to canonical columns against pandas' C reader, both with times parsed.

python tests/benchmarks/csv_speed.py [ROWS]

The two take turns in one run, and the best of each counts: look at the ratio. Ours also screens every value and
finds out by itself what each column is.
"""

from __future__ import annotations

import io
import sys
import time
from collections.abc import Callable, Sequence
from typing import BinaryIO, cast

import pandas as pd

from vambrace.batch import Batch
from vambrace.pipeline.reading import read
from vambrace.plugin import Rejected, Source
from vambrace_plugins.importers.csv import CsvImporter, Options

START = 1_709_280_000
TURNS = 15


class Kept:
    """Counts canonical rows, and lets them go."""

    def __init__(self) -> None:
        """Begin at none."""
        self.rows = 0

    def add(self, batch: Batch, recording_id: str) -> None:
        """Count the rows of a batch."""
        self.rows += len(batch)

    def set_aside(self, recording_id: str, rejected: Sequence[Rejected]) -> None:
        """Set nothing aside: the table has no odd value."""
        raise AssertionError(rejected[0])


def stamp(second: int) -> str:
    """Return an instant as exports write it."""
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(START + second))


def narrow(rows: int) -> tuple[bytes, int]:
    """Return a table of three signals, and how many."""
    lines = (f"{stamp(n)},{60 + n % 90},{n % 80},{20 + n % 7 / 10:.1f}\n" for n in range(rows))
    return ("time,heart_rate,cadence,ambient_temperature_degC\n" + "".join(lines)).encode(), 3


def wide(rows: int) -> tuple[bytes, int]:
    """Return a table of seven signals with more decimals, and how many."""
    header = "time,latitude,longitude,altitude (m),speed (m/s),heart_rate,cadence,power\n"
    lines = (
        f"{stamp(n)},{37 + n / 1e6:.6f},{-27 - n / 1e6:.6f},{n % 900 / 10:.1f},{n % 3000 / 1000:.3f},{60 + n % 90},"
        f"{n % 80},{n % 400}\n"
        for n in range(rows)
    )
    return (header + "".join(lines)).encode(), 7


def ours(data: bytes) -> int:
    """Read a table as a conversion does, up to its canonical columns; return the number of samples."""
    kept = Kept()
    source = Source("a.csv", len(data), lambda: cast(BinaryIO, io.BytesIO(data)), Options())
    reading = read(CsvImporter(), source, kept, str, None)
    if reading.error is not None:
        raise reading.error
    return kept.rows


def bare(data: bytes) -> None:
    """Read with pandas, times parsed."""
    pd.read_csv(io.BytesIO(data), parse_dates=["time"])


def best(work: Sequence[Callable[[], object]]) -> list[float]:
    """Return the shortest time of each, the works taking turns."""
    found = [float("inf")] * len(work)
    for _ in range(TURNS):
        for at, one in enumerate(work):
            begin = time.perf_counter()
            one()
            found[at] = min(found[at], time.perf_counter() - begin)
    return found


def main() -> None:
    """Print the times and their ratio for each table."""
    rows = int(sys.argv[1]) if len(sys.argv) > 1 else 216_000
    for make in (narrow, wide):
        data, signals = make(rows)
        if ours(data) != rows * signals:
            raise SystemExit("not every value came out")
        mine, theirs = best([lambda data=data: ours(data), lambda data=data: bare(data)])  # type: ignore[misc]
        shown = f"{rows:,} rows, {signals} signals, {len(data) / 1e6:.1f} MB"
        print(f"{shown}: ours {mine * 1000:.0f} ms, pandas {theirs * 1000:.0f} ms, ratio {mine / theirs:.2f}")


if __name__ == "__main__":
    main()
