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
from vambrace.pipeline.reading import read
from vambrace.plugin import Source


class DividesByZero:
    """An importer with a fault."""

    name, version = "ring-B", "1"

    def read(self, source: Source) -> Iterator[Any]:
        yield 1 / 0


class FindsNothing(DividesByZero):
    """An importer without one, of a file without rows."""

    def read(self, source: Source) -> Iterator[Any]:
        yield from ()


class Sink:
    """Takes rows, and drops them."""


def read_by(importer: Any) -> None:
    source = Source("a.bin", 1, lambda: io.BytesIO(b"1"))
    if (error := read(importer, source, Sink(), str, None).error) is not None:  # type: ignore[arg-type]
        raise error


def fault(folder: Path) -> None:
    read_by(DividesByZero())


def no_fault(folder: Path) -> None:
    read_by(FindsNothing())


def too_large(folder: Path) -> None:
    Source("a.bin", 2_000, lambda: io.BytesIO(bytes(2_000))).read(most=1_000)


def small_enough(folder: Path) -> None:
    Source("a.bin", 1_000, lambda: io.BytesIO(bytes(1_000))).read(most=1_000)


def furlongs(folder: Path) -> None:
    conversion_of(Column("speed", np.array([1.0]), "furlong/min"))


def metres(folder: Path) -> None:
    conversion_of(Column("speed", np.array([1.0]), "m/s"))


EXAMPLES = (
    Call(
        "plugin-fault", "An importer failed or broke its promise; the other sources are not touched.", fault, no_fault
    ),
    Call(
        "too-large",
        "The file is larger than its format is read at once, or than the memory of the computer.",
        too_large,
        small_enough,
    ),
    Call("unknown-unit", "An importer hands over values in a unit that is none of the signal.", furlongs, metres),
)
