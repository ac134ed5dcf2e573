"""Examples of refusals that only an importer can cause, or a computer that is too small: made by calls."""

from __future__ import annotations

import io
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from refusal_example import Call

from vambrace.batch import Column
from vambrace.harmonise import conversion_of
from vambrace.pipeline.reading import Reading, read
from vambrace.plugin import Source


class Wrong:
    """An importer with a fault."""

    name, version = "ring-B", "1"

    def read(self, source: Source) -> Iterator[Any]:
        yield 1 / 0


class Right(Wrong):
    """An importer without one, of a file without rows."""

    def read(self, source: Source) -> Iterator[Any]:
        yield from ()


class Sink:
    """Takes rows, and drops them."""


def read_by(importer: Any) -> Reading:
    source = Source("a.bin", 1, lambda: io.BytesIO(b"1"))
    return read(importer, source, Sink(), str, None)  # type: ignore[arg-type]


def fault(folder: Path) -> None:
    if (error := read_by(Wrong()).error) is not None:
        raise error


def no_fault(folder: Path) -> None:
    if (error := read_by(Right()).error) is not None:
        raise error


def too_large(folder: Path) -> None:
    Source("a.bin", 2_000, lambda: io.BytesIO(bytes(2_000))).read(most=1_000)


def small_enough(folder: Path) -> None:
    Source("a.bin", 1_000, lambda: io.BytesIO(bytes(1_000))).read(most=1_000)


def furlongs(folder: Path) -> None:
    conversion_of(Column("speed", np.array([1.0]), "furlong/min"))


def metres(folder: Path) -> None:
    conversion_of(Column("speed", np.array([1.0]), "m/s"))


EXAMPLES = (
    Call("plugin-fault", "An importer failed or broke its promise; the other sources are not touched.", fault, no_fault),
    Call(
        "too-large",
        "The file is larger than its format is read at once, or than the memory of the computer.",
        too_large,
        small_enough,
    ),
    Call("unknown-unit", "An importer hands over values in a unit that is none of the signal.", furlongs, metres),
)
