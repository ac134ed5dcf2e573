"""Damaged and hostile texts: typed errors with their line after the rows before; what is no table is left alone."""

from __future__ import annotations

import gzip
import json
import tracemalloc
import zipfile
from io import BytesIO
from typing import Any

import pytest

from csv_reading import Slow, ok, read
from vambrace.errors import DamagedFile
from vambrace.plugin import Claim, Head, Importer, Source
from vambrace_plugins.importers.csv import CsvImporter, Options

T = "2031-03-04T09:00:00Z"
HEAD = f"time,heart_rate\n{T},71\n{T},72\n"


DAMAGED = {
    "a zero byte": (HEAD + f"{T},7\x003\n{T},74\n", "line 4", "zero bytes"),
    "zeros at the end": (HEAD + "\x00" * 5000, "line 4", "zero bytes"),
    "a long line": (HEAD + "7" * 1_000_000, "line 4", "longer than 262,144"),
    "a long line with an end": (HEAD + f"{T},7" + "1" * 300_000 + f"\n{T},74\n", "line 4", "longer than 262,144"),
    "a long cell": (HEAD + f"{T},7" + "1" * 200_000 + f"\n{T},74\n", "line 4", "longer than 131,072"),
    "a quotation mark that is never closed": (HEAD + f'{T},"74\n{T},75\n{T},76\n', "line 4", "never closed"),
    "one that is never closed in a long file": (HEAD + f'{T},"74\n' + f"{T},75\n" * 9000, "line 4", "quotation mark"),
    "text behind a closing one": (HEAD + f'{T},"7"4\n{T},75\n', "line 4", "closing quotation mark"),
    "too many cells": (HEAD + f"{T},72,5\n{T},75\n", "line 4", "3 cells under a header of 2"),
    "too many cells at the end": (HEAD + f"{T},72,5\n", "line 4", "3 cells under a header of 2"),
    "too few cells": (HEAD + f"{T}\n{T},75\n", "line 4", "1 cells under a header of 2"),
    "behind a blank line": (HEAD + f"\n{T},1,2\n{T},75\n", "line 5", "3 cells"),
    "behind a line end in a cell": (
        f'time,heart_rate,note\n{T},71,"a\nb\r\nc"\n{T},72,\n{T},73\n{T},74,\n',
        "line 6",
        "2 cells under a header of 3",
    ),
}


@pytest.mark.parametrize("name", DAMAGED)
def test_damage_is_typed_and_has_its_line_and_the_rows_before_are_handed_over(name: str) -> None:
    table, line, word = DAMAGED[name]
    result = read(table)
    assert isinstance(result.error, DamagedFile)
    assert result.error.where == line
    assert word in result.error.what
    assert "--salvage" in result.error.todo
    assert result.values("heart_rate") == ["71", "72"]
    assert list(result.recordings) == [1]


def test_damage_far_into_a_file_has_its_line() -> None:
    result = read("time,heart_rate\n" + f"{T},71\n" * 23_456 + f"{T},71,9\n{T},71\n")
    assert result.error is not None
    assert result.error.where == "line 23,458"
    assert len(result.record()) == 23_456


def test_a_header_that_is_damaged_is_an_error_by_itself() -> None:
    for table in ('time,"heart_rate\n' + f"{T},71\n", "time,\x00heart_rate\n", "x" * 1_000_000):
        assert isinstance(read(table).error, DamagedFile)


def test_a_character_cut_at_the_end_is_damage() -> None:
    for encoding, cut in (("utf-8", 1), ("utf-16-le", 1), ("utf-16-be", 3)):
        table = HEAD.replace("heart_rate", "heart_rate,note").replace("\n", ",\n", 0) + f"{T},73,é"
        error = read(table.encode(encoding)[:-cut]).error
        assert error is not None, encoding
        assert isinstance(error, DamagedFile), (encoding, error)


def test_bytes_that_are_no_text_in_utf_8_name_their_place_and_the_option_that_settles_it() -> None:
    table = "time;skin temperature [C];état\n" + f"{T};33;\n" * 50_000 + f"{T};33 °;\n"
    data = table.encode("cp1252")
    error = read(data).error
    assert error is not None
    assert error.code == "encoding-not-said"
    assert error.where == f"byte {data.index(0xE9):,}"
    assert "csv.encoding=cp1252" in error.todo
    assert ok(data, encoding="cp1252").values("skin_temperature")[-1] == "33 °"


def test_bytes_that_are_no_text_late_in_a_file_name_their_place() -> None:
    data = ("time;heart_rate\n" + f"{T};71\n" * 50_000).encode() + b"\xb0"
    error = read(data).error
    assert error is not None
    assert error.where == f"byte {len(data) - 1:,}"


def test_a_byte_order_mark_stands_above_the_option() -> None:
    assert ok("\ufeff" + HEAD, encoding="cp1252").values("heart_rate") == ["71", "72"]
    assert ok(("\ufeff" + HEAD).encode("utf-16-le"), encoding="utf-8").values("heart_rate") == ["71", "72"]


def test_too_many_columns_are_refused() -> None:
    error = read("time,heart_rate" + ",x" * 5000 + "\n").error
    assert error is not None
    assert error.code == "too-many-columns"


