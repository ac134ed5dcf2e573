"""Whatever a folder's files are called and an archive's members hold: all are found once, in order, as they are."""

from __future__ import annotations

import io
import os
import re
import tarfile
import tempfile
import zipfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from archives import content, entries, tar_bytes, zip_bytes
from vambrace.sources import walk
from vambrace.sources.names import file_name, member_paths, shown, shown_apart

steady = settings(max_examples=60, deadline=None, derandomize=True)
# Few letters, so that names collide, nest and look like one another's escapes.
odd_names = st.one_of(
    st.text("ab!\\x21f.é\n", min_size=1, max_size=6).map(str.encode),
    st.binary(min_size=1, max_size=4).map(lambda raw: raw.replace(b"/", b"_").replace(b"\0", b"_")),
).filter(lambda name: name not in (b".", b".."))


@pytest.mark.skipif(os.name != "posix", reason="names of any bytes are POSIX only")
@given(st.lists(st.lists(odd_names, min_size=1, max_size=3), max_size=12))
@steady
def test_every_file_has_one_row_in_order_and_none_is_invented(paths: list[list[bytes]]) -> None:
    with tempfile.TemporaryDirectory() as folder:
        for parts in paths:
            place = os.path.join(os.fsencode(folder), *parts)
            try:
                os.makedirs(os.path.dirname(place), exist_ok=True)
                with open(place, "wb") as file:
                    file.write(place)
            except (FileExistsError, IsADirectoryError, NotADirectoryError):
                continue
        there = {os.path.join(at, name) for at, _, names in os.walk(os.fsencode(folder)) for name in names}
        found = list(walk([folder]))
        assert [entry.path.encode() for entry in found] == sorted({entry.path.encode() for entry in found})
        assert sorted(content(entry) for entry in found) == sorted(there)


@given(st.sets(odd_names, max_size=10))
@steady
def test_names_of_one_folder_are_shown_as_different_valid_texts(names: set[bytes]) -> None:
    texts = shown_apart([file_name(os.fsdecode(name)) for name in names])
    assert len(set(texts.values())) == len(names)
    for text in texts.values():
        assert text.encode("utf-8").decode("utf-8") == text
        assert not any(f"{other}!" == text[: len(other) + 1] for other in texts.values())


@given(st.binary(max_size=8))
@steady
def test_what_is_shown_leads_back_to_the_bytes(raw: bytes) -> None:
    text = shown(raw.decode("utf-8", "surrogateescape"))
    # A byte is written `\xNN`, and a backslash that would look like that `\x5c`.
    back = re.sub(rb"\\x([0-9a-f]{2})", lambda hit: bytes([int(hit[1], 16)]), text.encode())
    assert back == raw


@given(st.lists(st.text("ab/.! ()1'", max_size=5), max_size=8))
@steady
def test_each_member_has_a_path_of_its_own(names: list[str]) -> None:
    paths = member_paths(names)
    assert len(set(paths)) == len(names)


safe_names = st.lists(st.text("abcé- ", min_size=1, max_size=5), min_size=1, max_size=3).map("/".join)
# The comma keeps contents from being archives themselves; a tar without members is only zeros.
contents = st.binary(max_size=2000).map(lambda data: b"," + data)
members = st.dictionaries(safe_names, contents, min_size=1, max_size=6)


@given(members, st.sampled_from([zipfile.ZIP_STORED, zipfile.ZIP_DEFLATED, zipfile.ZIP_BZIP2]))
@steady
def test_zip_members_are_what_zipfile_reads(expected: dict[str, bytes], method: int) -> None:
    data = zip_bytes(expected, method)
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        assert {name: archive.read(name) for name in archive.namelist()} == expected
    assert read_back(data) == expected


@given(members, st.sampled_from(["w", "w:gz"]), st.sampled_from([tarfile.GNU_FORMAT, tarfile.PAX_FORMAT]))
@steady
def test_tar_members_are_what_tarfile_reads(expected: dict[str, bytes], mode: str, kind: int) -> None:
    data = tar_bytes(expected, mode, kind)
    with tarfile.open(fileobj=io.BytesIO(data)) as archive:
        assert archive.getnames() == list(expected)
    assert read_back(data) == expected


def read_back(data: bytes) -> dict[str, bytes]:
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "a").write_bytes(data)
        found = entries(Path(folder, "a"))
        return {path.removeprefix("a!"): content(entry) for path, entry in found.items() if entry.kind == "content"}


@given(
    st.binary(max_size=1500),
    st.sampled_from([b"PK\x03\x04", b"PK\x05\x06", b"", b"\x1f\x8b\x08"]),
    st.integers(0, 1500),
)
@steady
def test_rubbish_ends_in_rows_never_in_a_traceback(rubbish: bytes, mark: bytes, cut: int) -> None:
    honest = zip_bytes({"x": b"1" * 50, "y": b"2"}) if mark else tar_bytes({"x": b"1" * 50, "y": b"2"})
    data = mark + rubbish[len(mark) : cut] + honest[max(len(mark), cut) :] + rubbish[:20]
    with tempfile.TemporaryDirectory() as folder:
        Path(folder, "a").write_bytes(data)
        found = entries(Path(folder, "a"))
        assert "a" in found
        assert all(entry.reason for entry in found.values() if entry.kind == "problem")
