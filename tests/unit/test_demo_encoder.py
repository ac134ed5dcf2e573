"""The FIT encoder against two decoders that owe nothing to it, and against vectors written from the protocol."""

from __future__ import annotations

import struct
import warnings
from typing import Any

import fitdecode
import fitparse
import pytest

from demo_reading import Message, decode_with_fitdecode, decode_with_fitparse
from vambrace.demo.fit_encoder import BASE_TYPES, FIT_EPOCH, Field, FitEncoder, crc16, semicircles

TIME: Field = (253, "uint32")
T0 = 1_000_000_000
FILE_ID: list[Field] = [(0, "enum"), (1, "uint16"), (2, "uint16"), (3, "uint32z"), (4, "uint32")]

# The bodies (between header and closing checksum) of small synthetic files, written from the protocol's public
# description and read by hand and by fitdecode.
BIG_ENDIAN_BODY = (
    "40000000000500010001028402028403048c0404860004ff0001003930000000ca9a3b"
    "410001001406fd0486000485010485030102020284050486013b9aca0021c71c72a9111111780bb800003039"
)
COMPRESSED_BODY = (
    "40000000000500010001028402028403048c0404860004ff0001003930000000ca9a3b"
    "420000140002fd0486030102021bca9a3b64410000140001030102be65a266a267a168"
)
RR_BODY = (
    "40000000000500010001028402028403048c0404860004ff0001003930000000ca9a3b4100004e0001000a84012c031f033e03ffffffff"
)
SPO2_BODY = (
    "4000000000030001000102840404860020ff0000ca9a3b4100000d0104fd04860001020101020201000100ca9a3b615003013cca9a3bffff00"
)


def both(data: bytes) -> list[Message]:
    """Read with both decoders, which must agree."""
    one, other = decode_with_fitdecode(data), decode_with_fitparse(data)
    assert one == other
    return one


def begun() -> FitEncoder:
    fit = FitEncoder()
    fit.define(0, 0, FILE_ID)
    fit.write(0, 4, 255, 1, 12345, T0)
    return fit


def body(fit: FitEncoder) -> bytes:
    return fit.to_bytes()[14:-2]


def test_checksum_has_the_catalogued_check_value() -> None:
    # CRC-16/ARC: the check value of "123456789" in the catalogue of parametrised CRC algorithms.
    assert crc16(b"123456789") == 0xBB3D


def test_epoch_is_the_last_midnight_of_1989() -> None:
    from datetime import UTC, datetime

    assert datetime(1989, 12, 31, tzinfo=UTC).timestamp() == FIT_EPOCH


@pytest.mark.parametrize(("degrees", "code"), [(0.0, 0), (90.0, 2**30), (-180.0, -(2**31)), (-45.0, -(2**29))])
def test_semicircles(degrees: float, code: int) -> None:
    assert semicircles(degrees) == code


def test_big_endian_body_is_the_vector() -> None:
    fit = begun()
    fields: list[Field] = [TIME, (0, "sint32"), (1, "sint32"), (3, "uint8"), (2, "uint16"), (5, "uint32")]
    fit.define(1, 20, fields, big_endian=True)
    fit.write(1, T0, 0x21C71C72, -0x56EEEEEF, 120, 3000, 12345)
    assert body(fit) == bytes.fromhex(BIG_ENDIAN_BODY)


def test_compressed_times_are_the_vector() -> None:
    fit = begun()
    fit.define(2, 20, [TIME, (3, "uint8")])
    fit.write(2, T0 + 27, 100)
    fit.define(1, 20, [(3, "uint8")])
    for offset, rate in ((30, 101), (34, 102), (34, 103), (65, 104)):
        fit.write_compressed(1, T0 + offset, rate)
    assert body(fit) == bytes.fromhex(COMPRESSED_BODY)


def test_beat_intervals_are_the_vector() -> None:
    fit = begun()
    fit.define(1, 78, [(0, "uint16", 5)])
    fit.write(1, [812, 799, 830])
    assert body(fit) == bytes.fromhex(RR_BODY)


def test_oxygen_readings_are_the_vector() -> None:
    fit = FitEncoder()
    fit.define(0, 0, [FILE_ID[0], FILE_ID[1], FILE_ID[4]])
    fit.write(0, 32, 255, T0)
    fit.define(1, 269, [TIME, (0, "uint8"), (1, "uint8"), (2, "enum")])
    fit.write(1, T0, 97, 80, 3)
    fit.write(1, T0 + 60, None, None, 0)
    assert body(fit) == bytes.fromhex(SPO2_BODY)


def test_decoders_resolve_compressed_times_over_the_rollover() -> None:
    fit = begun()
    fit.define(1, 20, [TIME, (3, "uint8")])
    fit.define(2, 20, [(3, "uint8")])
    fit.write(1, T0 + 27, 60)
    times = [T0 + 27 + step for step in (0, 1, 5, 32, 63, 64)]
    for time in times:
        fit.write_compressed(2, time, 61)
    found = [m.raw[253] for m in both(fit.to_bytes()) if m.number == 20]
    assert found == [T0 + 27, *times]