def test_too_many_recordings_are_refused() -> None:
    table = "device,time,heart_rate\n" + "".join(f"d{at},{T},71\n" for at in range(200))
    error = read(table).error
    assert error is not None
    assert error.code == "too-many-recordings"
    assert ok(table, columns="device=-").recordings[1].not_carried == {"device": 200}


class Endless(Slow):
    """A table that never ends."""

    def __init__(self, head: bytes, body: bytes, pieces: int) -> None:
        super().__init__(head, [1 << 16])
        self._body, self._left = body, pieces

    def readinto(self, buffer: Any) -> int:
        n = super().readinto(buffer)
        if n or not self._left:
            return n
        self._left -= 1
        piece = (self._body * (len(buffer) // len(self._body) + 1))[: len(buffer) // len(self._body) * len(self._body)]
        buffer[: len(piece)] = piece
        return len(piece)


@pytest.mark.parametrize("body", [f"{T},71\n\n".encode(), b"7", b'"', b","])
def test_memory_stays_flat_whatever_comes(body: bytes) -> None:
    def peak(pieces: int) -> int:
        source = Source("x.csv", 0, lambda: Endless(b"time,heart_rate\n", body, pieces), Options())
        tracemalloc.start()
        try:
            for _ in CsvImporter().read(source):
                pass
        except DamagedFile:
            pass
        finally:
            found = tracemalloc.get_traced_memory()[1]
            tracemalloc.stop()
        return found

    # Both are longer than what is read ahead.
    small, large = peak(12), peak(36)
    assert large < small * 1.5


NOT_OURS = {
    "empty": b"",
    "blank": b"\n \n",
    "zeros": bytes(4096),
    "a picture": b"\x89PNG\r\n\x1a\n" + bytes(range(64)),
    "a zip": b"PK\x03\x04" + bytes(30),
    "xml": b'<?xml version="1.0"?><gpx/>',
    "xml with a mark": b"\xef\xbb\xbf<gpx/>",
    "json": json.dumps({"time": 1, "heart_rate": 2}).encode(),
    "json list": b'["time", "heart_rate"]',
    "json of lists": b"[\n [1, 2]]",
    "random bytes": bytes(range(256)) * 4,
}


@pytest.mark.parametrize("name", NOT_OURS)
@pytest.mark.parametrize("suffix", ["csv", "txt", "dat"])
def test_what_is_no_text_table_is_not_claimed_whatever_its_name(name: str, suffix: str) -> None:
    data = NOT_OURS[name]
    assert CsvImporter().recognise(Head(f"x.{suffix}", data, len(data))) == Claim.NONE


def test_archives_are_not_claimed() -> None:
    packed = BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        archive.writestr("a.csv", HEAD)
    for data in (packed.getvalue(), gzip.compress(HEAD.encode())):
        assert CsvImporter().recognise(Head("x.csv", data[:4096], len(data))) == Claim.NONE


@pytest.mark.parametrize(
    ("name", "text", "claim"),
    [
        ("x.csv", HEAD, Claim.CONTENT),
        ("x", HEAD, Claim.CONTENT),
        ("x.fit", "timestamp (s);HR [1/min]\n", Claim.CONTENT),
        ("x.csv", "heart_rate\n71\n", Claim.CONTENT),
        ("x", "heart_rate\n71\n", Claim.NONE),
        ("x.csv", "1,2,3\n", Claim.NAME),
        ("x.TSV", "1\t2\n", Claim.NAME),
        ("notes.txt", "Strap was dry until 09:02.\n", Claim.NAME),
        ("notes.md", "Strap was dry, until 09:02.\n", Claim.NONE),
        ("x.csv", "\n\n" + HEAD, Claim.CONTENT),
        ("x.csv", '"time","heart_rate"\n', Claim.CONTENT),
    ],
)
@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32"])
def test_claims_by_content_before_name(name: str, text: str, claim: Claim, encoding: str) -> None:
    data = text.encode(encoding)
    assert CsvImporter().recognise(Head(name, data[:4096], len(data))) == claim


def test_a_table_in_another_encoding_is_claimed_so_that_its_refusal_can_name_the_option() -> None:
    data = "time;skin temperature (°C)\n".encode("cp1252")
    assert CsvImporter().recognise(Head("x.csv", data, len(data))) == Claim.CONTENT


def test_the_importer_keeps_the_protocol() -> None:
    importer: Importer = CsvImporter()
    assert isinstance(importer, Importer)
    assert (importer.name, importer.version, importer.end_mark) == ("csv", "3", False)


def test_every_cut_of_a_small_table_is_damage_or_a_prefix_that_says_it_may_be_cut() -> None:
    table = f"time,heart_rate,power\n{T},71,120\n{T},72,121\n".encode()
    whole = ok(table)
    for at in range(len(table)):
        result = read(table[:at])
        if result.error is not None:
            assert result.error.code in {"no-header", "no-known-column", "no-time-column", "lines-before-header"}
            assert at < len("time,heart_rate,power\n")
            continue
        n = len(result.record())
        assert result.record() == whole.record()[:n]
        inside = not table[:at].endswith(b"\n")
        assert ("possibly-cut" in [rule for rule, _ in result.rules()]) == inside, at
