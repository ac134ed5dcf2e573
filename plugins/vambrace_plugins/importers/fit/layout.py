"""What the bytes of a data message mean, by its definition; columns of raw values with the protocol's invalid marks.

Base types, invalid marks and byte orders after the public description of the FIT protocol.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

BYTE, TEXT = 0x0D, 0x07
TIMESTAMP = 253

_TYPES: Mapping[int, tuple[str, int | None]] = {
    0x00: ("u1", 0xFF),
    0x01: ("i1", 0x7F),
    0x02: ("u1", 0xFF),
    0x0A: ("u1", 0),
    BYTE: ("u1", None),
    0x83: ("i2", 0x7FFF),
    0x84: ("u2", 0xFFFF),
    0x8B: ("u2", 0),
    0x85: ("i4", 0x7FFFFFFF),
    0x86: ("u4", 0xFFFFFFFF),
    0x8C: ("u4", 0),
    0x88: ("f4", None),
    0x89: ("f8", None),
    0x8E: ("i8", 0x7FFFFFFFFFFFFFFF),
    0x8F: ("u8", 0xFFFFFFFFFFFFFFFF),
    0x90: ("u8", 0),
}
"""Base type: NumPy's letters, and the value that says "no value" (None: see `_valid`)."""


@dataclass(frozen=True, slots=True)
class Described:
    """What a file says of one of its developer fields; `message` and `field` name the native field it stands for."""

    index: int
    number: int
    base: int
    name: str
    unit: str
    scale: float
    offset: float
    message: int | None
    field: int | None


@dataclass(frozen=True, slots=True)
class Slot:
    """One field of a definition: its place in the structured array, and how its bytes are read.

    `kind` is `number`, `text`, or `misfit` where its size is no multiple of its type's, or its type is unknown.
    """

    number: int
    size: int
    base: int
    place: str
    kind: str
    described: Described | None = None
    developer: int | None = None

    @property
    def is_time(self) -> bool:
        """Say whether this is the message's own time stamp."""
        return self.number == TIMESTAMP and self.developer is None and self.size == 4 and self.base == 0x86


@dataclass(frozen=True, slots=True)
class Raw:
    """One field over n messages: `values` and `valid` of shape (n, k), `width` how many elements each row defines.

    A row whose definition lacks the field has width 0; numbers are int64 or float64, as the file stores them.
    """

    values: NDArray[Any]
    valid: NDArray[np.bool_]
    width: NDArray[np.int64]

    @property
    def present(self) -> NDArray[np.bool_]:
        """Return where a row holds at least one value; an array is missing only if all its elements are."""
        return np.asarray(self.valid.any(axis=1), np.bool_)


class Layout:
    """A definition message: global message number, and how to read its data messages as columns."""

    __slots__ = ("dtype", "message", "order", "slots", "time_at")

    def __init__(self, definition: bytes, descriptions: Mapping[tuple[int, int], Described]) -> None:
        """Read a definition message, header byte included, whose length the decoder has checked."""
        big = bool(definition[2])
        self.order: Literal["big", "little"] = "big" if big else "little"
        self.message = int.from_bytes(definition[3:5], "big" if big else "little")
        slots, at = _plain_slots(definition)
        if definition[0] & 0x20:
            slots += _developer_slots(definition, at, descriptions)
        self.slots = tuple(slots)
        self.dtype, offsets = _dtype(slots, ">" if big else "<")
        self.time_at = next(
            (offset for slot, offset in zip(slots, offsets, strict=True) if slot.is_time),
            None,
        )

    def array(self, messages: Sequence[bytes]) -> NDArray[Any]:
        """Return data messages, header bytes included, as a structured array."""
        return np.frombuffer(b"".join(messages), self.dtype)


def _plain_slots(definition: bytes) -> tuple[list[Slot], int]:
    slots: list[Slot] = []
    at = 6
    for place in range(definition[5]):
        number, size, base = definition[at : at + 3]
        slots.append(Slot(number, size, base, f"f{place}", _kind(size, base)))
        at += 3
    return slots, at


