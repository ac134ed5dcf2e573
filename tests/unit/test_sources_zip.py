"""Zip archives: read as Python's zipfile reads them, and what is dishonest or out of reach is named."""

from __future__ import annotations

import contextlib
import io
import itertools
import os
import stat
import zipfile
from pathlib import Path

import pytest

from archives import RawMember, content, entries, raw_zip, sound, tar_bytes, zip_bytes
from vambrace.errors import DamagedFile, HostileFile, Refused, SourceError
from vambrace.sources import Limits, scan, walk

DATA = bytes(range(256)) * 40
ENCRYPTED, LINK = 0x1, stat.S_IFLNK | 0o777


def by_zipfile(path: Path) -> dict[str, bytes]:
    """Read every member that is no folder with Python's own module: the outside check."""
    with zipfile.ZipFile(path) as archive:
        return {f"{path.name}!{info.filename}": archive.read(info) for info in archive.infolist() if not info.is_dir()}


def contents(path: Path) -> dict[str, bytes]:
    return {name: content(entry) for name, entry in entries(path).items() if entry.kind == "content"}


def written(folder: Path, data: bytes, name: str = "a.zip") -> Path:
    (folder / name).write_bytes(data)
    return folder / name


@pytest.mark.parametrize("method", [zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2])
def test_members_read_as_zipfile_reads_them(tmp_path: Path, method: int) -> None:
    members = {
        "in/x.csv": DATA,
        "empty.fit": b"",
        "in/deep/é.csv": b"1,2\n",
        "large.bin": os.urandom(600_000),
        "in/": b"",
    }
    path = written(tmp_path, zip_bytes(members, method))
    assert contents(path) == by_zipfile(path)
    found = entries(path)
    assert next((e.path, e.kind, e.reason, e.size) for e in found.values()) == (
        "a.zip",
        "archive",
        "archive, 4 members",
        path.stat().st_size,
    )
    assert found["a.zip!in/x.csv"].name == "x.csv"
    assert scan(found["a.zip!in/x.csv"]).size == found["a.zip!in/x.csv"].size == len(DATA)


def test_one_member_and_none(tmp_path: Path) -> None:
    assert entries(written(tmp_path, zip_bytes({"a": b"1"})))["a.zip"].reason == "archive, 1 member"
    assert entries(written(tmp_path, zip_bytes({})))["a.zip"].reason == "archive, 0 members"
    assert entries(written(tmp_path, zip_bytes({"a/": b""})))["a.zip"].reason == "archive, 0 members"


def test_members_stand_in_the_order_of_their_paths_among_files(tmp_path: Path) -> None:
    written(tmp_path, zip_bytes({"b": b"1", "a/z": b"2", "a": b"3", "B": b"4"}))
    for name in ("a.zip ", "a.zip#", "a.zi", "a.zip-1"):
        (tmp_path / name).write_bytes(b"")
    paths = [entry.path for entry in walk([tmp_path])]
    assert paths == sorted(paths, key=str.encode)
    assert len(paths) == 9


class Unseekable(io.RawIOBase):
    """A target that zipfile can only write forwards, with sizes behind the data."""

    def __init__(self) -> None:
        self.data = b""

    def writable(self) -> bool:
        return True

    def write(self, data: bytes) -> int:  # type: ignore[override]
        self.data += bytes(data)
        return len(data)


@pytest.mark.parametrize("zip64", [False, True])
def test_streamed_and_64_bit_archives_read_as_zipfile_reads_them(tmp_path: Path, zip64: bool) -> None:
    target = Unseekable()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:  # type: ignore[call-overload]
        for name in ("x.csv", "y.csv"):
            with archive.open(name, "w", force_zip64=zip64) as member:
                member.write(DATA + name.encode())
        archive.comment = b"made as a stream"
    path = written(tmp_path, target.data)
    assert contents(path) == by_zipfile(path) == {f"a.zip!{n}": DATA + n.encode() for n in ("x.csv", "y.csv")}


