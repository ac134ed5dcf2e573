"""Measures the most memory that whole conversions of large archives take, each in a process of its own.

python tests/benchmarks/memory.py [--gigabytes 3] [--format gpx] [--format csv] [--pack zip] [--export]
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tarfile
import tempfile
import time
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import IO

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv

START = 1_262_304_000
BLOCK_ROWS = 20_000
GPX_HEAD = '<gpx version="1.1" creator="watch-C" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>\n'
GPX_TAIL = "</trkseg></trk></gpx>\n"


def stamps(first: int) -> pa.Array:
    """Return a block of instants, a second apart, as exports write them."""
    seconds = np.arange(START + first, START + first + BLOCK_ROWS).astype("datetime64[s]")
    texts = pc.replace_substring(pa.array(seconds).cast(pa.string()), " ", "T")
    return pc.binary_join_element_wise(texts, "Z", "")


def gpx(size: int) -> Iterator[bytes]:
    """Yield a track of about so many bytes, block by block."""
    yield GPX_HEAD.encode()
    done = first = 0
    while done < size:
        rows = (
            f'<trkpt lat="{37 + n % 9973 / 1e6:.6f}" lon="-27.5"><ele>{n % 90}.5</ele><time>{at}</time></trkpt>\n'
            for n, at in enumerate(stamps(first).to_pylist(), first)
        )
        block = "".join(rows).encode()
        done, first = done + len(block), first + BLOCK_ROWS
        yield block
    yield GPX_TAIL.encode()


def _csv_block(first: int) -> bytes:
    n = np.arange(first, first + BLOCK_ROWS)
    target = pa.BufferOutputStream()
    how = pa.csv.WriteOptions(include_header=False, quoting_style="none")
    columns = {"time": stamps(first), "heart_rate": 60 + n % 90, "cadence": n % 80}
    pa.csv.write_csv(pa.table(columns), target, how)
    return target.getvalue().to_pybytes()


def table(size: int) -> Iterator[bytes]:
    """Yield a table of about so many bytes, block by block."""
    yield b"time,heart_rate,cadence\n"
    done = first = 0
    while done < size:
        block = _csv_block(first)
        done, first = done + len(block), first + BLOCK_ROWS
        yield block


CONTENTS = {"gpx": gpx, "csv": table}


def write_all(target: IO[bytes], blocks: Iterator[bytes]) -> None:
    """Write every block."""
    for block in blocks:
        target.write(block)


def pack_zip(path: Path, name: str, blocks: Iterator[bytes]) -> None:
    """Write a zip archive with one member by Python's zipfile, as a stream."""
    with (
        zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as archive,
        archive.open(name, "w", force_zip64=True) as member,
    ):
        write_all(member, blocks)


def pack_tar(path: Path, name: str, blocks: Iterator[bytes]) -> None:
    """Write a compressed tar archive with one member; tar needs its size first, so it stands in a file before."""
    codec = "zstd" if path.suffix == ".zst" else "gzip"
    with tempfile.TemporaryFile(dir=path.parent) as plain:
        write_all(plain, blocks)
        info = tarfile.TarInfo(name)
        info.size = plain.tell()
        plain.seek(0)
        with (
            pa.CompressedOutputStream(str(path), codec) as packed,
            tarfile.open(fileobj=packed, mode="w|") as archive,
        ):
            archive.addfile(info, plain)


PACKS = {"zip": pack_zip, "tar.gz": pack_tar, "tar.zst": pack_tar}


def measured(*arguments: str | Path) -> tuple[float, float, int]:
    """Run the command line; return the seconds, the most megabytes resident in one process, and its exit code."""
    command = [str(Path(sys.executable).parent / "vambrace"), *map(str, arguments)]
    began = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    # wait4 gives the usage of this child and those it waited for, not of children before it.
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    unit = 1 if sys.platform == "darwin" else 1024
    return time.perf_counter() - began, usage.ru_maxrss * unit / 1e6, child.returncode


def report(title: str, *arguments: str | Path) -> bool:
    """Run the command line, print what it took, and say whether it went well."""
    seconds, megabytes, code = measured(*arguments)
    print(f"{title:24} {seconds:9.1f} s {megabytes:9.0f} MB   exit {code}", flush=True)
    return code == 0


def one(content: str, pack: str, size: int, export: bool) -> bool:
    """Make one archive, convert it, and export the dataset if wanted; nothing stays behind."""
    with tempfile.TemporaryDirectory(prefix="vambrace-memory-") as name:
        folder = Path(name)
        archive = folder / f"large.{pack}"
        PACKS[pack](archive, f"large.{content}", CONTENTS[content](size))
        well = report(f"{content} in {pack}", "convert", archive, "--to", folder / "dataset")
        if export and well:
            well = report("  export --wide", "export", folder / "dataset", "--wide", "--to", folder / "wide.csv")
            well &= report("  export", "export", folder / "dataset", "--to", folder / "long.csv")
        return well


def main() -> int:
    """Measure what the command line asks for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--gigabytes", type=float, default=3.0, help="size of the member, unpacked (default: 3)")
    parser.add_argument("--format", action="append", choices=sorted(CONTENTS), help="default: both")
    parser.add_argument("--pack", action="append", choices=list(PACKS), help="default: all")
    parser.add_argument("--export", action="store_true", help="export the dataset too, wide and long")
    given = parser.parse_args()
    size = int(given.gigabytes * 1e9)
    cases = [(content, pack) for content in given.format or CONTENTS for pack in given.pack or PACKS]
    failed = sum(not one(content, pack, size, given.export) for content, pack in cases)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(main())
