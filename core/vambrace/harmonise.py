"""The file's units, clock and counting convention to canonical ones, column by column."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace import clock
from vambrace.batch import FAULTS, NO_END, Candidates, Column, Instants, Mask, SourceBatch
from vambrace.columns import mask, plain_values
from vambrace.schema import SIGNALS, Kind
from vambrace.units import Conversion, conversion

NO_TIME, IMPLAUSIBLE = FAULTS.index("no-time") + 1, FAULTS.index("time-implausible") + 1

_NUMBER = r"^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?$"


@dataclass(frozen=True, slots=True)
class Spans:
    """What the rows of a batch cover, in int64 microseconds UTC, length n.

    `end` is NO_END for an instant; `fault` is 0, or 1 + the position in FAULTS. `instants` says how they were found.
    """

    start: NDArray[np.int64]
    end: NDArray[np.int64]
    fault: NDArray[np.uint8]
    instants: tuple[Instants, ...]


def spans(batch: SourceBatch, zone: str | None, start_us: int | None = None) -> Spans:
    """Return the instants or intervals of a batch's rows; raise NoTimeZone where local times need a zone."""
    first = clock.to_utc(batch.time, zone, start_us)
    start, fault = first.us.copy(), first.fault.copy()
    end = np.full(len(start), NO_END)
    used = [first]
    if batch.time_end is not None:
        last = clock.to_utc(batch.time_end, zone, start_us)
        used.append(last)
        end = last.us.copy()
        fault = np.where(fault == 0, last.fault, fault)
        fault = np.where((fault == 0) & (end < start), np.uint8(IMPLAUSIBLE), fault)
    elif batch.interval_s is not None:
        length = round(batch.interval_s * 1_000_000)
        start -= {"start": 0, "middle": length // 2, "end": length}[batch.stamp]
        end = start + length
    bad = (fault == 0) & (clock.implausible(start) | ((end != NO_END) & clock.implausible(end)))
    return Spans(start, end, np.where(bad, np.uint8(IMPLAUSIBLE), fault).astype(np.uint8), tuple(used))


def times_of(kind: Kind, spans: Spans) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Return `time` and `time_end` of a signal's rows: a running total stands at the interval's end."""
    if kind != Kind.RUNNING_TOTAL:
        return spans.start, spans.end
    none = np.full(len(spans.end), NO_END)
    return np.where(spans.end == NO_END, spans.start, spans.end), none


def conversion_of(column: Column) -> Conversion:
    """Return how the column's unit becomes canonical; raise Refused for a unit that its signal does not accept."""
    return conversion(column.unit, SIGNALS[column.signal])


def candidates(column: Column, how: Conversion) -> Candidates:
    """Return the column as numbers in its signal's canonical unit, and which of them the source really gives."""
    values = plain_values(column.values)
    if how.power_of_ten and isinstance(values, np.ndarray) and column.texts is not None:
        # Only a text can be shifted by a power of ten without rounding twice.
        values = plain_values(column.texts)
    if isinstance(values, np.ndarray):
        if values.dtype.kind in "mM":
            raise TypeError(f"they are {values.dtype}")
        numbers = values.astype(np.float64, copy=False)
        present = np.isfinite(numbers)
        garbled = np.zeros(len(numbers), np.bool_) if present.all() else np.isinf(numbers)
        present |= garbled
        numbers = how.apply(values if values.dtype.kind in "iu" else numbers)
    else:
        numbers, present, garbled = _from_texts(values, how)
    if column.present is not None:
        present &= column.present
    if SIGNALS[column.signal].zero_is_absent:
        present &= numbers != 0
    # A number beyond what a double holds is none.
    garbled = (garbled | np.isinf(numbers)) & present
    good = present & ~garbled
    return Candidates(column, numbers if good.all() else np.where(good, numbers, np.nan), present, garbled)


def _from_texts(texts: pa.Array, how: Conversion) -> tuple[NDArray[np.float64], Mask, Mask]:
    plain = None if how.power_of_ten else _plain_numbers(texts)
    if plain is not None:
        present = mask(pc.is_valid(plain))
        return how.apply(np.array(plain.to_numpy(zero_copy_only=False))), present, np.zeros(len(texts), np.bool_)
    trimmed = pc.utf8_trim_whitespace(texts)
    nothing = pc.or_(pc.equal(trimmed, ""), pc.equal(pc.utf8_lower(trimmed), "nan"))
    present = mask(pc.invert(nothing))
    numeric = pc.match_substring_regex(trimmed, _NUMBER)
    garbled = present & ~mask(numeric)
    numbers = pc.replace_substring_regex(pc.if_else(numeric, trimmed, None), r"^\+", "")
    if how.power_of_ten:
        # Shifting the decimal point in the text gives the nearest double; multiplying would be off by an ulp.
        plain = pc.invert(pc.match_substring_regex(numbers, "[eE]"))
        shifted = pc.binary_join_element_wise(numbers, f"e{how.power_of_ten}", "")
        exact = _floats(pc.if_else(plain, shifted, None))
        return np.where(mask(plain), exact, how.apply(_floats(numbers))), present, garbled
    return how.apply(_floats(numbers)), present, garbled


def _plain_numbers(texts: pa.Array) -> pa.Array | None:
    """Return the numbers of a column whose cells are all empty or plain numbers, as most are; else None."""
    try:
        numbers = pc.cast(pc.if_else(pc.equal(pc.binary_length(texts), 0), None, texts), pa.float64())
    except pa.ArrowInvalid:
        return None
    return numbers if pc.all(pc.is_finite(numbers), min_count=0).as_py() else None


def _floats(texts: pa.Array) -> NDArray[np.float64]:
    return np.asarray(pc.cast(texts, pa.float64()).to_numpy(zero_copy_only=False), np.float64)


def flags_of(column: Column, rows: NDArray[np.intp]) -> Sequence[str | None] | None:
    """Return the source's own flags of the given rows."""
    return None if column.flags is None else [column.flags[int(row)] for row in rows]
