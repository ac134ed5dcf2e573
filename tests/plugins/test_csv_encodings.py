"""Bytes that are no UTF-8: read as cp1252 where nothing else makes sense, refused with the readings where it does.

Python's own codecs are the outside check: every table here is written by `str.encode`.
"""

from __future__ import annotations

import csv
import io
from itertools import product

import pytest

from csv_reading import ok, read

T = "2031-03-04T09:00:00Z"
HEADERS = {
    "skin temperature (°C)": ("skin_temperature", "°C"),
    "ambient temperature [°F]": ("ambient_temperature", "°F"),
    "body temperature °C": ("body_temperature", "°C"),
    "RR interval (µs)": ("rr_interval", "µs"),
}


OTHERS = ("cp437", "cp850", "mac_roman", "cp1250", "cp1251", "koi8_r", "iso8859_5", "cp932")
TEXTS = ("é", "Größe", "Кольцо", "ñandú", "33 °", "für", "æøå", "żółć")


def can_write(encoding: str, text: str) -> bool:
    """Return whether an encoding has all letters of a text, and writes it in bytes that are not ASCII."""
    data = text.encode(encoding, "ignore")
    return data.decode(encoding) == text and not data.isascii()


def table(header: str, *notes: str) -> str:
    """Return a table of a time, one column and notes."""
    return f"time;{header};note\n" + "".join(f"{T};33;{note}\n" for note in (*notes, "end"))


@pytest.mark.parametrize("encoding", ["cp1252", "latin-1"])
@pytest.mark.parametrize("header", [header for header in HEADERS if "(" in header or "[" in header])
def test_a_unit_that_only_one_reading_gives_is_evidence(header: str, encoding: str) -> None:
    signal, unit = HEADERS[header]
    result = ok(table(header).encode(encoding))
    assert result.values(signal) == ["33"]
    assert result.batches[0].columns[0].unit == unit
    (sentence,) = [one for one in result.conversions() if "cp1252" in one]
    assert header in sentence
    assert "no UTF-8" in sentence


def test_the_evidence_stands_in_every_recording_of_the_file() -> None:
    text = f"time;skin temperature (°C);device\n{T};33;band-A\n{T};34;ring-B\n"
    result = ok(text.encode("cp1252"))
    assert len(result.recordings) == 2
    assert all(any("cp1252" in one for one in each.conversions) for each in result.recordings.values())


def test_signs_that_are_no_text_in_other_encodings_are_evidence() -> None:
    result = ok(table("heart_rate", "33 °C outside", "±1", "12 m/s²").encode("cp1252"))
    assert result.values("heart_rate") == ["33"] * 4
    (sentence,) = [one for one in result.conversions() if "cp1252" in one]
    for sign in ("░", "∞", "cp437", "mac_roman"):
        assert sign in sentence


@pytest.mark.parametrize(
    ("header", "note"),
    [
        ("heart_rate", "é"),
        ("heart_rate", "£5"),
        ("heart_rate", "½ hour"),
        ("heart_rate", "naïve"),
        # Known in cp1251 as well, which reads the note as another letter.
        ("skin temperature (°C)", "é"),
        # Cyrillic letters in cp1251.
        ("skin temperature (°C)", "Êîëüöî"),
        ("température", "x"),
    ],
)
def test_letters_that_other_encodings_read_as_other_letters_are_refused(header: str, note: str) -> None:
    data = table(header, note).encode("cp1252")
    error = read(data).error
    assert error is not None
    assert error.code == "encoding-not-said"
    first = next(at for at, byte in enumerate(data) if byte >= 0x80)
    assert error.where == f"byte {first:,}"
    assert all(name in str(error) for name in ("cp1252", "cp437", "mac-roman", "csv.encoding="))


@pytest.mark.parametrize(("encoding", "note"), [pair for pair in product(OTHERS, TEXTS) if can_write(*pair)])
def test_texts_of_other_encodings_are_never_read_as_other_text(encoding: str, note: str) -> None:
    text = f"time;heart_rate;device\n{T};33;{note}\n"
    data = text.encode(encoding)
    result = read(data)
    if result.error is None:
        assert result.recordings[1].product == note
    else:
        assert result.error.code == "encoding-not-said"
    assert ok(data, encoding=encoding).recordings[1].product == note


