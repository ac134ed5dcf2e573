"""Developer fields that stand for a native field of record messages; read only where the option asks for it."""

from __future__ import annotations

from collections.abc import Iterator
from types import MappingProxyType

import numpy as np

from vambrace.plugin import Column, SourceBatch
from vambrace_plugins.importers.fit.book import Book, batch
from vambrace_plugins.importers.fit.decode import Block
from vambrace_plugins.importers.fit.layout import Described
from vambrace_plugins.importers.fit.profile import RECORD, RECORD_SIGNALS

_NATIVE = {scaled.number: (each.signal, each.unit) for each in RECORD_SIGNALS for scaled in each.fields}
_OTHER_UNITS = MappingProxyType(
    {
        "km/h": "km/h",
        "kph": "km/h",
        "mph": "[mi_i]/h",
        "km": "km",
        "mi": "[mi_i]",
        "miles": "[mi_i]",
        "ft": "[ft_i]",
        "feet": "[ft_i]",
        "degf": "[degF]",
        "f": "[degF]",
        "k": "K",
    }
)
"""Unit texts that say another unit than the native field's; the rest is taken as the native unit in other words."""


def native(block: Block, book: Book) -> Iterator[SourceBatch]:
    """Yield developer fields under the signal of the native field they stand for, each developer a recording.

    The file gives the quantity twice then, so it is never merged with the native field. Of two fields of one signal
    by one developer the first is taken.
    """
    if block.message != RECORD:
        return
    seen: set[tuple[int, str]] = set()
    for described, raw in block.developer:
        signal, unit = _NATIVE.get(described.field if described.field is not None else -1, ("", ""))
        name = f"record.developer_{described.index}_{described.number} ({described.name})"
        if not signal or (described.index, signal) in seen:
            book.leave(name, int(raw.present.sum()))
            continue
        seen.add((described.index, signal))
        rows = np.flatnonzero(raw.width == 1)
        book.leave(name, int(raw.valid[raw.width > 1].sum()))
        if not len(rows):
            continue
        recording = book.recording(f"developer {described.index}")
        used, values = _unit(described, unit), raw.values[rows, 0]
        if (described.scale, described.offset) != (1, 0):
            values = values / described.scale - described.offset
        said = f"unit {described.unit!r} taken as {used}" if described.unit else f"no unit said, taken as {used}"
        book.convert(recording, f"{signal}: developer field {described.name!r} in place of a native one, {said}")
        column = Column(signal, values, used, field=name, present=raw.valid[rows, 0])
        yield batch(block.record[rows], block.time[rows], (column,), recording)


def _unit(described: Described, native_unit: str) -> str:
    return _OTHER_UNITS.get(described.unit.strip().lower(), native_unit)