@pytest.mark.parametrize("big_endian", [False, True])
@pytest.mark.parametrize(
    ("base", "value"),
    [
        ("enum", 4),
        ("sint8", -100),
        ("uint8", 254),
        ("string", "loom"),
        ("uint8z", 7),
        ("byte", 200),
        ("sint16", -30_000),
        ("uint16", 60_000),
        ("sint32", -(2**31)),
        ("uint32", 4_000_000_000),
        ("float32", -0.5),
        ("float64", 0.1),
        ("uint16z", 65_535),
        ("uint32z", 20_391),
    ],
)
def test_every_base_type_comes_back(base: str, value: Any, big_endian: bool) -> None:
    length = 8 if base == "string" else 1
    fit = begun()
    fit.define(1, 0xFF10, [(1, base, length), (2, base, length)], big_endian=big_endian)
    fit.write(1, value, None)
    (found,) = [m.raw for m in both(fit.to_bytes()) if m.number == 0xFF10]
    there = found[1][0] if isinstance(found[1], tuple) else found[1]
    assert there == value
    gone = found[2][0] if isinstance(found[2], tuple) else found[2]
    assert gone is None or (base == "byte" and gone == 255)


@pytest.mark.parametrize("base", ["sint64", "uint64", "uint64z"])
def test_eight_byte_types_come_back_from_fitdecode(base: str) -> None:
    # fitparse knows no 64-bit types.
    fit = begun()
    fit.define(1, 0xFF10, [(1, base), (2, base)], big_endian=True)
    fit.write(1, 2**62 + 1, None)
    (found,) = [m.raw for m in decode_with_fitdecode(fit.to_bytes()) if m.number == 0xFF10]
    assert found == {1: 2**62 + 1, 2: None}


def test_invalid_marks_are_those_of_the_protocol() -> None:
    # The protocol's table: 0xFF for enum, uint8 and byte; the largest value for signed types; 0 for "z" types.
    marks = {name: int.from_bytes(base.invalid, "big") for name, base in BASE_TYPES.items()}
    assert marks["enum"] == marks["uint8"] == marks["byte"] == 0xFF
    assert (marks["sint8"], marks["sint16"], marks["sint32"]) == (0x7F, 0x7FFF, 0x7FFFFFFF)
    assert (marks["uint16"], marks["uint32"], marks["sint64"]) == (0xFFFF, 0xFFFFFFFF, 0x7FFFFFFFFFFFFFFF)
    assert {marks[name] for name in ("string", "uint8z", "uint16z", "uint32z", "uint64z")} == {0}


@pytest.mark.parametrize("big_endian", [False, True])
def test_developer_fields_reach_both_decoders(big_endian: bool) -> None:
    fit = begun()
    fit.define(1, 207, [(3, "uint8")])
    fit.write(1, 0)
    fit.define(
        1,
        206,
        [(0, "uint8"), (1, "uint8"), (2, "uint8"), (3, "string", 8), (8, "string", 8), (14, "uint16"), (15, "uint8")],
    )
    fit.write(1, 0, 7, 0x84, "ref_hr", "bpm", 20, 3)
    fit.define(2, 20, [TIME, (3, "uint8")], developer=[(7, "uint16", 0)], big_endian=big_endian)
    fit.write(2, T0, 99, 135)
    data = fit.to_bytes()
    (record,) = [m for m in both(data) if m.number == 20]
    assert (record.raw[253], record.raw[3]) == (T0, 99)
    assert _developer_by_fitdecode(data) == _developer_by_fitparse(data) == [("ref_hr", "bpm", 135)]


def _developer_by_fitdecode(data: bytes) -> list[tuple[str, str, Any]]:
    with fitdecode.FitReader(data) as reader:
        frames = [f for f in reader if f.frame_type == fitdecode.FIT_FRAME_DATA and f.global_mesg_num == 20]
    return [
        (f.name, f.units, f.value) for frame in frames for f in frame.fields if type(f.field).__name__ == "DevField"
    ]


def _developer_by_fitparse(data: bytes) -> list[tuple[str, str, Any]]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", DeprecationWarning)  # naive times, from within the library
        with fitparse.FitFile(data) as opened:
            fields = [f for m in opened.get_messages("record") for f in m.fields]
    return [(f.name, f.units, f.value) for f in fields if type(f.field).__name__ == "DevField"]


def test_header_says_its_size_and_its_checksum() -> None:
    data = begun().to_bytes()
    size, _, _, body_size, mark = struct.unpack("<BBHI4s", data[:12])
    assert (size, body_size, mark) == (14, len(data) - 16, b".FIT")
    assert struct.unpack("<H", data[12:14])[0] == crc16(data[:12])
    assert crc16(data) == 0  # the checksum of a whole file with its own checksum


@pytest.mark.parametrize("data", [begun().to_bytes(header_size=12), begun().to_bytes(header_crc=0)])
def test_other_headers_are_read(data: bytes) -> None:
    assert [m.number for m in both(data)] == [0]


def test_decoders_refuse_a_flipped_bit() -> None:
    data = bytearray(begun().to_bytes())
    data[-6] ^= 1
    with pytest.raises(fitdecode.FitCRCError):
        decode_with_fitdecode(bytes(data))
    with pytest.raises(fitparse.utils.FitCRCError):
        decode_with_fitparse(bytes(data))


def test_a_text_or_array_that_does_not_fit_is_refused() -> None:
    fit = begun()
    fit.define(1, 23, [(27, "string", 4)])
    with pytest.raises(ValueError, match="need more than 4 bytes"):
        fit.write(1, "loom")
    fit.define(1, 78, [(0, "uint16", 2)])
    with pytest.raises(ValueError, match="do not fit an array of 2"):
        fit.write(1, [800, 801, 802])
    with pytest.raises(ValueError, match="zip"):
        fit.write(1, 800, 801)