@pytest.mark.parametrize("byte", [0x80, 0x85, 0x93, 0x9F])
def test_a_late_byte_that_tells_cp1252_from_latin_1_is_refused(byte: int) -> None:
    rows = f"{T};33;ok\n" * 30_000
    data = ("time;skin temperature (°C);note\n" + rows + f"{T};33;").encode("cp1252") + bytes([byte]) + b"\n"
    error = read(data).error
    assert error is not None
    assert error.code == "encoding-not-said"
    assert error.where == f"byte {len(data) - 2:,}"
    assert "csv.encoding=cp1252" in error.todo
    assert len(ok(data, encoding="cp1252").record()) == 30_001
    early = read(b"time;skin temperature (\xb0C);note\n" + T.encode() + b";33;" + bytes([byte]) + b"\n").error
    assert early is not None
    assert early.code == "encoding-not-said"


def test_a_damaged_file_of_utf_8_is_not_taken_for_cp1252() -> None:
    data = table("skin temperature (°C)", "ok").encode() + f"{T};33;".encode() + b"\xe9\n"
    error = read(data).error
    assert error is not None
    assert error.code == "encoding-not-said"


@pytest.mark.parametrize("said", ["cp1252", "latin-1", "mac_roman", "cp437", "gbk"])
def test_an_encoding_that_is_said_does_not_stand_against_utf_8(said: str) -> None:
    data = table("skin temperature (°C)", "é", "ok").encode()
    error = read(data, encoding=said).error
    assert error is not None
    assert error.code == "encoding-two-readings"
    assert error.where == f"byte {data.index(0xC2):,}"
    assert '"°" in utf-8' in str(error)
    assert f'"{"°".encode().decode(said, "replace")}" in' in str(error)
    assert "csv.encoding=utf-8" in error.todo
    assert ok(data, encoding="utf-8").values("skin_temperature") == ["33"] * 3


def test_an_encoding_that_is_said_holds_for_plain_files_and_its_own() -> None:
    assert ok(table("heart_rate", "ok"), encoding="cp1252").values("heart_rate") == ["33"] * 2
    for said in ("cp1252", "latin-1", "mac_roman", "utf-16-le"):
        result = ok(table("heart_rate", "é", "ü").encode(said), encoding=said)
        assert result.values("heart_rate") == ["33"] * 3
        assert not [one for one in result.conversions() if "read as" in one]


def test_a_character_that_the_first_block_cuts_is_whole() -> None:
    for shift in range(4):
        front = "time;heart_rate;note\n" + f"{T};33;{'x' * 1000}\n" * 250 + "\n" * shift
        data = front.encode() + f"{T};33;{'€' * 4000}\n".encode()
        assert len(front) < 1 << 18 < len(data)
        assert ok(data).values("heart_rate") == ["33"] * 251
        assert ok(data, pieces=[shift + 1, 4096]).values("heart_rate") == ["33"] * 251


@pytest.mark.parametrize("pieces", [[1], [7, 3], [1024], [4096, 1]])
def test_the_decision_does_not_hang_on_how_the_bytes_come(pieces: list[int]) -> None:
    data = table("skin temperature (°C)", "33 °", "ok").encode("cp1252")
    cut, whole = read(data, pieces=pieces), read(data)
    assert (cut.seen(), cut.recordings) == (whole.seen(), whole.recordings)


def test_every_cell_is_as_the_csv_module_reads_the_text() -> None:
    text = table("skin temperature (°C)", "33 °", "±", "×")
    rows = list(csv.reader(io.StringIO(text.encode("cp1252").decode("cp1252")), delimiter=";"))[1:]
    assert ok(text.encode("cp1252"), encoding="cp1252").values("skin_temperature") == [row[1] for row in rows]


def test_a_long_word_takes_no_long_time() -> None:
    assert read(b"time;heart_rate\n" + b"x" * 200_000 + b"\xe9" * 50_000).error is not None


@pytest.mark.parametrize("encoding", ["utf-16-le", "utf-16-be"])
def test_utf_16_without_a_mark_is_known_with_letters_whose_low_byte_is_zero(encoding: str) -> None:
    # U+0100 is 00 01 in UTF-16LE (The Unicode Standard, 3.10).
    data = "time,heart_rate,note\n2031-03-04T09:00:00Z,71,\u0100\u0200\n".encode(encoding)
    assert ok(data).values("heart_rate") == ["71"]
