"""Writes FIT bytes: definitions, data messages, compressed time stamps, developer fields, checksums.

Written from the public description of the protocol. Values are raw, as the file stores them: scaling is the caller's.
"""

from __future__ import annotations

import struct
from collections.abc import Sequence
from dataclasses import dataclass

FIT_EPOCH = 631_065_600
"""Unix seconds of 1989-12-31T00:00:00Z, from which FIT counts."""

Raw = int | float | str | None
Field = tuple[int, str] | tuple[int, str, int]
"""Number and base type of a field, with the number of its elements (a text's length in bytes) where that is not 1."""

_NIBBLES = (
    *(0x0000, 0xCC01, 0xD801, 0x1400, 0xF001, 0x3C00, 0x2800, 0xE401),
    *(0xA001, 0x6C00, 0x7800, 0xB401, 0x5000, 0x9C01, 0x8801, 0x4400),
)


@dataclass(frozen=True, slots=True)
class BaseType:
    """A base type's code in definitions, its `struct` letter, and the bytes (big-endian) that say "no value"."""

    code: int
    letter: str
    invalid: bytes


BASE_TYPES = {
    "enum": BaseType(0x00, "B", b"\xff"),
    "sint8": BaseType(0x01, "b", b"\x7f"),
    "uint8": BaseType(0x02, "B", b"\xff"),
    "string": BaseType(0x07, "s", b"\x00"),
    "uint8z": BaseType(0x0A, "B", b"\x00"),
    "byte": BaseType(0x0D, "B", b"\xff"),
    "sint16": BaseType(0x83, "h", b"\x7f\xff"),
    "uint16": BaseType(0x84, "H", b"\xff" * 2),
    "sint32": BaseType(0x85, "i", b"\x7f\xff\xff\xff"),
    "uint32": BaseType(0x86, "I", b"\xff" * 4),
    "float32": BaseType(0x88, "f", b"\xff" * 4),
    "float64": BaseType(0x89, "d", b"\xff" * 8),
    "uint16z": BaseType(0x8B, "H", b"\x00" * 2),
    "uint32z": BaseType(0x8C, "I", b"\x00" * 4),
    "sint64": BaseType(0x8E, "q", b"\x7f" + b"\xff" * 7),
    "uint64": BaseType(0x8F, "Q", b"\xff" * 8),
    "uint64z": BaseType(0x90, "Q", b"\x00" * 8),
}


@dataclass(frozen=True, slots=True)
class _Definition:
    fields: tuple[tuple[str, int], ...]
    order: str


class FitEncoder:
    """Collects the messages of one FIT file; `to_bytes` adds the header and the checksums."""

    def __init__(self) -> None:
        self._body = bytearray()
        self._definitions: dict[int, _Definition] = {}

    def define(
        self,
        local: int,
        message: int,
        fields: Sequence[Field],
        *,
        big_endian: bool = False,
        developer: Sequence[tuple[int, str, int]] = (),
    ) -> None:
        """Say what data messages of a local type (0 to 15) hold from here on.

        `developer` lists developer fields as number, base type and developer index; their values follow the others.
        """
        order = ">" if big_endian else "<"
        plain = [(field[0], field[1], field[2] if len(field) == 3 else 1) for field in fields]
        own = [(base, 1) for _, base, _ in developer]
        self._body += struct.pack("BBB", (0x60 if developer else 0x40) | local, 0, int(big_endian))
        self._body += struct.pack(f"{order}HB", message, len(plain))
        for number, base, count in plain:
            self._body += bytes((number, _size(base, count), BASE_TYPES[base].code))
        if developer:
            self._body.append(len(developer))
            for number, base, index in developer:
                self._body += bytes((number, _size(base, 1), index))
        self._definitions[local] = _Definition((*((base, count) for _, base, count in plain), *own), order)

    def write(self, local: int, *values: Raw | Sequence[Raw]) -> None:
        """Add a data message; None stands for "no value", a sequence gives an array's elements."""
        self._body.append(local)
        self._add_values(local, values)

    def write_compressed(self, local: int, seconds: int, *values: Raw | Sequence[Raw]) -> None:
        """Add a data message of local type 0 to 3 whose header holds the low five bits of its time."""
        self._body.append(0x80 | local << 5 | seconds & 31)
        self._add_values(local, values)

    def _add_values(self, local: int, values: Sequence[Raw | Sequence[Raw]]) -> None:
        definition = self._definitions[local]
        for (base, count), value in zip(definition.fields, values, strict=True):
            self._body += _packed(base, count, value, definition.order)

    def to_bytes(self, *, header_size: int = 14, header_crc: int | None = None) -> bytes:
        """Return the whole file; `header_crc` overrides the header's checksum (0 is allowed and seen)."""
        header = struct.pack("<BBHI4s", header_size, 0x20, 2100, len(self._body), b".FIT")
        if header_size == 14:
            header += struct.pack("<H", crc16(header) if header_crc is None else header_crc)
        whole = header + bytes(self._body)
        return whole + struct.pack("<H", crc16(whole))


def crc16(data: bytes) -> int:
    """Return the 16-bit checksum of FIT; 0xBB3D for b"123456789"."""
    crc = 0
    for byte in data:
        for nibble in (byte & 15, byte >> 4):
            crc = (crc >> 4) ^ _NIBBLES[crc & 15] ^ _NIBBLES[nibble]
    return crc


def semicircles(degrees: float) -> int:
    """Return the nearest position code of an angle below 180 degrees."""
    return round(degrees * 2**31 / 180)


def _size(base: str, count: int) -> int:
    return len(BASE_TYPES[base].invalid) * count


def _packed(base: str, count: int, value: Raw | Sequence[Raw], order: str) -> bytes:
    if base == "string":
        text = b"" if value is None else str(value).encode()
        if len(text) >= count:
            raise ValueError(f"{value!r} and its closing zero need more than {count} bytes")
        return text.ljust(count, b"\0")
    elements = list(value) if isinstance(value, Sequence) and not isinstance(value, str) else [value]
    elements += [None] * (count - len(elements))
    if len(elements) != count:
        raise ValueError(f"{len(elements)} elements do not fit an array of {count}")
    return b"".join(_element(BASE_TYPES[base], element, order) for element in elements)


def _element(base: BaseType, value: Raw, order: str) -> bytes:
    if value is None:
        return base.invalid if order == ">" else base.invalid[::-1]
    return struct.pack(order + base.letter, value)
