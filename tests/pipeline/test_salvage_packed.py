"""Damaged compressed files and archives: refused with the way on, or with `salvage` read up to the damage.

What stands before a cut is known from Python's own zlib, bz2 and lzma, fed with the same bytes.
"""

from __future__ import annotations

import bz2
import gzip
import hashlib
import lzma
import zipfile
import zlib
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest

from archives import RawMember, raw_zip, tar_bytes, zip_bytes
from converted import ledger, samples, series, statuses, table
from vambrace.api import convert, inspect
from vambrace.demo.fit_encoder import FitEncoder

START = 1_709_280_000
"""2024-03-01T08:00:00Z."""
FIT_EPOCH = 631_065_600
ROWS = 20_000
LINES = [b"time,heart_rate\n", *(b"%d,%d\n" % (START + k, 60 + k * k % 97) for k in range(ROWS))]
CSV = b"".join(LINES)
SMALL = b"time,heart_rate\n%d,70\n%d,71\n" % (START, START + 1)


def zstd(data: bytes) -> bytes:
    sink = pa.BufferOutputStream()
    with pa.CompressedOutputStream(sink, "zstd") as stream:
        stream.write(data)
    return sink.getvalue().to_pybytes()


PACKERS = {"gz": gzip.compress, "bz2": lambda data: bz2.compress(data, 1), "xz": lzma.compress, "zst": zstd}
READERS: dict[str, Any] = {
    "gz": lambda: zlib.decompressobj(31),
    "bz2": bz2.BZ2Decompressor,
    "xz": lzma.LZMADecompressor,
}


def gpx(points: int) -> bytes:
    rows = "".join(
        f'<trkpt lat="37.{n:06}" lon="-27.5"><time>2024-03-01T08:{n // 60:02}:{n % 60:02}Z</time></trkpt>\n'
        for n in range(points)
    )
    head = '<gpx version="1.1" creator="watch-C" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>\n'
    return f"{head}{rows}</trkseg></trk></gpx>\n".encode()


def fit(rates: int) -> bytes:
    encoder = FitEncoder()
    encoder.define(0, 0, [(0, "enum"), (1, "uint16"), (3, "uint32z"), (4, "uint32")])
    encoder.write(0, 4, 255, 391, START - FIT_EPOCH)
    encoder.define(1, 20, [(253, "uint32"), (3, "uint8")])
    for n in range(rates):
        encoder.write(1, START - FIT_EPOCH + n, 60 + n * n % 97)
    return bytes(encoder.to_bytes())


def recording(to: Path, path: str) -> dict[str, Any]:
    (row,) = [row for row in table(to, "recordings") if row["path"] == path]
    return row


def rates(to: Path, path: str) -> list[tuple[int, float]]:
    return series(to, recording(to, path)["recording"], "heart_rate")


def first_rates(count: int) -> list[tuple[int, float]]:
    return [((START + k) * 1_000_000, 60.0 + k * k % 97) for k in range(count)]


