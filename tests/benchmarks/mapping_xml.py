"""Measures the reading of a large XML export by a mapping file against libxml2's bare parse of the same bytes.

python tests/benchmarks/mapping_xml.py [--gigabytes 3]

The export is made while it is read, so that no disk is measured. Bare are: libxml2's push parser, fed in pieces, whose
tree is dropped as it grows (the only way in which such a document can be parsed in little memory), and libxml2's
parse of a whole document of 50 MB. Each runs in a process of its own; its most memory is measured.
"""

from __future__ import annotations

import argparse
import io
import resource
import subprocess
import sys
import time
from collections.abc import Iterator

from lxml import etree

from vambrace.plugin import Source, SourceBatch
from vambrace_plugins.mapping import MappedImporter, load

PIECE = 1 << 16
WHOLE_BYTES = 50 << 20
MAPPING = """
name = "vitals"
[recognise]
header = ["Record"]
[source]
kind = "xml"
records = "Record"
[time]
column = "@start"
format = "%Y-%m-%d %H:%M:%S %z"
[device]
column = "@source"
[[signals]]
field = "@value"
signal = "heart_rate"
unit = "bpm"
where = { "@type" = "pulse" }
[[signals]]
field = "@value"
signal = "respiratory_rate"
unit = "/min"
where = { "@type" = "breath" }
"""


def document(size: int) -> Iterator[bytes]:
    """Yield an export of about so many bytes in pieces: every 5,000th record has something inside."""
    yield b'<?xml version="1.0" encoding="UTF-8"?>\n<export made="2031-03-04">\n'
    done = first = 0
    while done < size:
        rows = []
        for n in range(first, first + 5_000):
            when = f"2031-03-{n // 86_400 % 28 + 1:02d} {n // 3600 % 24:02d}:{n // 60 % 60:02d}:{n % 60:02d} +0100"
            rows.append(
                f'  <Record type="{("pulse", "breath", "mood")[n % 3]}" source="band-A" unit="/min" created="{when}"'
                f' start="{when}" value="{20 + n % 40}.{n % 10}"/>\n'
            )
        rows[-1] = rows[-1].replace("/>", '><Meta key="a" value="&lt;b&gt;"/></Record>')
        first += 5_000
        block = "".join(rows).encode()
        done += len(block)
        yield block
    yield b"</export>\n"


class Stream(io.RawIOBase):
    """Pieces as a stream of bytes; `made_s` is how long their making took."""

    def __init__(self, pieces: Iterator[bytes]) -> None:
        super().__init__()
        self._pieces, self._held, self.made_s, self.size = pieces, b"", 0.0, 0

    def read(self, size: int = -1) -> bytes:
        """Return the next bytes, "" at the end."""
        while len(self._held) < size:
            begun = time.process_time()
            piece = next(self._pieces, b"")
            self.made_s += time.process_time() - begun
            if not piece:
                break
            self._held += piece
        data, self._held = self._held[:size], self._held[size:]
        self.size += len(data)
        return data


def by_mapping(stream: Stream) -> int:
    """Return how many values the mapping gives."""
    importer = MappedImporter(load("vitals.toml", MAPPING))
    source = Source("export.xml", 1, lambda: stream, importer.Options())  # type: ignore[arg-type, return-value]
    return sum(len(item) for item in importer.read(source) if isinstance(item, SourceBatch))


def bare(stream: Stream) -> int:
    """Return how many records libxml2's push parser finds, and drop the tree as it grows."""
    parser = etree.XMLPullParser(events=("pi",))
    root, n = None, 0
    while data := stream.read(PIECE):
        if root is None:
            # An event for each element would cost more than its parsing; one mark shows the root.
            data = data.replace(b'"2031-03-04">', b'"2031-03-04"><?mark?>', 1)
        parser.feed(data)
        if root is None:
            root = next(mark for _, mark in parser.read_events()).getparent()
        n += len(root) - 1
        del root[:-1]
    parser.close()
    return n


def whole(stream: Stream) -> int:
    """Return how many records libxml2 finds in a document that is parsed at once."""
    return len(etree.fromstring(stream.read(1 << 40)))


WAYS = {"mapping": by_mapping, "bare": bare, "whole": whole}


def measure(way: str, size: int) -> None:
    """Print values, megabytes a second of processor time and of the clock, and the most memory of one way."""
    stream = Stream(document(size))
    cpu, wall = time.process_time(), time.perf_counter()
    n = WAYS[way](stream)
    cpu_s = time.process_time() - cpu - stream.made_s
    wall_s = time.perf_counter() - wall - stream.made_s
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(n, stream.size / 1e6 / cpu_s, stream.size / 1e6 / wall_s, peak)


def main() -> None:
    """Measure every way in a process of its own."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--gigabytes", type=float, default=3)
    parser.add_argument("--way", choices=WAYS)
    parser.add_argument("--bytes", type=int, default=0)
    given = parser.parse_args()
    if given.way:
        measure(given.way, given.bytes)
        return
    speeds = {}
    for way in WAYS:
        size = WHOLE_BYTES if way == "whole" else int(given.gigabytes * 1e9)
        run = subprocess.run(
            [sys.executable, __file__, "--way", way, "--bytes", str(size)], capture_output=True, text=True, check=True
        )
        n, cpu, wall, peak = map(float, run.stdout.split())
        speeds[way] = cpu
        print(f"{way:8} {n:12,.0f} {cpu:6.0f} MB/s of processor time {wall:6.0f} MB/s {peak:6.0f} MB at most")
    print(f"by mapping: {speeds['mapping'] / speeds['bare']:.2f} of the bare parse in pieces (goal: at least 0.5)")


if __name__ == "__main__":
    main()
