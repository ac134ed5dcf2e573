"""Counts since an epoch to microseconds, exactly: whole numbers, or decimal numbers as texts."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_FLOOR, ROUND_HALF_EVEN, Decimal
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace.batch import Mask
from vambrace.clock.columns import int64, mask
from vambrace.errors import PluginFault

MICROSECONDS = {"s": 1_000_000, "ms": 1_000, "us": 1, "d": 86_400_000_000}
"""Microseconds in each unit that is no smaller than one."""

MOST_US = 2**63 - 1
# A spreadsheet's day number carries about 15 digits, so its last one is some microseconds: rounded to the millisecond.
_DAY_STEP = 1_000
_WHOLE = r"^[+-]?[0-9]{1,18}$"
_DECIMAL = r"^(?P<sign>[+-]?)(?P<whole>[0-9]{1,12})[.,](?P<part>[0-9]+)$"
_NUMBER = r"^[+-]?([0-9]+[.,]?[0-9]*|[.,][0-9]+)([eE][+-]?[0-9]{1,3})?$"


@dataclass(frozen=True, slots=True)
class Counted:
    """Counts in int64 microseconds, length n; `known` is False where there is none.

    `beyond` is True where a count is too great for any date, `cut` counts those of which digits were cut off.
    """

    us: NDArray[np.int64]
    known: Mask
    beyond: Mask
    cut: int


def from_numbers(values: NDArray[Any], unit: str) -> Counted:
    """Return whole numbers as microseconds; raise PluginFault for seconds handed over as floating-point numbers."""
    known = np.ones(len(values), np.bool_)
    if values.dtype.kind == "f":
        known = np.isfinite(values)
        if unit == "d":
            return _from_days(np.where(known, values, 0), known)
        if bool((values[known] % 1 != 0).any()):
            what = "times were handed over as floating-point numbers, which cannot hold them exactly"
            raise PluginFault(what, todo="Hand over whole numbers, or the texts of the source")
        values = np.where(known, values, 0)
    elif values.dtype.kind not in "iub":
        raise PluginFault(f"times were handed over as {values.dtype}", todo="Hand over whole numbers or texts")
    return _scaled(values, known, unit)


def _scaled(values: NDArray[Any], known: Mask, unit: str) -> Counted:
    most = MOST_US // MICROSECONDS.get(unit, 1)
    beyond = known & ((values > most) | (values < -most))
    whole = np.where(beyond, 0, values).astype(np.int64)
    if unit == "ns":
        cut = int((known & (whole % 1000 != 0)).sum())
        return Counted(whole // 1000, known, beyond, cut)
    return Counted(whole * MICROSECONDS[unit], known, beyond, 0)


def _from_days(values: NDArray[np.float64], known: Mask) -> Counted:
    beyond = known & (np.abs(values) > MOST_US // MICROSECONDS["d"])
    days = np.where(beyond, 0, values)
    whole = np.floor(days)
    steps = np.rint((days - whole) * (MICROSECONDS["d"] // _DAY_STEP)).astype(np.int64)
    return Counted(whole.astype(np.int64) * MICROSECONDS["d"] + steps * _DAY_STEP, known, beyond, 0)


def from_texts(texts: pa.Array, unit: str) -> Counted:
    """Return decimal numbers written as texts as microseconds, without any floating-point step in between."""
    trimmed = pc.utf8_trim_whitespace(texts)
    whole = mask(pc.match_substring_regex(trimmed, _WHOLE))
    plain = pc.replace_substring_regex(pc.if_else(whole, trimmed, None), r"^\+", "")
    counted = _scaled(int64(pc.cast(plain, pa.int64())), whole, unit)
    rest = mask(pc.is_valid(trimmed)) & ~whole
    if not rest.any():
        return counted
    us, known, beyond = counted.us.copy(), counted.known.copy(), counted.beyond.copy()
    rows = np.flatnonzero(rest)
    others = _from_decimals(trimmed.take(pa.array(rows)), unit)
    us[rows], known[rows], beyond[rows] = others.us, others.known, others.beyond
    return Counted(us, known, beyond, counted.cut + others.cut)


def _from_decimals(texts: pa.Array, unit: str) -> Counted:
    """Return numbers with a decimal mark or an exponent; the usual shape as a column, odd ones text by text."""
    digits = {"s": 6, "ms": 3, "us": 0}.get(unit)
    if digits is None:
        return _each(texts, unit)
    parts = pc.extract_regex(texts, _DECIMAL)
    usual = mask(pc.is_valid(parts))
    part = pc.struct_field(parts, "part")
    kept = pc.utf8_rpad(pc.utf8_slice_codeunits(part, 0, digits), digits, "0") if digits else None
    more = usual & mask(pc.match_substring_regex(pc.utf8_slice_codeunits(part, digits), "[1-9]"))
    below = int64(pc.cast(pc.if_else(usual, kept, None), pa.int64())) if digits else 0
    size = int64(pc.cast(pc.struct_field(parts, "whole"), pa.int64())) * MICROSECONDS[unit] + below
    minus = mask(pc.equal(pc.struct_field(parts, "sign"), "-"))
    # Cut towards the past on both sides of the epoch, as cutting the digits of a date does.
    us = np.where(minus, -size - more, size)
    rows = np.flatnonzero(~usual)
    known, beyond, cut = usual.copy(), np.zeros(len(usual), np.bool_), int(more.sum())
    if len(rows):
        others = _each(texts.take(pa.array(rows)), unit)
        us[rows], known[rows], beyond[rows], cut = others.us, others.known, others.beyond, cut + others.cut
    return Counted(us, known, beyond, cut)


def _each(texts: pa.Array, unit: str) -> Counted:
    """Return rare shapes (exponents, days, many digits) text by text, in decimal arithmetic, each text once."""
    encoded = pc.dictionary_encode(texts)
    words = encoded.dictionary.to_pylist()
    numeric = mask(pc.match_substring_regex(encoded.dictionary, _NUMBER))
    found = [_one(text, unit) if good else None for text, good in zip(words, numeric, strict=True)]
    if not found:
        none = np.zeros(len(texts), np.bool_)
        return Counted(np.zeros(len(texts), np.int64), none, none, 0)
    at = int64(encoded.indices)
    us = np.array([each[0] if each else 0 for each in found], np.int64)
    beyond = np.array([each is not None and each[1] for each in found], np.bool_)
    cut = np.array([each is not None and each[2] for each in found], np.bool_)
    known = numeric[at] & mask(pc.is_valid(texts))
    return Counted(us[at], known, beyond[at] & known, int((cut[at] & known).sum()))


def _one(text: str, unit: str) -> tuple[int, bool, bool]:
    """Return the microseconds of one number, whether it is too great, and whether digits were cut off."""
    number = Decimal(text.replace(",", "."))
    if abs(number) > Decimal(10) ** 19:
        return 0, True, False
    exact = number * MICROSECONDS[unit] if unit != "ns" else number / 1000
    if unit == "d":
        us = int((exact / _DAY_STEP).to_integral_value(ROUND_HALF_EVEN)) * _DAY_STEP
    else:
        us = int(exact.to_integral_value(ROUND_FLOOR))
    if abs(us) > MOST_US:
        return 0, True, False
    return us, False, unit != "d" and us != exact