def _developer_slots(definition: bytes, at: int, descriptions: Mapping[tuple[int, int], Described]) -> list[Slot]:
    slots = []
    for place in range(definition[at]):
        number, size, index = definition[at + 1 + 3 * place : at + 4 + 3 * place]
        described = descriptions.get((index, number))
        base = BYTE if described is None else described.base
        slots.append(Slot(number, size, base, f"d{place}", _kind(size, base), described, index))
    return slots


def _kind(size: int, base: int) -> str:
    if base == TEXT:
        return "text"
    width = int(_TYPES[base][0][1]) if base in _TYPES else 0
    return "number" if width and size and not size % width else "misfit"


def _dtype(slots: Sequence[Slot], order: str) -> tuple[np.dtype[Any], list[int]]:
    formats: list[Any] = []
    offsets: list[int] = []
    at = 1
    for slot in slots:
        if slot.kind == "number":
            letters = _TYPES[slot.base][0]
            formats.append((order + letters, (slot.size // int(letters[1]),)))
        else:
            formats.append(f"V{slot.size}")
        offsets.append(at)
        at += slot.size
    names = [slot.place for slot in slots]
    return np.dtype({"names": names, "formats": formats, "offsets": offsets, "itemsize": at}), offsets


def numbers(array: NDArray[Any], slot: Slot) -> Raw:
    """Return a number field's column of a structured array."""
    stored = array[slot.place]
    # 64-bit counts beyond int64 exist only in fields that nobody carries; float64 keeps them from wrapping.
    floating = stored.dtype.kind == "f" or (stored.dtype.kind == "u" and stored.dtype.itemsize == 8)
    values = stored.astype(np.float64 if floating else np.int64)
    return Raw(values, _valid(stored, slot.base), np.full(len(array), stored.shape[1], np.int64))


def _valid(stored: NDArray[Any], base: int) -> NDArray[np.bool_]:
    mark = _TYPES[base][1]
    if base == BYTE:
        # Bytes are one value together: 0xFF may well be part of it.
        return np.repeat((stored != 0xFF).any(axis=1, keepdims=True), stored.shape[1], axis=1)
    if mark is None:
        return np.asarray(~np.isnan(stored), np.bool_)
    return np.asarray(stored != mark, np.bool_)


def texts(array: NDArray[Any], slot: Slot) -> list[str | None]:
    """Return a text field's values: UTF-8 up to the first zero byte, None where empty."""
    return [_text(value.tobytes()) for value in array[slot.place]]


def _text(stored: bytes) -> str | None:
    return stored.split(b"\0", 1)[0].decode("utf-8", "replace").strip() or None


def count_present(array: NDArray[Any], slot: Slot) -> int:
    """Return how many messages hold a value in a field."""
    if slot.kind == "number":
        return int(_valid(array[slot.place], slot.base).any(axis=1).sum())
    if slot.kind == "text":
        return sum(value.tobytes()[:1] not in (b"", b"\0") for value in array[slot.place])
    return len(array) if slot.size else 0


def merged(parts: Sequence[tuple[int, Raw | None]], order: NDArray[np.intp]) -> Raw:
    """Return one column from those of several definitions, None where one lacks the field, put in the given order."""
    if len(parts) == 1 and parts[0][1] is not None:
        return parts[0][1]
    columns = [raw for _, raw in parts if raw is not None]
    n, k = sum(count for count, _ in parts), max(raw.values.shape[1] for raw in columns)
    values = np.zeros((n, k), np.result_type(*(raw.values.dtype for raw in columns)))
    valid, width = np.zeros((n, k), np.bool_), np.zeros(n, np.int64)
    at = 0
    for count, raw in parts:
        if raw is not None:
            own = raw.values.shape[1]
            values[at : at + count, :own] = raw.values
            valid[at : at + count, :own] = raw.valid
            width[at : at + count] = raw.width
        at += count
    return Raw(values[order], valid[order], width[order])
