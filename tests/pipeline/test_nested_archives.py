"""Archives inside archives: read when nested once, refused with a way on when nested twice; what is locked is named."""

from __future__ import annotations

import bz2
import gzip
import lzma
import zipfile
from pathlib import Path

import pyarrow as pa
import pytest

from archives import RawMember, raw_zip, tar_bytes, zip_bytes
from converted import ledger, samples, statuses
from vambrace.api import convert

START = 1_709_280_000


def csv(rate: int) -> bytes:
    return b"time,heart_rate\n%d,%d\n" % (START, rate)


def tar_zst(members: dict[str, bytes]) -> bytes:
    sink = pa.BufferOutputStream()
    with pa.CompressedOutputStream(sink, "zstd") as stream:
        stream.write(tar_bytes(members))
    return sink.getvalue().to_pybytes()


PACKS = {
    "zip": zip_bytes,
    "stored.zip": lambda members: zip_bytes(members, zipfile.ZIP_STORED),
    "tar": tar_bytes,
    "tar.gz": lambda members: tar_bytes(members, "w:gz"),
    "tar.xz": lambda members: tar_bytes(members, "w:xz"),
    "tar.bz2": lambda members: tar_bytes(members, "w:bz2"),
    "tar.zst": tar_zst,
}


@pytest.mark.parametrize("outer", PACKS)
def test_every_archive_in_every_archive_is_read(tmp_path: Path, outer: str) -> None:
    inside = {f"{n}.{name}": pack({"x.csv": csv(60 + n)}) for n, (name, pack) in enumerate(PACKS.items())}
    inside["plain.csv.gz"] = gzip.compress(csv(99))
    path, to = tmp_path / f"a.{outer}", tmp_path / "ds"
    path.write_bytes(PACKS[outer](inside))
    convert([path], to)
    expected = dict.fromkeys([path.name, f"{path.name}!plain.csv.gz"], "converted")
    for name in inside:
        if name != "plain.csv.gz":
            expected |= dict.fromkeys([f"{path.name}!{name}", f"{path.name}!{name}!x.csv"], "converted")
    assert statuses(to) == expected
    assert sorted(samples(to)["value"].to_pylist()) == [*range(60, 60 + len(PACKS)), 99]


@pytest.mark.parametrize("kind", PACKS)
def test_an_archive_nested_twice_is_refused_with_a_way_on_that_works(tmp_path: Path, kind: str) -> None:
    pack = PACKS[kind]
    second = pack({f"third.{kind}": pack({"x.csv": csv(60)}), "y.csv": csv(61)})
    path, to = tmp_path / f"a.{kind}", tmp_path / "ds"
    path.write_bytes(pack({f"second.{kind}": second}))
    convert([path], to)
    inner = f"{path.name}!second.{kind}"
    assert statuses(to) == {
        path.name: "converted",
        inner: "converted",
        f"{inner}!third.{kind}": "rejected",
        f"{inner}!y.csv": "converted",
    }
    reason = ledger(to)[f"{inner}!third.{kind}"]["reason"]
    assert reason.startswith("it is an archive inside 2 others, and archives are read 2 deep. Unpack the outer one")
    folder = tmp_path / "unpacked"
    folder.mkdir()
    (folder / f"second.{kind}").write_bytes(second)
    convert([folder], to)
    assert sorted(samples(to)["value"].to_pylist()) == [60, 61]


def test_a_locked_member_is_named_and_the_others_are_read(tmp_path: Path) -> None:
    path, to = tmp_path / "a.zip", tmp_path / "ds"
    members = [RawMember(b"locked.csv", csv(60), flags=1), RawMember(b"aes.csv", csv(61), method=99, flags=1)]
    path.write_bytes(raw_zip(*members, RawMember(b"open.csv", csv(62))))
    convert([path], to)
    assert statuses(to) == {
        "a.zip": "rejected",
        "a.zip!aes.csv": "rejected",
        "a.zip!locked.csv": "rejected",
        "a.zip!open.csv": "converted",
    }
    for name in ("aes", "locked"):
        reason = ledger(to)[f"a.zip!{name}.csv"]["reason"]
        assert reason == "it is encrypted. Unpack it with its password and give the unpacked file."
    assert "2 of them could not be reached" in ledger(to)["a.zip"]["reason"]


@pytest.mark.parametrize(
    ("head", "words"),
    [
        # 7zFormat.txt; the RAR 5.0 technical note; the LZ4 frame format; the lzip manual; compress(1).
        (b"7z\xbc\xaf\x27\x1c\0\4", "a 7z archive"),
        (b"Rar!\x1a\x07\x01\0", "a RAR archive"),
        (b"\x04\x22\x4d\x18\x64\x40", "packed by LZ4"),
        (b"LZIP\x01\x0c", "packed by lzip"),
        (b"\x1f\x9d\x90", "packed by compress (.Z)"),
    ],
)
def test_an_archive_of_another_kind_is_named_with_a_way_on(tmp_path: Path, head: bytes, words: str) -> None:
    to = tmp_path / "ds"
    (tmp_path / "export.bin").write_bytes(head + bytes(100))
    (tmp_path / "a.zip").write_bytes(zip_bytes({"in.bin": head + bytes(100)}))
    convert([tmp_path], to)
    for path in ("export.bin", "a.zip!in.bin"):
        row = ledger(to)[path]
        assert row["status"] == "rejected"
        assert row["reason"].startswith(f"it is {words}, which is not read. Unpack it yourself")


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (gzip.compress(gzip.compress(b"time,heart_rate\n")), "packed twice, by gzip and then by gzip"),
        (gzip.compress(bz2.compress(b"time,heart_rate\n")), "packed twice, by bzip2 and then by gzip"),
        (lzma.compress(zip_bytes({"a.csv": b"time,heart_rate\n"})), "packed twice, by zip and then by xz"),
        # A shell script before the archive, as programs that unpack themselves have it.
        (b"#!/bin/sh\nexit\n" + zip_bytes({"a.csv": b"x"}), "a zip archive behind 15 other bytes"),
    ],
    ids=["gzip", "bzip2", "zip", "script"],
)
def test_what_is_packed_twice_or_has_bytes_before_it_is_named(tmp_path: Path, data: bytes, words: str) -> None:
    to = tmp_path / "ds"
    (tmp_path / "export.csv.gz").write_bytes(data)
    (tmp_path / "a.zip").write_bytes(zip_bytes({"in.bin": data}))
    convert([tmp_path], to)
    for path in ("export.csv.gz", "a.zip!in.bin"):
        row = ledger(to)[path]
        assert row["status"] == "rejected"
        assert row["reason"].startswith(f"it is {words}")
        assert "Unpack it yourself" in row["reason"]