def test_a_64_bit_directory_reads_as_zipfile_reads_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(zipfile, "ZIP64_LIMIT", 10)
    monkeypatch.setattr(zipfile, "ZIP_FILECOUNT_LIMIT", 1)
    data = zip_bytes({"x.csv": DATA, "y.csv": b"1" * 20})
    monkeypatch.undo()
    assert b"PK\x06\x06" in data
    path = written(tmp_path, data)
    assert contents(path) == by_zipfile(path)
    assert len(contents(path)) == 2


@pytest.mark.parametrize(
    ("name", "why"),
    [
        (b"../evil.csv", "holds `..`"),
        (b"a/../../evil.csv", "holds `..`"),
        (b"/etc/evil.csv", "absolute path"),
        (b"C:/evil.csv", "absolute path"),
        (b"..\\evil.csv", "backslash"),
        (b"a\nb.csv", "control characters"),
        (b"", "no name"),
        (b"./", "no name"),
    ],
)
def test_a_name_that_leads_out_is_a_problem_and_the_others_are_read(tmp_path: Path, name: bytes, why: str) -> None:
    found = entries(written(tmp_path, raw_zip(RawMember(name, b"1"), RawMember(b"good.csv", b"2"))))
    bad = [entry for entry in found.values() if entry.kind == "problem"]
    assert [(entry.code, why in entry.reason) for entry in bad] == [("hostile-file", True)]
    assert content(found["a.zip!good.csv"]) == b"2"
    assert found["a.zip"].code == "unreached-members"
    assert found["a.zip"].reason.startswith("archive, 2 members; 1 of them could not be reached safely")
    assert not any(c < " " for path in found for c in path)


@pytest.mark.parametrize("system", [0, 10, 14])
def test_backslashes_of_old_windows_programs_are_read_as_slashes(tmp_path: Path, system: int) -> None:
    made = [RawMember(b"in\\", b"", system=system), RawMember("in\\deep\\é.csv".encode(), DATA, system=system)]
    found = entries(written(tmp_path, raw_zip(*made, RawMember(b"good.csv", b"2", system=system))))
    assert content(found["a.zip!in/deep/é.csv"]) == DATA
    assert found["a.zip!in/deep/é.csv"].name == "é.csv"
    assert (found["a.zip"].kind, found["a.zip"].reason) == (
        "archive",
        "archive, 2 members; 1 with `\\` in the name, read as `/`",
    )


@pytest.mark.parametrize(
    ("names", "system", "code"),
    [
        ([b"in\\x.csv"], 3, "hostile-file"),
        ([b"in/x\\y.csv"], 0, "hostile-file"),
        ([b"..\\x.csv"], 0, "hostile-file"),
        ([b"a\\..\\x.csv"], 0, "hostile-file"),
        ([b"C:\\x.csv"], 10, "hostile-file"),
        ([b"\\\\server\\x.csv"], 0, "hostile-file"),
        ([b"\\x.csv"], 0, "hostile-file"),
        # 0x83 0x5C is one letter in Shift-JIS.
        ([b"\x83\x5cx.csv"], 0, "hostile-file"),
        ([b"in\\x.csv", b"in/x.csv"], 0, "same-name"),
    ],
)
def test_backslashes_that_are_not_clear_or_lead_out_are_refused(
    tmp_path: Path, names: list[bytes], system: int, code: str
) -> None:
    found = entries(written(tmp_path, raw_zip(*(RawMember(name, b"1", system=system) for name in names))))
    members = [entry for path, entry in found.items() if path != "a.zip"]
    assert [(entry.kind, entry.code) for entry in members] == [("problem", code)] * len(names)


