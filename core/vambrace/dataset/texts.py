"""Texts on their way into Arrow, which takes nothing but valid UTF-8."""

from __future__ import annotations

from collections.abc import Sequence

import pyarrow as pa


def text_array(values: Sequence[str | None]) -> pa.Array:
    """Return texts as an Arrow column; a byte that is no UTF-8 is shown as `\\udcff`, never dropped."""
    try:
        return pa.array(values, pa.string())
    except UnicodeEncodeError:
        return pa.array([None if value is None else printable(value) for value in values], pa.string())


def printable(text: str) -> str:
    """Return the text with each lone surrogate (a byte of a file name that is no UTF-8) written as `\\udcff`."""
    return text.encode("utf-8", "backslashreplace").decode("utf-8")


def byte_order(text: str) -> bytes:
    """Return the UTF-8 bytes by which paths are ordered, whatever the locale."""
    return text.encode("utf-8", "surrogatepass")
