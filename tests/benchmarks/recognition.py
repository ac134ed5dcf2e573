"""Times recognition over 1,000 mixed files, besides reading them once for their digests and first bytes.

python tests/benchmarks/recognition.py [FILES]

It ends with status 1 where the median costs a millisecond or more, or a file is opened more than once.
"""

from __future__ import annotations

import contextlib
import os
import statistics
import sys
import tempfile
import time
from collections import Counter
from itertools import islice
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

from foreign_types import binary_files, text_files
from vambrace import registry
from vambrace.errors import SourceError
from vambrace.plugin import Head
from vambrace.recognise import recognise
from vambrace.sources import Entry, scan, walk

ROOT = Path(__file__).parents[2]
OWN = (ROOT / "core" / "vambrace" / "demo" / "data", ROOT / "fixtures")
LIMIT_MS = 1.0
PACKED = (b"PK", b"\x1f\x8b", b"BZh", b"\xfd7z", b"\x28\xb5\x2f\xfd")
"""How packed files begin: those are opened once for their list and once for each member."""


def written(folder: Path, count: int, scratch: Path) -> None:
    """Write so many different files: half foreign, half of the formats that we read, no archives among them."""
    own = [path for place in OWN for path in sorted(place.rglob("*")) if path.is_file() and path.suffix != ".zip"]
    foreign = {**binary_files(scratch), **text_files(scratch)}
    kinds = [(path.name, path.read_bytes()) for path in own if path.stat().st_size]
    kinds += [(name, data) for name, data in foreign.items() if not data.startswith(PACKED)]
    for number in range(count):
        name, data = kinds[number % len(kinds)]
        (folder / f"{number:04}-{name}").write_bytes(data + b"\n" * (number // len(kinds)))


def opened(entries: list[Entry], counts: Counter[str]) -> list[tuple[Entry, Head]]:
    """Read every file once, and count how often each is opened."""
    watching = [True]

    def hook(event: str, arguments: tuple[object, ...]) -> None:
        if watching[0] and event == "open" and isinstance(arguments[0], str):
            counts[os.path.basename(arguments[0])] += 1

    sys.addaudithook(hook)
    heads = []
    for entry in entries:
        scanned = scan(entry)
        heads.append((entry, Head(entry.name, scanned.head, scanned.content_size)))
    watching[0] = False
    return heads


def timed(heads: list[tuple[Entry, Head]]) -> list[float]:
    """Return the milliseconds that recognising each file takes."""
    importers = registry.load().importers.values()
    took = []
    for _, head in heads:
        began = time.perf_counter_ns()
        with contextlib.suppress(SourceError):
            recognise(head, importers)
        took.append((time.perf_counter_ns() - began) / 1e6)
    return took


def main(count: int) -> int:
    """Print what it costs, and return the status."""
    with tempfile.TemporaryDirectory() as place, tempfile.TemporaryDirectory() as scratch:
        folder = Path(place)
        written(folder, count, Path(scratch))
        entries = [entry for entry in walk([place]) if entry.kind == "content"]
        counts: Counter[str] = Counter()
        began = time.perf_counter()
        heads = opened(entries, counts)
        scanning = (time.perf_counter() - began) * 1000 / len(entries)
        timed(list(islice(heads, 10)))
        took = timed(heads)
    most = max(counts[path.name] for path in map(Path, (entry.path for entry in entries)))
    median, worst = statistics.median(took), max(took)
    print(f"files             {len(entries):,}, each opened at most {most} time(s) for digest and first bytes")
    print(f"open and hash     {scanning:.3f} ms a file (mean)")
    print(f"recognition       {median:.3f} ms a file (median), {worst:.3f} ms at most; the limit is {LIMIT_MS:g} ms")
    return int(median >= LIMIT_MS or most != 1)


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000))
