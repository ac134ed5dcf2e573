"""Zip archives without their directory: members are listed by their own headers, and read as far as they are there.

The outside check is Python's zipfile, which wrote the archives and says where each member ends.
"""

from __future__ import annotations

import io
import os
import zipfile
from pathlib import Path

import pytest

from archives import RawMember, entries, raw_zip, sound, zip_bytes
from vambrace.errors import DamagedFile
from vambrace.sources import Limits, open_entry, scan

DATA = b"".join(b"%d,%d\n" % (k, k * k % 97) for k in range(400))
MEMBERS = {"x.csv": DATA, "in/": b"", "in/y.csv": b"1,2\n" * 3, "empty.csv": b"", "z.bin": os.urandom(300)}


class Pipe(io.RawIOBase):
    """Takes bytes and cannot go back: then zipfile gives each member's sizes behind its bytes."""

    def __init__(self) -> None:
        self.data = bytearray()

    def writable(self) -> bool:
        return True

    def write(self, data: object) -> int:
        self.data += bytes(data)  # type: ignore[call-overload]
        return len(bytes(data))  # type: ignore[call-overload]


def streamed(members: dict[str, bytes], method: int = zipfile.ZIP_DEFLATED, *, large: bool = False) -> bytes:
    pipe = Pipe()
    with zipfile.ZipFile(pipe, "w", method) as archive:
        for name, data in members.items():
            with archive.open(name, "w", force_zip64=large) as member:
                member.write(data)
    return bytes(pipe.data)


def large_headers(members: dict[str, bytes]) -> bytes:
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, data in members.items():
            with archive.open(name, "w", force_zip64=True) as member:
                member.write(data)
    return target.getvalue()


WRITERS = {
    "sizes before": zip_bytes,
    "stored": lambda members: zip_bytes(members, zipfile.ZIP_STORED),
    "bzip2": lambda members: zip_bytes(members, zipfile.ZIP_BZIP2),
    "large sizes before": large_headers,
    "sizes behind": streamed,
    "large sizes behind": lambda members: streamed(members, large=True),
}


def read(path: Path) -> dict[str, tuple[bytes, bool]]:
    """Return what can be read of each member, and whether it is whole."""
    found = {}
    for name, entry in entries(path, salvage=True).items():
        if entry.kind != "content" or entry.location is None or not entry.location.steps:
            continue
        try:
            scanned = scan(entry)
        except DamagedFile:
            found[name] = (b"", False)
            continue
        with open_entry(entry, scanned=scanned) as stream:
            found[name] = (stream.read(scanned.content_size), scanned.damage is None)
    return found


@pytest.mark.parametrize("how", WRITERS)
def test_without_its_directory_every_member_is_read(tmp_path: Path, how: str) -> None:
    data, path = WRITERS[how](MEMBERS), tmp_path / "a.zip"
    path.write_bytes(data[: data.index(b"PK\x01\x02")])
    assert [entry.kind for entry in entries(path).values()] == ["problem"]
    assert "--salvage reads the members" in entries(path)["a.zip"].reason
    found = entries(path, salvage=True)
    assert (found["a.zip"].kind, found["a.zip"].code) == ("archive", "damaged-file")
    assert f"up to byte {path.stat().st_size:,} of" in found["a.zip"].reason
    whole = {f"a.zip!{name}": (data, True) for name, data in MEMBERS.items() if not name.endswith("/")}
    assert read(path) == whole


@pytest.mark.parametrize("how", WRITERS)
def test_a_cut_gives_whole_members_and_what_is_there_of_the_last(tmp_path: Path, how: str) -> None:
    data, path = WRITERS[how](MEMBERS), tmp_path / "a.zip"
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        starts = {info.filename: info.header_offset for info in archive.infolist()}
    ends = dict(zip(starts, [*list(starts.values())[1:], data.index(b"PK\x01\x02")], strict=True))
    for cut in range(40, ends["z.bin"], 11):
        path.write_bytes(data[:cut])
        found = read(path)
        for name, whole in MEMBERS.items():
            there, sound = found.get(f"a.zip!{name}", (b"", False))
            assert whole.startswith(there)
            if cut >= ends[name] and not name.endswith("/"):
                assert (there, sound) == (whole, True), (name, cut)
            if sound:
                assert there == whole, (name, cut)


def test_a_stored_member_whose_size_is_lost_is_named_and_not_guessed(tmp_path: Path) -> None:
    data, path = streamed({"x.csv": DATA}, zipfile.ZIP_STORED), tmp_path / "a.zip"
    path.write_bytes(data[: data.index(b"PK\x01\x02")])
    found = entries(path, salvage=True)
    assert (found["a.zip!x.csv"].kind, found["a.zip!x.csv"].code) == ("problem", "damaged-file")
    assert "its end cannot be told" in found["a.zip!x.csv"].reason


def test_what_lies_or_is_locked_is_refused_without_a_directory_too(tmp_path: Path) -> None:
    path = tmp_path / "a.zip"
    members = [RawMember(b"../up.csv", b"1"), RawMember(b"locked.csv", b"1", flags=1), RawMember(b"good.csv", b"2")]
    data = raw_zip(*members, RawMember(b"twin.csv", b"3"), RawMember(b"twin.csv", b"4"))
    path.write_bytes(data[: data.index(b"PK\x01\x02")])
    found = {name: entry.code or entry.kind for name, entry in entries(path, salvage=True).items()}
    assert found == {
        "a.zip": "damaged-file",
        "a.zip!../up.csv": "hostile-file",
        "a.zip!good.csv": "content",
        "a.zip!locked.csv": "encrypted",
        "a.zip!twin.csv (member 4)": "same-name",
        "a.zip!twin.csv (member 5)": "same-name",
    }


def test_bombs_cost_nothing_without_a_directory(tmp_path: Path) -> None:
    small, path = Limits(total=100_000, ratio=20, floor=2_000, members=10), tmp_path / "a.zip"
    for data in (streamed({"bomb": b"0" * 90_000}), streamed({f"{k}": b"" for k in range(11)})):
        path.write_bytes(data[: data.index(b"PK\x01\x02")])
        found = entries(path, limits=small, salvage=True)
        assert [(entry.kind, entry.code) for entry in found.values()] == [("problem", "hostile-file")]


def test_nothing_but_rubbish_is_refused_as_before(tmp_path: Path) -> None:
    path = tmp_path / "a.zip"
    path.write_bytes(b"PK\x03\x04" + bytes(12))
    for salvage in (False, True):
        (entry,) = entries(path, salvage=salvage).values()
        assert (entry.kind, entry.code) == ("problem", "damaged-file")
    assert "no member can be listed" in entry.reason


def test_a_wrong_descriptor_makes_the_member_damaged(tmp_path: Path) -> None:
    data, path = bytearray(streamed({"x.csv": DATA})), tmp_path / "a.zip"
    data[data.index(b"PK\x07\x08") + 6] ^= 1
    path.write_bytes(data[: data.index(b"PK\x01\x02")])
    with pytest.raises(DamagedFile, match="checksum is lost"):
        sound(entries(path, salvage=True)["a.zip!x.csv"])