@pytest.mark.parametrize("suffix", PACKERS)
def test_a_cut_file_is_refused_and_with_salvage_read_up_to_the_cut(tmp_path: Path, suffix: str) -> None:
    packed = PACKERS[suffix](CSV)
    cut = packed[: len(packed) * 4 // 5]
    path, to = tmp_path / f"day.csv.{suffix}", tmp_path / "ds"
    path.write_bytes(cut)
    convert([path], to)
    row = ledger(to)[path.name]
    assert (row["status"], row["bytes"], row["sha256"]) == ("rejected", len(cut), hashlib.sha256(cut).hexdigest())
    assert f"its compressed bytes end at byte {len(cut):,}, before their end mark" in row["reason"]
    assert "--salvage keeps what stands before the damage" in row["reason"]
    convert([path], to, salvage=True)
    row = ledger(to)[path.name]
    kept = row["rows_kept"]
    if suffix in READERS:
        there = READERS[suffix]().decompress(cut)
        assert kept == there.count(b"\n") - 1
        assert f"{len(there):,} bytes can be read before that" in row["reason"]
    assert kept > ROWS / 4
    assert row["status"] == "partial"
    assert f"end at byte {len(cut):,}" in row["reason"]
    assert recording(to, path.name)["complete"] is False
    assert rates(to, path.name) == first_rates(kept)


@pytest.mark.parametrize("suffix", PACKERS)
def test_a_cut_file_of_any_format_is_read_up_to_the_cut(tmp_path: Path, suffix: str) -> None:
    whole = {"way.gpx": gpx(3_000), "day.fit": fit(30_000)}
    for name, data in whole.items():
        packed = PACKERS[suffix](data)
        (tmp_path / f"{name}.{suffix}").write_bytes(packed[: len(packed) - 40])
    to = tmp_path / "ds"
    convert([tmp_path], to, salvage=True)
    for name in whole:
        row = ledger(to)[f"{name}.{suffix}"]
        assert (row["status"], "before" in row["reason"]) == ("partial", True), row
        assert recording(to, f"{name}.{suffix}")["complete"] is False
    positions = ledger(to)[f"way.gpx.{suffix}"]["rows_kept"]
    assert positions % 2 == 0
    assert positions >= 2_000


def test_every_cut_of_a_gzip_gives_exactly_the_whole_lines_before_it(tmp_path: Path) -> None:
    data = b"".join(LINES[:60])
    packed = gzip.compress(data)
    for length in range(30, len(packed), 7):
        (tmp_path / f"{length}.csv.gz").write_bytes(packed[:length])
    to = tmp_path / "ds"
    convert([tmp_path], to, salvage=True)
    found = ledger(to)
    assert {row["status"] for row in found.values()} <= {"partial", "rejected"}
    for length in range(30, len(packed), 7):
        there = zlib.decompressobj(31).decompress(packed[:length])
        assert found[f"{length}.csv.gz"]["rows_kept"] == max(0, there.count(b"\n") - 1), length
    assert sum(row["status"] == "partial" for row in found.values()) > 20


def test_a_wrong_bit_is_named_with_its_byte_and_what_stands_before_is_kept(tmp_path: Path) -> None:
    packed = bytearray(gzip.compress(CSV))
    at = len(packed) // 2
    packed[at : at + 8] = b"\xff" * 8
    path, to = tmp_path / "day.csv.gz", tmp_path / "ds"
    path.write_bytes(packed)
    convert([path], to)
    assert statuses(to) == {"day.csv.gz": "rejected"}
    convert([path], to, salvage=True)
    row = ledger(to)["day.csv.gz"]
    assert row["status"] == "partial"
    assert "damaged at or before byte" in row["reason"]
    assert "may be wrong" in row["reason"]
    # Half of the packed bytes are about half of the rows; the last few may be wrong, as the reason says.
    kept = rates(to, "day.csv.gz")
    assert 0.4 * ROWS < len(kept) < ROWS
    sure = int(0.4 * ROWS)
    assert kept[:sure] == first_rates(sure)


def test_a_wrong_checksum_keeps_all_and_says_that_it_may_be_wrong(tmp_path: Path) -> None:
    packed = bytearray(gzip.compress(SMALL))
    packed[-8] ^= 1
    to = tmp_path / "ds"
    (tmp_path / "day.csv.gz").write_bytes(packed)
    (tmp_path / "a.zip").write_bytes(raw_zip(RawMember(b"x.csv", SMALL, 8, crc=1), RawMember(b"y.csv", SMALL + b"\n")))
    convert([tmp_path], to)
    assert statuses(to) == {
        "a.zip": "converted",
        "a.zip!x.csv": "rejected",
        "a.zip!y.csv": "converted",
        "day.csv.gz": "rejected",
    }
    assert all("--salvage" in row["reason"] for row in ledger(to).values() if row["status"] == "rejected")
    convert([tmp_path], to, salvage=True)
    found = ledger(to)
    assert (found["day.csv.gz"]["status"], found["day.csv.gz"]["rows_kept"]) == ("partial", 2)
    assert "incorrect data check" in found["day.csv.gz"]["reason"]
    assert (found["a.zip!x.csv"]["status"], found["a.zip!x.csv"]["rows_kept"]) == ("partial", 2)
    assert "the archive says 00000001" in found["a.zip!x.csv"]["reason"]
    assert found["a.zip!y.csv"]["status"] == "converted"


def test_a_damaged_member_of_a_zip_is_salvaged_and_the_others_are_read(tmp_path: Path) -> None:
    data = bytearray(zip_bytes({"x.csv": CSV, "y.csv": SMALL}))
    at = len(data) // 2
    data[at : at + 8] = b"\xff" * 8
    path, to = tmp_path / "a.zip", tmp_path / "ds"
    path.write_bytes(data)
    convert([path], to)
    assert statuses(to) == {"a.zip": "converted", "a.zip!x.csv": "rejected", "a.zip!y.csv": "converted"}
    # Deflate was not stopped by the wrong bits; the length and the checksum show them.
    assert "any of it may be wrong" in ledger(to)["a.zip!x.csv"]["reason"]
    convert([path], to, salvage=True)
    assert statuses(to) == {"a.zip": "converted", "a.zip!x.csv": "partial", "a.zip!y.csv": "converted"}
    assert ledger(to)["a.zip!x.csv"]["bytes"] == len(CSV)
    assert recording(to, "a.zip!x.csv")["complete"] is False
    assert rates(to, "a.zip!x.csv")[:5_000] == first_rates(5_000)


def test_a_member_whose_bytes_are_fewer_than_declared_is_salvaged(tmp_path: Path) -> None:
    path, to = tmp_path / "a.zip", tmp_path / "ds"
    path.write_bytes(raw_zip(RawMember(b"x.csv", SMALL, 8, size=len(SMALL) + 9)))
    convert([path], to, salvage=True)
    row = ledger(to)["a.zip!x.csv"]
    assert (row["status"], row["rows_kept"]) == ("partial", 2)
    assert f"{len(SMALL)} of the {len(SMALL) + 9} that" in row["reason"]


@pytest.mark.parametrize("mode", ["w", "w:gz", "w:xz"])
def test_of_a_cut_tar_whole_members_are_read_and_the_cut_one_is_salvaged(tmp_path: Path, mode: str) -> None:
    whole = tar_bytes({"a.csv": SMALL, "b.csv": CSV, "c.csv": SMALL + b"\n"}, mode)
    path, to = tmp_path / "a.tar", tmp_path / "ds"
    path.write_bytes(whole[: len(whole) * 2 // 3])
    convert([path], to)
    assert statuses(to) == {"a.tar": "rejected", "a.tar!a.csv": "converted", "a.tar!b.csv": "rejected"}
    assert recording(to, "a.tar!a.csv")["complete"] is None
    found = ledger(to)
    assert "the tar archive is damaged after 2 members" in found["a.tar"]["reason"]
    assert "byte" in found["a.tar"]["reason"]
    assert "--salvage" in found["a.tar"]["reason"]
    assert "it is cut" in found["a.tar!b.csv"]["reason"]
    assert "--salvage" in found["a.tar!b.csv"]["reason"]
    convert([path], to, salvage=True)
    assert statuses(to) == {"a.tar": "rejected", "a.tar!a.csv": "converted", "a.tar!b.csv": "partial"}
    kept = rates(to, "a.tar!b.csv")
    assert ROWS / 4 < len(kept) < ROWS
    assert kept == first_rates(len(kept))
    assert recording(to, "a.tar!b.csv")["complete"] is False


def test_no_member_of_a_packed_tar_with_a_wrong_checksum_counts_as_whole(tmp_path: Path) -> None:
    # A tar archive has no checksum of its members' bytes; that of the compressed stream is all there is.
    packed = bytearray(tar_bytes({"a.csv": SMALL, "b.csv": SMALL + b"\n"}, "w:gz"))
    packed[-8] ^= 1
    path, to = tmp_path / "a.tgz", tmp_path / "ds"
    path.write_bytes(packed)
    convert([path], to)
    assert statuses(to) == {"a.tgz": "rejected", "a.tgz!a.csv": "rejected", "a.tgz!b.csv": "rejected"}
    assert all("incorrect data check" in row["reason"] for row in ledger(to).values())
    convert([path], to, salvage=True)
    assert statuses(to) == {"a.tgz": "rejected", "a.tgz!a.csv": "partial", "a.tgz!b.csv": "partial"}
    assert len(samples(to)) == 4
    assert {row["complete"] for row in table(to, "recordings")} == {False}


def test_a_compressed_member_of_a_damaged_archive_is_salvaged_through_both(tmp_path: Path) -> None:
    inner = gzip.compress(CSV)
    whole = tar_bytes({"x.csv.gz": inner}, "w:gz")
    path, to = tmp_path / "a.tgz", tmp_path / "ds"
    path.write_bytes(whole[: len(whole) * 2 // 3])
    (tmp_path / "b.zip").write_bytes(zip_bytes({"x.csv.gz": inner[:-2_000]}, zipfile.ZIP_STORED))
    convert([path, tmp_path / "b.zip"], to, salvage=True)
    told = statuses(to)
    assert (told["a.tgz!x.csv.gz"], told["b.zip!x.csv.gz"], told["b.zip"]) == ("partial", "partial", "converted")
    assert ledger(to)["b.zip!x.csv.gz"]["sha256"] == hashlib.sha256(inner[:-2_000]).hexdigest()
    kept = rates(to, "a.tgz!x.csv.gz")
    assert ROWS / 3 < len(kept) < ROWS
    assert kept == first_rates(len(kept))


def test_what_was_unpacked_of_a_cut_archive_beside_it_is_a_source_of_its_own(tmp_path: Path) -> None:
    whole = tar_bytes({"b.csv": CSV})
    cut = whole[: len(whole) // 2]
    (tmp_path / "a.tar").write_bytes(cut)
    (tmp_path / "b.csv").write_bytes(cut[512:])
    to = tmp_path / "ds"
    for salvage, became in ((False, "rejected"), (True, "partial")):
        convert([tmp_path], to, salvage=salvage)
        assert statuses(to) == {"a.tar": "rejected", "a.tar!b.csv": became, "b.csv": "converted"}
    names = {row["recording"] for row in table(to, "recordings")}
    assert len(names) == 2
    # The plain file's last row has no end, and the archive's is known to be cut: only the one that is kept differs.
    plain, member = rates(to, "b.csv"), rates(to, "a.tar!b.csv")
    assert plain[: len(member)] == member
    assert len(plain) - len(member) in (0, 1)


def test_a_mended_file_takes_the_place_of_the_salvaged_one(tmp_path: Path) -> None:
    path, to = tmp_path / "day.fit.gz", tmp_path / "ds"
    packed = gzip.compress(fit(3_000))
    path.write_bytes(packed[:-500])
    convert([path], to, salvage=True)
    assert statuses(to) == {"day.fit.gz": "partial"}
    first = convert([path], to, salvage=True)
    assert (first.new, first.unchanged) == (0, 1)
    path.write_bytes(packed)
    convert([path], to, salvage=True)
    assert sorted(row["status"] for row in table(to, "files")) == ["converted", "superseded"]


@pytest.mark.parametrize(
    ("data", "status", "words"),
    [
        (b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40, "rejected", "no importer claims it"),
        (CSV.replace(b"heart_rate", b"qqq"), "unrecognised", "no column of a signal"),
        (b"time,heart_rate\n" + b"2024-03-01 08:00:00,70\n" * 400, "rejected", "zone"),
    ],
)
def test_what_cannot_be_read_before_the_damage_is_refused_for_both_reasons(
    tmp_path: Path, data: bytes, status: str, words: str
) -> None:
    path, to = tmp_path / "x.csv.gz", tmp_path / "ds"
    path.write_bytes(gzip.compress(data)[:-30])
    convert([path], to, salvage=True)
    row = ledger(to)["x.csv.gz"]
    said = [row["reason"], *(one["message"] for one in table(to, "findings"))]
    assert row["status"] == status, said
    assert words in row["reason"]
    assert any("end at byte" in one for one in said)


def test_nothing_before_the_damage_is_nothing_to_keep(tmp_path: Path) -> None:
    path, to = tmp_path / "x.csv.gz", tmp_path / "ds"
    path.write_bytes(gzip.compress(CSV)[:12])
    convert([path], to, salvage=True)
    row = ledger(to)["x.csv.gz"]
    assert row["status"] == "rejected"
    assert row["reason"].endswith("nothing stands before that. Copy or export it again.")


def test_inspect_says_the_same(tmp_path: Path) -> None:
    path = tmp_path / "day.csv.gz"
    path.write_bytes(gzip.compress(CSV)[:-500])
    (refused,) = inspect([path])
    assert (refused.status, refused.importer, "--salvage" in (refused.reason or "")) == ("rejected", "csv", True)
    (partial,) = inspect([path], salvage=True)
    assert (partial.status, partial.rows_kept > ROWS / 2) == ("partial", True)
    assert partial.first_rows


def test_a_cut_zip_is_refused_and_with_salvage_gives_its_members_up_to_the_cut(tmp_path: Path) -> None:
    whole = zip_bytes({"a.csv": SMALL, "b.csv": CSV, "c.csv": SMALL + b"\n"})
    path, to = tmp_path / "a.zip", tmp_path / "ds"
    path.write_bytes(whole[: len(whole) // 2])
    convert([path], to)
    assert statuses(to) == {"a.zip": "rejected"}
    assert "--salvage" in ledger(to)["a.zip"]["reason"]
    convert([path], to, salvage=True)
    assert statuses(to) == {"a.zip": "rejected", "a.zip!a.csv": "converted", "a.zip!b.csv": "partial"}
    assert f"up to byte {len(whole) // 2:,}" in ledger(to)["a.zip"]["reason"]
    kept = rates(to, "a.zip!b.csv")
    assert ROWS / 4 < len(kept) < ROWS
    assert kept == first_rates(len(kept))


def test_damage_travels_to_other_processes(tmp_path: Path) -> None:
    for name in ("a", "b"):
        (tmp_path / f"{name}.csv.gz").write_bytes(gzip.compress(CSV[: -len(name) * 99] + name.encode())[:-100])
    to = tmp_path / "ds"
    convert([tmp_path], to, jobs=2)
    assert set(statuses(to).values()) == {"rejected"}
    convert([tmp_path], to, salvage=True, jobs=2)
    assert statuses(to) == {"a.csv.gz": "partial", "b.csv.gz": "partial"}
