"""Whatever becomes of an archive's bytes: what counts as converted is exactly what was packed, with salvage or without.

The formats here have checksums of what they hold; a tar archive by itself, and zstd as Arrow writes it, have none.
"""

from __future__ import annotations

import bz2
import gzip
import lzma
import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from archives import tar_bytes, zip_bytes
from converted import series, table
from vambrace.api import convert

START = 1_709_280_000
CSV = b"time,heart_rate\n" + b"".join(b"%d,%d\n" % (START + k, 60 + k * k % 97) for k in range(300))
GPX = (
    b'<gpx version="1.1" creator="watch-C" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>\n'
    + b"".join(
        b'<trkpt lat="37.%06d" lon="-27.5"><time>2024-03-01T08:%02d:%02dZ</time></trkpt>\n' % (n, n // 60, n % 60)
        for n in range(200)
    )
    + b"</trkseg></trk></gpx>\n"
)
RATES = [((START + k) * 1_000_000, 60.0 + k * k % 97) for k in range(300)]
LATITUDES = [(START * 1_000_000 + n * 1_000_000, float(f"37.{n:06}")) for n in range(200)]
MEMBERS = {"a.csv": CSV, "b.gpx": GPX}
PACKED = {
    "x.zip": zip_bytes(MEMBERS),
    "x.tar.gz": tar_bytes(MEMBERS, "w:gz"),
    "x.tar.xz": tar_bytes(MEMBERS, "w:xz"),
    "a.csv.gz": gzip.compress(CSV),
    "a.csv.bz2": bz2.compress(CSV),
    "b.gpx.xz": lzma.compress(GPX),
}


def changed(data: bytes, at: int, bits: bytes, cut: int | None) -> bytes:
    """Return the bytes with some of them turned, and then cut."""
    out = bytearray(data)
    for k, turned in enumerate(bits):
        out[(at + k) % len(data)] ^= turned
    return bytes(out[: None if cut is None else cut % len(data)])


@settings(max_examples=60, deadline=None, derandomize=True)
@given(
    name=st.sampled_from(sorted(PACKED)),
    at=st.integers(0, 10_000),
    bits=st.binary(max_size=4),
    cut=st.none() | st.integers(20, 10_000),
    salvage=st.booleans(),
)
def test_nothing_wrong_is_ever_called_whole(name: str, at: int, bits: bytes, cut: int | None, salvage: bool) -> None:
    with tempfile.TemporaryDirectory() as folder:
        path, to = Path(folder) / name, Path(folder) / "ds"
        path.write_bytes(changed(PACKED[name], at, bits, cut))
        convert([path], to, salvage=salvage)
        rows = table(to, "files")
        assert {row["status"] for row in rows} <= {"converted", "partial", "rejected", "unrecognised"}
        assert salvage or "partial" not in {row["status"] for row in rows}
        codes = [row["reason"] or "" for row in rows]
        assert not any("failed" in reason for reason in codes), codes
        for row in table(to, "recordings"):
            (status,) = {each["status"] for each in rows if each["path"] == row["path"]}
            signal, whole = ("heart_rate", RATES) if row["format"] == "csv" else ("latitude", LATITUDES)
            found = series(to, row["recording"], signal)
            if status == "converted":
                assert found == whole
            else:
                assert (status, row["complete"]) == ("partial", False)
                # Bits turned before the damage is noticed may have changed some; a mere cut changes none.
                assert any(bits) or found == whole[: len(found)]