def test_members_of_one_name_are_problems_with_a_row_each(tmp_path: Path) -> None:
    members = [
        RawMember(name, b"%d" % k) for k, name in enumerate([b"a.csv", b"b.csv", b"./a.csv", b"A.csv", b"a.csv"])
    ]
    found = entries(written(tmp_path, raw_zip(*members)))
    assert {path: entry.code for path, entry in found.items()} == {
        "a.zip": "unreached-members",
        "a.zip!A.csv": "",
        "a.zip!a.csv (member 1)": "same-name",
        "a.zip!a.csv (member 3)": "same-name",
        "a.zip!a.csv (member 5)": "same-name",
        "a.zip!b.csv": "",
    }


def test_overlapping_members_are_problems(tmp_path: Path) -> None:
    shared = RawMember(b"kernel", b"0" * 1000, method=8)
    bomb = raw_zip(
        RawMember(b"first", b"1"), shared, *(RawMember(b"%d" % k, b"0" * 1000, 8, offset=36) for k in range(5))
    )
    found = entries(written(tmp_path, bomb))
    assert content(found["a.zip!first"]) == b"1"
    others = [entry for path, entry in found.items() if path not in ("a.zip", "a.zip!first")]
    assert [(entry.code, "another member's too" in entry.reason) for entry in others] == [("hostile-file", True)] * 6


@pytest.mark.parametrize("method", [0, 8])
@pytest.mark.parametrize("declared", [0, 10, 19, 21, 1 << 20])
def test_a_size_that_lies_is_stopped(tmp_path: Path, method: int, declared: int) -> None:
    member = RawMember(b"a.csv", b"x" * 20, method, size=declared)
    entry = entries(written(tmp_path, raw_zip(member)))["a.zip!a.csv"]
    if method == 0:
        assert (entry.kind, entry.code) == ("problem", "damaged-file")
        assert "contradicts itself" in entry.reason
    elif entry.kind == "problem":
        assert entry.code in ("damaged-file", "hostile-file")
    else:
        with pytest.raises(HostileFile if declared < 20 else DamagedFile):
            sound(entry)


def test_a_size_that_lies_about_much_is_stopped_before_it_is_unpacked(tmp_path: Path) -> None:
    member = RawMember(b"a.csv", b"x" * (50 << 20), 8, size=1000)
    entry = entries(written(tmp_path, raw_zip(member)))["a.zip!a.csv"]
    assert (entry.kind, entry.code) == ("problem", "hostile-file")
    assert "more than the 1,000 bytes that the archive declares" in entry.reason


def test_a_wrong_checksum_is_damage_as_zipfile_says_too(tmp_path: Path) -> None:
    path = written(tmp_path, raw_zip(RawMember(b"a.csv", DATA, 8, crc=0x12345678)))
    with zipfile.ZipFile(path) as archive:
        assert archive.testzip() == "a.csv"
    with pytest.raises(DamagedFile, match="the archive says 12345678"):
        sound(entries(path)["a.zip!a.csv"])


@pytest.mark.parametrize(
    ("member", "code", "why"),
    [
        (RawMember(b"m", b"1", flags=ENCRYPTED), "encrypted", "with its password"),
        (RawMember(b"m", b"1", method=9), "unsupported-method", "Deflate64"),
        (RawMember(b"m", b"1", method=99), "unsupported-method", "AES encryption"),
        (RawMember(b"m", b"1", method=77), "unsupported-method", "number 77"),
        (RawMember(b"m", b"/etc/passwd", mode=LINK), "special-file", "it is a link"),
        (RawMember(b"m", b"", mode=stat.S_IFIFO), "special-file", "not a plain file"),
        (RawMember(b"m/", b"content"), "special-file", "folder with 7 bytes"),
    ],
)
def test_what_cannot_be_read_says_why(tmp_path: Path, member: RawMember, code: str, why: str) -> None:
    found = entries(written(tmp_path, raw_zip(member, RawMember(b"good.csv", b"2", mode=stat.S_IFREG | 0o600))))
    assert found["a.zip!m"].kind == "problem"
    assert found["a.zip!m"].code == code
    assert why in found["a.zip!m"].reason
    assert content(found["a.zip!good.csv"]) == b"2"


