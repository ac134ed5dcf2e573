"""Times whole conversions against bare reading by general-purpose libraries, in one run: look at the ratios.

python tests/benchmarks/formats.py [ROWS]
"""

from __future__ import annotations

import io
import sys
import tempfile
import time
import warnings
from collections.abc import Callable
from pathlib import Path

import fitdecode
import gpxpy
import pandas as pd

from vambrace.api import convert
from vambrace.demo.fit_encoder import FitEncoder

START = 1_709_280_000
FIT_EPOCH = 631_065_600


def fit(rows: int) -> bytes:
    """Return an activity of so many seconds."""
    encoder = FitEncoder()
    encoder.define(0, 0, [(0, "enum"), (1, "uint16"), (3, "uint32z"), (4, "uint32")])
    encoder.write(0, 4, 255, 391, START - FIT_EPOCH)
    encoder.define(1, 20, [(253, "uint32"), (3, "uint8"), (0, "sint32"), (1, "sint32"), (2, "uint16")])
    for second in range(rows):
        encoder.write(1, START - FIT_EPOCH + second, 60 + second % 90, 444_412_245 + second, -328_083_217, 2600)
    return bytes(encoder.to_bytes())


def stamp(second: int) -> str:
    """Return an instant as exports write it."""
    return time.strftime("%Y-%m-%dT%H:%M:%SZ", time.gmtime(START + second))


def gpx(rows: int) -> bytes:
    """Return a track of so many points."""
    points = "".join(
        f'<trkpt lat="{37 + n / 1e6:.6f}" lon="-27.5"><ele>{n % 90}.5</ele><time>{stamp(n)}</time></trkpt>\n'
        for n in range(rows)
    )
    head = '<gpx version="1.1" creator="watch-C" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>'
    return f"{head}{points}</trkseg></trk></gpx>".encode()


def table(rows: int) -> bytes:
    """Return a table of so many rows."""
    return ("time,heart_rate,cadence\n" + "".join(f"{stamp(n)},{60 + n % 90},{n % 80}\n" for n in range(rows))).encode()


def bare_fit(data: bytes) -> None:
    """Decode every message with fitdecode."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        for _ in fitdecode.FitReader(io.BytesIO(data)):
            pass


def bare_table(data: bytes) -> None:
    """Read with pandas, times parsed."""
    pd.read_csv(io.BytesIO(data), parse_dates=["time"])


def seconds(work: Callable[[], object]) -> float:
    """Return the best of three runs."""
    spent = []
    for _ in range(3):
        begin = time.perf_counter()
        work()
        spent.append(time.perf_counter() - begin)
    return min(spent)


def main(rows: int) -> None:
    """Print a line for each format."""
    formats: tuple[tuple[str, bytes, str, Callable[[bytes], object]], ...] = (
        ("x.fit", fit(rows), "fitdecode", bare_fit),
        ("x.gpx", gpx(rows), "gpxpy", lambda data: gpxpy.parse(data.decode())),
        ("x.csv", table(rows), "pandas", bare_table),
    )
    for name, data, other, bare in formats:
        with tempfile.TemporaryDirectory() as folder:
            source = Path(folder) / name
            source.write_bytes(data)
            number = iter(range(10))
            ours = seconds(lambda: convert([source], Path(folder) / f"ds{next(number)}", jobs=1))  # noqa: B023
        theirs = seconds(lambda: bare(data))  # noqa: B023
        print(
            f"{name[2:]}  {rows:,} rows, {len(data) / 1e6:.1f} MB: convert {ours:.2f} s, "
            f"{other} alone {theirs:.2f} s, ratio {ours / theirs:.2f}"
        )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20_000)
