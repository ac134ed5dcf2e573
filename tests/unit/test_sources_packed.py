"""Compressed streams and tar archives: read as Python's gzip, bz2, lzma and tarfile read them; damage is named."""

from __future__ import annotations

import bz2
import contextlib
import gzip
import hashlib
import io
import itertools
import lzma
import os
import struct
import tarfile
import tracemalloc
import zlib
from pathlib import Path
from typing import BinaryIO

import pyarrow as pa
import pytest

from archives import content, entries, sound, tar_bytes, zip_bytes
from vambrace.errors import DamagedFile, HostileFile, Refused, SourceError
from vambrace.sources import Limits, close_spools, open_entry, scan

DATA = b"".join(b"%d,%d\n" % (k, k * k % 97) for k in range(20_000))


def written(folder: Path, data: bytes, name: str) -> Path:
    (folder / name).write_bytes(data)
    return folder / name


def zstd(data: bytes) -> bytes:
    sink = pa.BufferOutputStream()
    with pa.CompressedOutputStream(sink, "zstd") as stream:
        stream.write(data)
    return sink.getvalue().to_pybytes()


PACKERS = {"gz": gzip.compress, "bz2": bz2.compress, "xz": lzma.compress, "zst": zstd}


@pytest.mark.parametrize("suffix", PACKERS)
@pytest.mark.parametrize("data", [b"", b"1", DATA])
def test_a_compressed_file_is_one_source_under_its_own_name(tmp_path: Path, suffix: str, data: bytes) -> None:
    packed = PACKERS[suffix](data)
    path = written(tmp_path, packed, f"day 1.csv.{suffix}")
    (entry,) = entries(path).values()
    assert (entry.path, entry.kind, entry.size, entry.name) == (path.name, "content", len(packed), "day 1.csv")
    assert content(entry) == data
    scanned = scan(entry)
    assert (scanned.sha256, scanned.size) == (hashlib.sha256(packed).hexdigest(), len(packed))
    assert (scanned.head, scanned.content_size) == (data[:4096], len(data))


@pytest.mark.parametrize("suffix", PACKERS)
def test_streams_one_after_another_are_one(tmp_path: Path, suffix: str) -> None:
    pack = PACKERS[suffix]
    path = written(tmp_path, pack(DATA) + pack(b"") + pack(b"end"), f"a.{suffix}")
    assert content(entries(path)[path.name]) == DATA + b"end"


def test_zeros_behind_a_gzip_stream_are_filling_as_python_says_too(tmp_path: Path) -> None:
    data = gzip.compress(b"1") + bytes(70_000) + gzip.compress(b"2") + bytes(3)
    assert gzip.decompress(data) == b"12"
    entry = entries(written(tmp_path, data, "a.gz"))["a.gz"]
    assert content(entry) == b"12"
    assert scan(entry).sha256 == hashlib.sha256(data).hexdigest()


@pytest.mark.parametrize("suffix", PACKERS)
def test_a_stream_cut_anywhere_is_damaged(tmp_path: Path, suffix: str) -> None:
    packed = PACKERS[suffix](DATA[:300])
    for length in range(14, len(packed)):
        entry = entries(written(tmp_path, packed[:length], "a.packed"))["a.packed"]
        with pytest.raises(DamagedFile, match=r"cut|damaged|Truncated"):
            sound(entry)


def gather(stream: BinaryIO, into: bytearray) -> None:
    for block in iter(lambda: stream.read(1000), b""):
        into.extend(block)