def test_archives_are_read_two_deep_and_the_third_is_named(tmp_path: Path) -> None:
    third = zip_bytes({"x.csv": b"1"})
    second = zip_bytes({"third.zip": third, "y.csv": DATA, "t.tar.gz": tar_bytes({"z.csv": b"3"}, "w:gz")})
    found = entries(written(tmp_path, zip_bytes({"in/second.zip": second, "in/t.tar": tar_bytes({"q": b"4"})})))
    told = {path: entry.code or entry.kind for path, entry in found.items()}
    assert told == {
        "a.zip": "archive",
        "a.zip!in/second.zip": "archive",
        "a.zip!in/second.zip!t.tar.gz": "nested-too-deep",
        "a.zip!in/second.zip!third.zip": "nested-too-deep",
        "a.zip!in/second.zip!y.csv": "content",
        "a.zip!in/t.tar": "archive",
        "a.zip!in/t.tar!q": "content",
    }
    assert content(found["a.zip!in/second.zip!y.csv"]) == DATA
    assert content(found["a.zip!in/t.tar!q"]) == b"4"
    assert "Unpack the outer one" in found["a.zip!in/second.zip!third.zip"].reason


@pytest.mark.parametrize("names", [["mimetype", "OEBPS/a.xhtml"], ["[Content_Types].xml", "xl/workbook.xml"]])
def test_a_document_in_a_zip_container_is_one_source(tmp_path: Path, names: list[str]) -> None:
    data = zip_bytes(dict.fromkeys(names, b"x"))
    found = entries(written(tmp_path, data, "book.bin"), written(tmp_path, zip_bytes({"d.xlsx": data}), "b.zip"))
    assert {path: entry.kind for path, entry in found.items()} == {
        "book.bin": "content",
        "b.zip": "archive",
        "b.zip!d.xlsx": "content",
    }
    assert content(found["book.bin"]) == content(found["b.zip!d.xlsx"]) == data


SMALL = Limits(total=100_000, ratio=20, floor=2_000, members=10, spool=50_000)


@pytest.mark.parametrize(
    ("members", "why"),
    [
        ({"bomb": b"0" * 90_000}, "more than 20 times as much"),
        ({f"{k}": b"0" * 2_000 for k in range(10)}, "are allowed"),
        ({"large": os.urandom(60_000), "larger": os.urandom(60_000)}, "100,000 are allowed"),
        ({f"{k}": b"" for k in range(11)}, "more than the 10 that are read"),
    ],
)
def test_bombs_cost_nothing(tmp_path: Path, members: dict[str, bytes], why: str) -> None:
    found = entries(written(tmp_path, zip_bytes(members)), limits=SMALL)
    assert not [path for path, entry in found.items() if entry.kind == "content"]
    assert any(why in entry.reason and entry.code == "hostile-file" for entry in found.values())
    if len(found) > 1:
        assert len(found) == len(members) + 1


def test_a_small_table_of_equal_rows_is_no_bomb(tmp_path: Path) -> None:
    path = written(tmp_path, zip_bytes({"zeros.csv": b"0,0\n" * 2_000_000}))
    assert content(entries(path)["a.zip!zeros.csv"]) == b"0,0\n" * 2_000_000


def test_archives_inside_share_the_outer_ones_budget(tmp_path: Path) -> None:
    inner = zip_bytes({"x": b"0" * 1_900})
    outer = zip_bytes({f"{k}.zip": inner for k in range(9)}, zipfile.ZIP_STORED)
    found = entries(written(tmp_path, outer), limits=Limits(total=10_000, ratio=20, floor=2_000))
    read = [path for path, entry in found.items() if entry.kind == "content"]
    spent = len(inner) * 9 + 1_900 * len(read)
    assert spent <= 10_000 < spent + 1_900
    assert len(found) == 1 + 9 + 9
    refused = [entry for path, entry in found.items() if path.endswith("!x") and path not in read]
    assert all("10,000 are allowed" in entry.reason for entry in refused)
    assert len(refused) + len(read) == 9


