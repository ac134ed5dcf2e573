"""Brings times of one width to ISO 8601 by moving their characters, all rows at once."""

from __future__ import annotations

import re

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

_WIDTHS = {"Y": 4, "m": 2, "d": 2, "H": 2, "M": 2, "S": 2}
_ISO = (("", "Y"), ("-", "m"), ("-", "d"), ("T", "H"), (":", "M"), (":", "S"))
_OFFSET_WIDTHS = (5, 6)


def fixed_to_iso(cells: pa.Array, pattern: str) -> pa.Array | None:
    """Return cells in ISO 8601 where every one has all digits that its pattern has at most; else None.

    Only whole patterns of date and time of day to the second are taken, with or without an offset behind.
    """
    layout = _layout(pattern)
    if layout is None or not len(cells) or cells.null_count:
        return None
    at, marks, width, offset = layout
    ends = np.frombuffer(cells.buffers()[1], np.int32)[cells.offset : cells.offset + len(cells) + 1]
    size = int(ends[1] - ends[0])
    wanted = tuple(width + each for each in _OFFSET_WIDTHS) if offset else (width,)
    if size not in wanted or (np.diff(ends) != size).any():
        return None
    data = np.frombuffer(cells.buffers()[2], np.uint8)[ends[0] : ends[-1]].reshape(len(cells), size)
    digits = [place for first, n in at.values() for place in range(first, first + n)]
    if not _are_digits(data[:, digits]) or any((data[:, place] != mark).any() for place, mark in marks.items()):
        return None
    if offset and not _are_offsets(data[:, width:]):
        return None
    return _texts(data, at, width)


def _layout(pattern: str) -> tuple[dict[str, tuple[int, int]], dict[int, int], int, bool] | None:
    """Return where each part stands, which mark stands at which place, the width of it all, and whether %z follows."""
    at: dict[str, tuple[int, int]] = {}
    marks: dict[int, int] = {}
    place, offset = 0, False
    for piece in re.findall(r"%.|[^%]", pattern):
        if offset:
            return None
        if piece[0] == "%" and piece[1:] in _WIDTHS:
            at[piece[1:]] = (place, _WIDTHS[piece[1:]])
            place += _WIDTHS[piece[1:]]
        elif piece == "%z":
            offset = True
        elif piece[0] != "%" and piece.isascii():
            marks[place] = ord(piece)
            place += 1
        else:
            return None
    return (at, marks, place, offset) if len(at) == len(_WIDTHS) else None


def _are_digits(data: NDArray[np.uint8]) -> bool:
    return bool(((data >= ord("0")) & (data <= ord("9"))).all())


def _are_offsets(data: NDArray[np.uint8]) -> bool:
    colon = data.shape[1] == 6
    places = [1, 2, 4, 5] if colon else [1, 2, 3, 4]
    signed = ((data[:, 0] == ord("+")) | (data[:, 0] == ord("-"))).all()
    return bool(signed) and _are_digits(data[:, places]) and (not colon or bool((data[:, 3] == ord(":")).all()))


def _texts(data: NDArray[np.uint8], at: dict[str, tuple[int, int]], width: int) -> pa.Array:
    n = len(data)
    columns = []
    for mark, part in _ISO:
        if mark:
            columns.append(np.full((n, 1), ord(mark), np.uint8))
        first, size = at[part]
        columns.append(data[:, first : first + size])
    iso = np.hstack([*columns, data[:, width:]])
    ends = np.arange(0, (n + 1) * iso.shape[1], iso.shape[1], dtype=np.int32)
    return pa.StringArray.from_buffers(n, pa.py_buffer(ends), pa.py_buffer(np.ascontiguousarray(iso)))