def test_what_stands_before_a_cut_can_still_be_read(tmp_path: Path) -> None:
    packed = gzip.compress(DATA)
    entry = entries(written(tmp_path, packed[: len(packed) * 3 // 4], "a.gz"))["a.gz"]
    found = bytearray()
    with open_entry(entry) as stream, pytest.raises(DamagedFile, match=r"end at byte [0-9,]+, before their end mark"):
        gather(stream, found)
    assert len(found) > len(DATA) // 2
    assert DATA.startswith(found)


def test_no_flipped_bit_of_a_gzip_gives_other_bytes(tmp_path: Path) -> None:
    packed = bytearray(gzip.compress(DATA[:200]))
    for place, bit in itertools.product(range(3, len(packed)), range(8)):
        packed[place] ^= 1 << bit
        (tmp_path / "a.gz").write_bytes(packed)
        (entry,) = entries(tmp_path / "a.gz").values()
        with contextlib.suppress(DamagedFile):
            assert content(entry) == DATA[:200], (place, bit)
        packed[place] ^= 1 << bit


@pytest.mark.parametrize("suffix", PACKERS)
def test_a_bomb_is_stopped_early(tmp_path: Path, suffix: str) -> None:
    # bzip2 packs 50 MB of zeros into 43 bytes.
    path = written(tmp_path, PACKERS[suffix](bytes(50 << 20)), f"a.{suffix}")
    limits = Limits(floor=1 << 20)
    entry = entries(path)[path.name]
    tracemalloc.start()
    try:
        with pytest.raises(HostileFile, match="more than 200 times as much"):
            scan(entry, limits=limits)
        assert tracemalloc.get_traced_memory()[1] < 15 << 20
    finally:
        tracemalloc.stop()
    with pytest.raises(HostileFile, match="more than 1,000,000 bytes"):
        scan(entry, limits=Limits(total=1_000_000))


@pytest.mark.parametrize("data", [b"\x1f\x8b\x08", b"\x1f\x8b\x08\x00" + bytes(6), b"\xfd7zXZ\x00rubbish"])
def test_a_stream_of_which_only_the_mark_is_right_is_damaged(tmp_path: Path, data: bytes) -> None:
    (entry,) = entries(written(tmp_path, data, "a.gz")).values()
    assert entry.kind == "content"
    with pytest.raises(DamagedFile):
        scan(entry)


def test_a_table_whose_first_word_looks_like_a_mark_is_a_table(tmp_path: Path) -> None:
    (entry,) = entries(written(tmp_path, b"BZhours,1\n", "a.csv")).values()
    assert content(entry) == b"BZhours,1\n"


def test_a_packed_stream_can_be_sought(tmp_path: Path) -> None:
    (entry,) = entries(written(tmp_path, gzip.compress(DATA), "a.gz")).values()
    with open_entry(entry) as stream:
        assert stream.read(5) == DATA[:5]
        assert stream.seek(100_000) == 100_000
        assert stream.read(7) == DATA[100_000:100_007]
        assert stream.seek(-4, os.SEEK_END) == len(DATA) - 4
        assert stream.read() == DATA[-4:]
        stream.seek(0)
        assert stream.read() == DATA


def by_tarfile(data: bytes) -> dict[str, bytes]:
    """Read every plain file with Python's own module: the outside check."""
    with tarfile.open(fileobj=io.BytesIO(data)) as archive:
        plain = [info for info in archive if info.isreg()]
        return {f"a.tar!{info.name}": archive.extractfile(info).read() for info in plain}  # type: ignore[union-attr]


@pytest.mark.parametrize("mode", ["w", "w:gz", "w:bz2", "w:xz"])
@pytest.mark.parametrize("kind", [tarfile.USTAR_FORMAT, tarfile.GNU_FORMAT, tarfile.PAX_FORMAT])
def test_members_read_as_tarfile_reads_them(tmp_path: Path, mode: str, kind: int) -> None:
    members = {
        "in/x.csv": DATA,
        "empty": b"",
        "é.csv": b"1",
        "/".join(["long" * 10] * 3) + "/y": b"2",
        "exact": bytes(512),
    }
    data = tar_bytes(members, mode, kind)
    found = entries(written(tmp_path, data, "a.tar"))
    assert {path: content(entry) for path, entry in found.items() if entry.kind == "content"} == by_tarfile(data)
    assert (found["a.tar"].kind, found["a.tar"].reason) == ("archive", "archive, 5 members")
    assert {path: entry.size for path, entry in found.items()}["a.tar!in/x.csv"] == len(DATA)
    close_spools()


def special(name: str, kind: bytes, target: str = "") -> tarfile.TarInfo:
    info = tarfile.TarInfo(name)
    info.type, info.linkname = kind, target
    return info


def test_what_is_no_plain_file_or_leads_out_is_a_problem(tmp_path: Path) -> None:
    target = io.BytesIO()
    with tarfile.open(fileobj=target, mode="w") as archive:
        archive.addfile(tarfile.TarInfo("good.csv"))
        for info in (
            special("soft", tarfile.SYMTYPE, "/etc/passwd"),
            special("hard", tarfile.LNKTYPE, "good.csv"),
            special("pipe", tarfile.FIFOTYPE),
            special("device", tarfile.CHRTYPE),
            special("folder", tarfile.DIRTYPE),
            tarfile.TarInfo("../up.csv"),
            tarfile.TarInfo("/top.csv"),
            tarfile.TarInfo("twin.csv"),
            tarfile.TarInfo("./twin.csv"),
        ):
            archive.addfile(info)
    found = entries(written(tmp_path, target.getvalue(), "a.tar"))
    assert {path: entry.code for path, entry in found.items()} == {
        "a.tar": "unreached-members",
        "a.tar!../up.csv": "hostile-file",
        "a.tar!/top.csv": "hostile-file",
        "a.tar!device": "special-file",
        "a.tar!good.csv": "",
        "a.tar!hard": "special-file",
        "a.tar!pipe": "special-file",
        "a.tar!soft": "special-file",
        "a.tar!twin.csv (member 8)": "same-name",
        "a.tar!twin.csv (member 9)": "same-name",
    }
    assert found["a.tar"].reason == "archive, 9 members; 8 of them could not be reached safely. Look at their own rows."


def test_a_tar_cut_or_damaged_in_the_middle_keeps_what_is_before_and_says_so(tmp_path: Path) -> None:
    whole = tar_bytes({"a.csv": b"1" * 600, "b.csv": b"2" * 1100, "c.csv": b"3"})
    cut = entries(written(tmp_path, whole[: 3 * 512 + 512 + 700], "a.tar"))
    assert content(cut["a.tar!a.csv"]) == b"1" * 600
    with pytest.raises(DamagedFile, match="it is cut"):
        sound(cut["a.tar!b.csv"])
    assert cut["a.tar"].code == "damaged-file"
    assert "damaged after 2 members" in cut["a.tar"].reason

    damaged = bytearray(whole)
    damaged[3 * 512 : 3 * 512 + 20] = b"x" * 20
    found = entries(written(tmp_path, bytes(damaged), "a.tar"))
    assert list(found) == ["a.tar", "a.tar!a.csv"]
    assert found["a.tar"].code == "damaged-file"
    assert "damaged after 1 member," in found["a.tar"].reason

    unended = entries(written(tmp_path, whole[: 9 * 512], "a.tar"))
    assert unended["a.tar"].code == ""
    assert "no end mark" in unended["a.tar"].reason
    assert len(unended) == 4


def block(name: bytes, size: bytes, kind: bytes) -> bytes:
    """Write one GNU tar header with its checksum; layout: the GNU tar manual, "Basic Tar Format"."""
    header = struct.pack(
        "100s8s8s8s12s12s8ss100s8s247x", name, b"", b"", b"", size, b"", b" " * 8, kind, b"", b"ustar  "
    )
    return header[:148] + b"%06o\0 " % sum(header) + header[156:]


@pytest.mark.parametrize(
    "data",
    [
        block(b"././@LongLink", b"00000000001", b"L") * 3000,
        block(b"x", b"\xff" * 12, b"0") + bytes(2048),
        block(b"x", b"\xff" * 11 + b"\x00", b"5") + bytes(2048),
        block(b"././@LongLink", b"77777777777", b"L") + bytes(2048),
        block(b"pax", b"00000000040", b"x") + b"17 size=-100000\n".ljust(512, b"\0") + block(b"a", b"0", b"0"),
        block(b"x", b"rubbish", b"0") + bytes(2048),
    ],
)
def test_hostile_headers_end_in_a_row(tmp_path: Path, data: bytes) -> None:
    found = entries(written(tmp_path, data, "a.tar"))
    assert found["a.tar"].code in ("damaged-file", "hostile-file")
    assert len(found) < 3


def test_too_many_members_and_folders_are_a_bomb(tmp_path: Path) -> None:
    for kind in (tarfile.REGTYPE, tarfile.DIRTYPE):
        target = io.BytesIO()
        with tarfile.open(fileobj=target, mode="w") as archive:
            for number in range(11):
                archive.addfile(special(f"{number}", kind))
        found = entries(written(tmp_path, target.getvalue(), "a.tar"), limits=Limits(members=10))
        assert [(entry.kind, entry.code) for entry in found.values()] == [("problem", "hostile-file")]


def test_a_packed_tar_that_does_not_fit_its_spool_is_a_problem(tmp_path: Path) -> None:
    data = tar_bytes({"x": os.urandom(200_000)}, "w:gz")
    found = entries(written(tmp_path, data, "a.tgz"), limits=Limits(spool=100_000))
    assert [(entry.kind, entry.code) for entry in found.values()] == [("problem", "hostile-file")]
    bomb = tar_bytes({"x": bytes(5 << 20)}, "w:gz")
    found = entries(written(tmp_path, bomb, "a.tgz"), limits=Limits(floor=1 << 20))
    assert [(entry.kind, entry.code) for entry in found.values()] == [("problem", "hostile-file")]


def test_a_full_temporary_disk_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    import tempfile

    def full(*_: object, **__: object) -> object:
        raise OSError(28, "No space left on device")

    path = written(tmp_path, tar_bytes({"x": b"1"}, "w:gz"), "a.tgz")
    close_spools()
    monkeypatch.setattr(tempfile, "TemporaryFile", full)
    (entry,) = entries(path).values()
    assert (entry.kind, entry.code) == ("problem", "no-room")
    assert "No space left on device" in entry.reason
    assert "TMPDIR" in entry.reason


def test_packed_archives_in_packed_archives_are_read(tmp_path: Path) -> None:
    inner = tar_bytes({"x.csv.gz": gzip.compress(DATA)}, "w:xz")
    data = tar_bytes({"inner.txz": inner, "z.zip": zip_bytes({"y.csv": b"2"}), "q.csv": b"3"}, "w:gz")
    found = entries(written(tmp_path, data, "a.tgz"))
    assert {path: content(entry) for path, entry in found.items() if entry.kind == "content"} == {
        "a.tgz!inner.txz!x.csv.gz": DATA,
        "a.tgz!q.csv": b"3",
        "a.tgz!z.zip!y.csv": b"2",
    }
    assert found["a.tgz!inner.txz!x.csv.gz"].name == "x.csv"
    close_spools()
    assert content(found["a.tgz!inner.txz!x.csv.gz"]) == DATA


def test_a_packed_archive_that_changes_after_it_was_listed_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, tar_bytes({"x.csv": b"1"}, "w:gz"), "a.tgz")
    entry = entries(path)["a.tgz!x.csv"]
    written(tmp_path, tar_bytes({"other.csv": b"2" * 99}, "w:gz"), "a.tgz")
    close_spools()
    with pytest.raises(Refused, match="changed after it was listed"):
        scan(entry)


def test_damage_in_a_packed_member_is_told_through_every_layer(tmp_path: Path) -> None:
    packed = bytearray(zstd(os.urandom(100_000)))
    data = bytearray(zip_bytes({"x.csv.zst": bytes(packed)}, 0))
    data[50_000] ^= 1
    entry = entries(written(tmp_path, bytes(data), "a.zip"))["a.zip!x.csv.zst"]
    with pytest.raises(SourceError, match="damaged"):
        sound(entry)
    assert zlib.crc32(bytes(packed))