def test_a_member_count_that_lies_is_found_in_the_directory(tmp_path: Path) -> None:
    data = bytearray(raw_zip(*(RawMember(b"%06d" % k, b"") for k in range(2_000))))
    data[-14:-10] = b"\x01\x00\x01\x00"
    found = entries(written(tmp_path, bytes(data)), limits=SMALL)
    assert [(entry.kind, entry.code) for entry in found.values()] == [("problem", "hostile-file")]


def test_ignore_patterns_reach_members_and_whole_archives(tmp_path: Path) -> None:
    path = written(tmp_path, zip_bytes({"in/x.csv": b"1", "in/y.fit": b"2", "out/x.csv": b"3"}))
    for pattern, left in {
        "*.csv": ["a.zip!in/y.fit"],
        "in": ["a.zip!out/x.csv"],
        "in/x.csv": ["a.zip!in/y.fit", "a.zip!out/x.csv"],
        "a.zip!in/*": ["a.zip!out/x.csv"],
        "a.zip": [],
    }.items():
        found = entries(path, ignore=(pattern,))
        assert [name for name, entry in found.items() if entry.kind == "content"] == left, pattern
    assert list(entries(path, ignore=("*.zip",))) == ["a.zip"]


def test_an_archive_that_changes_after_it_was_listed_is_refused(tmp_path: Path) -> None:
    path = written(tmp_path, zip_bytes({"x.csv": b"1", "y.csv": b"2"}))
    found = entries(path)
    assert content(found["a.zip!x.csv"]) == b"1"
    written(tmp_path, zip_bytes({"y.csv": b"20", "x.csv": b"10"}))
    with pytest.raises(Refused, match="changed after it was listed"):
        scan(found["a.zip!x.csv"])


def test_a_zip_cut_anywhere_is_told(tmp_path: Path) -> None:
    whole = zip_bytes({"x.csv": b"1,2\n3,4\n", "y.csv": b"5"})
    for length in range(4, len(whole)):
        found = entries(written(tmp_path, whole[:length]))
        assert [(entry.kind, entry.code) for entry in found.values()] == [("problem", "damaged-file")], length
        assert "directory cannot be read" in found["a.zip"].reason


def test_no_flipped_bit_gives_other_bytes(tmp_path: Path) -> None:
    # Checksums hold the contents; everything else may at most make a member a problem, or rename it.
    originals = {"x.csv": b"12:00,61\n12:01,62\n12:02,62\n" * 3, "y.csv": b"1"}
    whole, read = bytearray(zip_bytes(originals)), 0
    for place, bit in itertools.product(range(4, len(whole)), range(8)):
        whole[place] ^= 1 << bit
        for entry in entries(written(tmp_path, bytes(whole))).values():
            if entry.kind == "content":
                with contextlib.suppress(SourceError):
                    assert content(entry) in originals.values(), (place, bit)
                    read += 1
        whole[place] ^= 1 << bit
    # About half of an archive of two short members are names, times and the like.
    assert read > 8 * len(whole) / 2


@pytest.mark.parametrize("inside", [{"in.csv": DATA}, {}])
def test_a_cut_archive_is_not_taken_for_one_inside_it(tmp_path: Path, inside: dict[str, bytes]) -> None:
    # zipfile takes the last directory that it finds, and a stored archive brings one of its own.
    whole = zip_bytes({"first.csv": DATA, "inner.zip": zip_bytes(inside)}, zipfile.ZIP_STORED)
    path = written(tmp_path, whole[: whole.rindex(b"PK\x01\x02") - len(whole)])
    with zipfile.ZipFile(path) as archive:
        assert archive.namelist() == list(inside)
    found = entries(path)
    assert list(found) == ["a.zip"]
    assert found["a.zip"].kind == "problem"
    assert "lists the member that stands at its beginning" in found["a.zip"].reason
