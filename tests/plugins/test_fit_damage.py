"""Damaged FIT files: always one of the project's own errors, never a warning, and what stands before is handed over."""

from __future__ import annotations

import io
import warnings

import pytest

from fit_reading import T0, TIME, begin, read, small
from vambrace.demo.fit_encoder import crc16
from vambrace.errors import DamagedFile
from vambrace.plugin import Source
from vambrace_plugins.importers.fit import FitImporter, decode

WHOLE = small()
WHOLE_READ = read(WHOLE)


def test_the_small_file_is_whole() -> None:
    result = read(WHOLE)
    assert result.error is None
    assert {signal for _, signal in result.rows} == {
        "heart_rate",
        "latitude",
        "longitude",
        "altitude",
        "cadence",
        "rr_interval",
        "step_count",
        "oxygen_saturation",
    }


@pytest.mark.parametrize("cut", range(len(WHOLE)))
def test_a_cut_at_every_byte_is_damage_and_gives_a_prefix(cut: int) -> None:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        result = read(WHOLE[:cut])
    assert isinstance(result.error, DamagedFile)
    assert str(result.error).startswith("byte ")
    assert all(about.complete is not True for about in result.about.values())
    for key, rows in result.rows.items():
        assert rows == WHOLE_READ.rows[key][: len(rows)]


def test_rows_before_the_damage_are_handed_over() -> None:
    result = read(WHOLE[:-3])
    assert result.values("heart_rate") == [70, 71]
    assert result.values("heart_rate", 3) == [73, 74, 75]
    assert "breaks off" in str(result.error)


def test_the_error_names_the_byte_at_which_it_breaks_off() -> None:
    result = read(WHOLE[:100])
    assert "breaks off at byte 100" in str(result.error)
    assert "--salvage" in str(result.error)


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "empty"),
        (b"\x89PNG\r\n\x1a\n" + bytes(60), "does not begin like a FIT file"),
        (b"\x0e\x20\x00\x08\x00\x00\x00\x00.FIX" + bytes(60), "does not begin like a FIT file"),
        (b"\x05\x20\x00\x08\x00\x00\x00\x00.FIT" + bytes(60), "does not begin like a FIT file"),
        (b"\x0d\x20\x00\x08\x00\x00\x00\x00.FIT" + bytes(60), "does not begin like a FIT file"),
        (WHOLE + b"\0" * 40, "no further FIT file"),
        (WHOLE + b"\0" * 5, "breaks off"),
    ],
)
def test_what_is_no_fit_file_is_said_so(data: bytes, words: str) -> None:
    result = read(data)
    assert isinstance(result.error, DamagedFile)
    assert words in str(result.error)


def test_a_recording_that_was_never_closed_is_named_as_such() -> None:
    unclosed = WHOLE[:4] + bytes(4) + WHOLE[8:12] + bytes(2) + WHOLE[14:]
    result = read(unclosed)
    assert "never closed" in str(result.error)


def test_a_header_whose_checksum_is_wrong_is_damage() -> None:
    wrong = WHOLE[:12] + b"\x01\x02" + WHOLE[14:]
    result = read(wrong)
    assert isinstance(result.error, DamagedFile)
    assert not result.rows


def test_a_header_without_checksum_is_legal() -> None:
    body = WHOLE[:12] + b"\0\0" + WHOLE[14:-2]
    whole = body + crc16(body).to_bytes(2, "little")
    assert read(whole).error is None
    assert read(whole).rows == read(WHOLE).rows


def test_a_message_without_definition_is_damage() -> None:
    body = WHOLE[14:-2] + b"\x0f\x01"
    header = WHOLE[:4] + len(body).to_bytes(4, "little") + b".FIT\0\0"
    result = read(header + body + crc16(header + body).to_bytes(2, "little"))
    assert "local message 15 not defined" in str(result.error)


def test_a_message_beyond_the_end_of_the_data_is_damage() -> None:
    header = WHOLE[:4] + (len(WHOLE) - 16 - 3).to_bytes(4, "little") + b".FIT\0\0"
    result = read(header + WHOLE[14:])
    assert "beyond the end of the data" in str(result.error)


def test_damage_in_the_second_chained_file_keeps_the_first() -> None:
    result = read(WHOLE + WHOLE[:150])
    assert result.about[1].complete is True
    assert result.values("heart_rate") == [70, 71]
    assert isinstance(result.error, DamagedFile)
    assert result.error.where.startswith("byte ")


def test_a_size_that_does_not_fit_its_type_is_not_carried() -> None:
    fit = begin()
    fit.define(1, 20, [TIME, (3, "uint8")])
    fit.write(1, T0, 70)
    data = bytearray(fit.to_bytes())
    at = data.index(bytes((253, 4, 0x86, 3, 1, 2)))
    data[at + 5] = 0x84  # one byte of a 16-bit type
    fixed = bytes(data[:-2]) + crc16(bytes(data[:-2])).to_bytes(2, "little")
    result = read(fixed)
    assert result.error is None
    assert not result.rows
    assert result.about[1].not_carried["record.heart_rate"] == 1


class _Breaking(io.BytesIO):
    def read(self, size: int | None = -1, /) -> bytes:
        if self.tell() > 60:
            raise OSError(5, "the disk gave up")
        return super().read(size)


def test_errors_of_the_stream_itself_pass_through() -> None:
    source = Source("x.fit", len(WHOLE), lambda: _Breaking(WHOLE))
    with pytest.raises(OSError, match="gave up"):
        list(FitImporter().read(source))


def test_the_handle_is_closed_even_after_damage() -> None:
    streams: list[io.BytesIO] = []

    def opener() -> io.BytesIO:
        streams.append(io.BytesIO(WHOLE[:90]))
        return streams[-1]

    read(WHOLE[:90], opener=opener)
    assert [stream.closed for stream in streams] == [True]


def test_messages_of_many_bytes_end_a_block_early(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decode, "BLOCK_BYTES", 20)
    assert read(WHOLE).comparable == WHOLE_READ.comparable
