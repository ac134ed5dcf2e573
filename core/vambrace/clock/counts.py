"""Counts since an epoch to microseconds, exactly: whole numbers, or decimal numbers as texts."""

from __future__ import annotations

from dataclasses import dataclass
from decimal import ROUND_FLOOR, Context, Decimal
from typing import Any

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace.batch import Mask
from vambrace.columns import int64, mask
from vambrace.errors import PluginFault

MICROSECONDS = {"s": 1_000_000, "ms": 1_000, "us": 1, "d": 86_400_000_000}
"""Microseconds in each unit that is no smaller than one."""

MOST_US = 2**63 - 1
# A spreadsheet's day number carries about 15 digits, so its last one is some microseconds: rounded to the millisecond.
_DAY_STEP = 1_000
_WHOLE = r"^[+-]?([0-9]{1,18}|[0-8][0-9]{18})$"
_DECIMAL = r"^(?P<sign>[+-]?)(?P<whole>[0-9]{1,12})[.,](?P<part>[0-9]+)$"
_NUMBER = r"^[+-]?([0-9]+[.,]?[0-9]*|[.,][0-9]+)([eE][+-]?[0-9]{1,3})?$"


@dataclass(frozen=True, slots=True)
class Counted:
    """Counts in int64 microseconds, length n; `known` is False where there is none.

    `beyond` is True where a count is too great for any date, `cut` where digits beyond the microsecond were cut off.
    """

    us: NDArray[np.int64]
    known: Mask
    beyond: Mask
    cut: Mask


def from_numbers(values: NDArray[Any], unit: str) -> Counted:
    """Return whole numbers as microseconds; raise PluginFault for fractions of a second as floating-point numbers."""
    known = np.ones(len(values), np.bool_)
    if values.dtype.kind == "f":
        known = np.isfinite(values)
        values = np.where(known, values, 0)
        if unit == "d":
            return _from_days(values, known)
        if bool((values % 1 != 0).any()):
            what = "times were handed over as floating-point numbers, which cannot hold them exactly"
            raise PluginFault(what, todo="Hand over whole numbers, or the texts of the source")
    elif values.dtype.kind not in "iub":
        raise PluginFault(f"times were handed over as {values.dtype}", todo="Hand over whole numbers or texts")
    return _scaled(values, known, unit)


def _scaled(values: NDArray[Any], known: Mask, unit: str) -> Counted:
    most = MOST_US // MICROSECONDS.get(unit, 1)
    beyond = known & ((values > most) | (values < -most))
    whole = np.where(beyond, 0, values).astype(np.int64)
    if unit == "ns":
        return Counted(whole // 1000, known, beyond, known & (whole % 1000 != 0))
    return Counted(whole * MICROSECONDS[unit], known, beyond, np.zeros(len(whole), np.bool_))


def _from_days(values: NDArray[np.float64], known: Mask) -> Counted:
    """Return spreadsheet days; a double holds them to a microsecond, far finer than the step they are rounded to."""
    beyond = known & (np.abs(values) > MOST_US // MICROSECONDS["d"])
    days = np.where(beyond, 0, values)
    whole = np.floor(days)
    steps = np.rint((days - whole) * (MICROSECONDS["d"] // _DAY_STEP)).astype(np.int64)
    us = whole.astype(np.int64) * MICROSECONDS["d"] + steps * _DAY_STEP
    return Counted(us, known, beyond, np.zeros(len(us), np.bool_))


def from_texts(texts: pa.Array, unit: str) -> Counted:
    """Return decimal numbers written as texts as microseconds; no floating-point step but for days."""
    trimmed = pc.utf8_trim_whitespace(texts)
    if unit == "d":
        known = mask(pc.match_substring_regex(trimmed, _NUMBER))
        plain = pc.replace_substring_regex(pc.replace_substring(trimmed, ",", "."), r"^\+", "")
        days = pc.fill_null(pc.cast(pc.if_else(pa.array(known), plain, None), pa.float64()), 0.0)
        return _from_days(np.asarray(days, np.float64), known)
    whole = mask(pc.match_substring_regex(trimmed, _WHOLE))
    plain = pc.replace_substring_regex(pc.if_else(pa.array(whole), trimmed, None), r"^\+", "")
    counted = _scaled(int64(pc.cast(plain, pa.int64())), whole, unit)
    rows = np.flatnonzero(mask(pc.is_valid(trimmed)) & ~whole)
    if len(rows):
        rest = trimmed.take(pa.array(rows))
        _place(counted, rows, _each(rest, unit) if unit == "ns" else _from_decimals(rest, unit))
    return counted


def _place(into: Counted, rows: NDArray[np.intp], found: Counted) -> None:
    into.us[rows], into.known[rows], into.beyond[rows], into.cut[rows] = found.us, found.known, found.beyond, found.cut


def _from_decimals(texts: pa.Array, unit: str) -> Counted:
    """Return numbers with a decimal mark or an exponent; the usual shape as a column, odd ones text by text."""
    digits = {"s": 6, "ms": 3, "us": 0}[unit]
    parts = pc.extract_regex(texts, _DECIMAL)
    usual = mask(pc.is_valid(parts))
    part = pc.struct_field(parts, "part")
    # The digit before keeps the text a number where no digit after the mark counts.
    kept = pc.binary_join_element_wise("0", pc.utf8_rpad(pc.utf8_slice_codeunits(part, 0, digits), digits, "0"), "")
    more = usual & mask(pc.match_substring_regex(pc.utf8_slice_codeunits(part, digits), "[1-9]"))
    whole = int64(pc.cast(pc.struct_field(parts, "whole"), pa.int64()))
    size = whole * MICROSECONDS[unit] + int64(pc.cast(kept, pa.int64()))
    minus = mask(pc.equal(pc.struct_field(parts, "sign"), "-"))
    # Cut towards the past on both sides of the epoch, as cutting the digits of a date does.
    counted = Counted(np.where(minus, -size - more, size), usual, np.zeros(len(usual), np.bool_), more)
    rows = np.flatnonzero(~usual)
    if len(rows):
        _place(counted, rows, _each(texts.take(pa.array(rows)), unit))
    return counted


def _each(texts: pa.Array, unit: str) -> Counted:
    """Return rare shapes (exponents, many digits) in decimal arithmetic, each different text once."""
    encoded = pc.dictionary_encode(texts)
    words = encoded.dictionary
    numeric = mask(pc.match_substring_regex(words, _NUMBER))
    found = [
        _one(text, unit) if good else (0, False, False) for text, good in zip(words.to_pylist(), numeric, strict=True)
    ]
    at = int64(encoded.indices)
    us, beyond, cut = (np.array(each)[at] for each in zip(*found, strict=True))
    return Counted(us.astype(np.int64), numeric[at], beyond, cut)


def _one(text: str, unit: str) -> tuple[int, bool, bool]:
    """Return the microseconds of one number, whether it is too great, and whether digits were cut off."""
    number = Decimal(text.replace(",", "."))
    if abs(number) > MOST_US:
        return 0, True, False
    exactly = Context(prec=len(text) + 20)
    exact = (
        exactly.divide(number, Decimal(1000)) if unit == "ns" else exactly.multiply(number, Decimal(MICROSECONDS[unit]))
    )
    us = int(exact.to_integral_value(ROUND_FLOOR))
    return (0, True, False) if abs(us) > MOST_US else (us, False, us != exact)
