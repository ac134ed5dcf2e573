"""Sources whose bytes are damaged: what is scanned of them, by which digest they are known, how they are read."""

from __future__ import annotations

import bz2
import gzip
import hashlib
import lzma
import pickle
import zipfile
from pathlib import Path
from typing import BinaryIO

import pytest

from archives import entries, tar_bytes, zip_bytes
from vambrace.errors import DamagedFile
from vambrace.sources import open_entry, scan

DATA = b"".join(b"%d,%d\n" % (k, k * k % 97) for k in range(20_000))


def written(folder: Path, data: bytes, name: str) -> Path:
    (folder / name).write_bytes(data)
    return folder / name


def gather(stream: BinaryIO, block: int, into: bytearray) -> None:
    for part in iter(lambda: stream.read(block), b""):
        into.extend(part)


def test_a_damaged_file_is_known_by_all_its_bytes_and_read_up_to_the_damage(tmp_path: Path) -> None:
    packed = bytearray(gzip.compress(DATA))
    packed[len(packed) // 2 :] = b"\xff" * (len(packed) - len(packed) // 2)
    (entry,) = entries(written(tmp_path, packed, "a.csv.gz")).values()
    scanned = scan(entry)
    assert (scanned.sha256, scanned.size) == (hashlib.sha256(packed).hexdigest(), len(packed))
    assert scanned.damage is not None
    assert f"{scanned.content_size:,} bytes can be read before that" in scanned.damage.what
    assert scanned.head == DATA[:4096]
    with open_entry(entry, scanned=scanned) as stream:
        found = stream.read(1 << 30)
        assert len(found) == scanned.content_size
        assert found[: len(DATA) // 3] == DATA[: len(DATA) // 3]
        for _ in range(2):
            with pytest.raises(DamagedFile, match="damaged at or before byte"):
                stream.read(1)
        stream.seek(7)
        assert stream.read(10) == DATA[7:17]


@pytest.mark.parametrize("name", ["a.gz", "a.bz2", "a.xz"])
@pytest.mark.parametrize("block", [1, 999, 1 << 20])
def test_no_byte_before_a_cut_is_lost_however_it_is_read(tmp_path: Path, name: str, block: int) -> None:
    data = DATA[:30_000] if block == 1 else DATA
    packers = {"a.gz": gzip.compress, "a.bz2": lambda data: bz2.compress(data, 1), "a.xz": lzma.compress}
    packed = packers[name](data)
    (entry,) = entries(written(tmp_path, packed[:-9], name)).values()
    try:
        scanned = scan(entry)
    except DamagedFile:
        # bzip2 gives whole blocks only, and this is one.
        assert (name, block) == ("a.bz2", 1)
        return
    found = bytearray()
    with open_entry(entry, scanned=scanned) as stream, pytest.raises(DamagedFile, match="end at byte"):
        gather(stream, block, found)
    assert len(found) == scanned.content_size
    assert data.startswith(found)


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED])
def test_a_damaged_member_is_known_by_its_header_and_bytes_in_the_archive(tmp_path: Path, method: int) -> None:
    data = bytearray(zip_bytes({"first.csv": b"1", "x.csv": DATA}, method))
    with zipfile.ZipFile(written(tmp_path, data, "a.zip")) as archive:
        info = archive.getinfo("x.csv")
    begin, end = info.header_offset, info.header_offset + 30 + len("x.csv") + info.compress_size
    data[end - 40] ^= 1
    found = entries(written(tmp_path, data, "a.zip"))
    scanned = scan(found["a.zip!x.csv"])
    assert scanned.damage is not None
    assert (scanned.sha256, scanned.size) == (hashlib.sha256(data[begin:end]).hexdigest(), len(DATA))
    assert pickle.loads(pickle.dumps(scanned)).damage.what == scanned.damage.what


def test_a_cut_member_of_a_tar_is_known_by_its_header_and_what_is_there(tmp_path: Path) -> None:
    data = tar_bytes({"first.csv": b"1", "x.csv": DATA})
    cut = data[: 3 * 512 + 5_000]
    for name, packed in {"a.tar": cut, "b.tgz": gzip.compress(data)[:5_000]}.items():
        scanned = scan(entries(written(tmp_path, packed, name))[f"{name}!x.csv"])
        assert scanned.damage is not None
        stored = data[2 * 512 : 3 * 512 + scanned.content_size]
        assert (scanned.sha256, scanned.size) == (hashlib.sha256(stored).hexdigest(), len(DATA))
        assert f"of {len(DATA):,} bytes are there" in scanned.damage.what


def test_a_whole_member_of_a_cut_archive_is_known_by_its_content(tmp_path: Path) -> None:
    data = gzip.compress(tar_bytes({"first.csv": DATA, "x.csv": DATA}))
    scanned = scan(entries(written(tmp_path, data[: len(data) * 3 // 4], "a.tgz"))["a.tgz!first.csv"])
    assert (scanned.damage, scanned.sha256) == (None, hashlib.sha256(DATA).hexdigest())
