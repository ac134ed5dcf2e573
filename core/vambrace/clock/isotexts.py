"""ISO 8601 date-times to wall-clock microseconds and offsets, as columns."""

from __future__ import annotations

import re
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace.batch import Mask
from vambrace.columns import int64, mask

DAY_US = 86_400_000_000

_USUAL = r"^[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}:[0-9]{2}(\.[0-9]{1,6})?"
_WITH_OFFSET = _USUAL + r"(Z|[+-][0-9]{2}:[0-9]{2})$"
_WITHOUT = _USUAL + "$"
_LONG = r"\.[0-9]{6}[0-9]+"
_CUT = r"\.[0-9]{6}0*[1-9]"

# Those of 2024-03-01T10:15:30Z and of the same with a point and one to six digits.
_ZULU_LENGTHS = (20, *range(22, 28))

_TAIL = r" ?(?P<offset>[Zz]|UTC|GMT|[+\-−][0-9]{2}(?::?[0-9]{2})?)?(?P<tags>(?:\[[^\[\]]*\])*)$"
_FRACTION = r"(?:[.,](?P<part>[0-9]+))?"
_CLOCK = rf"(?:[Tt]| +)(?P<h>[0-9]{{2}}):(?P<m>[0-9]{{2}})(?::(?P<s>[0-9]{{2}}){_FRACTION})?" + _TAIL
_BASIC_CLOCK = rf"[Tt](?P<h>[0-9]{{2}})(?P<m>[0-9]{{2}})(?:(?P<s>[0-9]{{2}}){_FRACTION})?" + _TAIL
# Each shape of a date with the clock that belongs to it: extended with colons, basic without.
_SHAPES = (
    "^(?P<year>[0-9]{4})-(?P<month>[0-9]{2})-(?P<day>[0-9]{2})" + _CLOCK,
    "^(?P<year>[0-9]{4})(?P<month>[0-9]{2})(?P<day>[0-9]{2})" + _BASIC_CLOCK,
    "^(?P<year>[0-9]{4})-(?P<yearday>[0-9]{3})" + _CLOCK,
    "^(?P<year>[0-9]{4})(?P<yearday>[0-9]{3})" + _BASIC_CLOCK,
    "^(?P<year>[0-9]{4})-[Ww](?P<week>[0-9]{2})-(?P<weekday>[1-7])" + _CLOCK,
    "^(?P<year>[0-9]{4})[Ww](?P<week>[0-9]{2})(?P<weekday>[1-7])" + _BASIC_CLOCK,
)


@dataclass(frozen=True, slots=True)
class Words:
    """A column of texts of which few are different: `texts[at[row]]` is a row's own, "" where it has none."""

    texts: list[str]
    at: NDArray[np.int64]

    def put(self, rows: NDArray[np.intp], words: pa.Array) -> None:
        """Set the texts of some rows."""
        encoded = pc.dictionary_encode(words)
        known = {text: number for number, text in enumerate(self.texts)}
        numbers = [known.setdefault(text, len(known)) for text in encoded.dictionary.to_pylist()]
        self.texts[:] = known
        self.at[rows] = np.array(numbers, np.int64)[encoded.indices.to_numpy(zero_copy_only=False)]


@dataclass(frozen=True, slots=True)
class Parsed:
    """What a column of texts says; every array has length n.

    `wall_us` is the wall clock as written, in microseconds since 1970, `known` False where a text is no date-time.
    `offset_s` is local time minus UTC in seconds, `fixed` True where the text says it. `tags` are the texts in square
    brackets after it. `cut` and `leap` mark where digits beyond the sixth were cut off, and where the second is 60.
    `zulu` says that every text is a whole date-time in UTC, so that nothing else need be looked at.
    """

    wall_us: NDArray[np.int64]
    known: Mask
    offsets: Words
    offset_s: NDArray[np.int64]
    fixed: Mask
    tags: Words
    cut: Mask
    leap: Mask
    zulu: bool = False


def parse(texts: pa.Array) -> Parsed:
    """Return the wall clocks and offsets of ISO 8601 date-times; a date alone is none.

    Read are calendar, ordinal and week dates, extended or basic; `T`, `t` or blanks before the clock; seconds left
    out; a fraction of a second after a dot or comma; `Z`, `z`, `UTC`, `GMT`, ±hh:mm, ±hhmm, ±hh;
    24:00; second 60; RFC 9557's texts in brackets.
    """
    stamps = _all_alike(texts)
    if stamps is not None:
        return _in_utc(stamps)
    n = len(texts)
    parsed = Parsed(
        np.zeros(n, np.int64),
        np.zeros(n, np.bool_),
        Words([""], np.zeros(n, np.int64)),
        np.zeros(n, np.int64),
        np.zeros(n, np.bool_),
        Words([""], np.zeros(n, np.int64)),
        np.zeros(n, np.bool_),
        np.zeros(n, np.bool_),
    )
    trimmed = pc.utf8_trim_whitespace(texts)
    rest = _usual(parsed, trimmed.drop_null(), np.flatnonzero(mask(pc.is_valid(trimmed))))
    if len(rest):
        rest = _usual_but_long(parsed, trimmed.take(pa.array(rest)), rest)
    for shape in _SHAPES:
        if not len(rest):
            break
        rest = np.setdiff1d(rest, _shaped(parsed, trimmed, shape, rest), assume_unique=True)
    _offsets(parsed)
    return parsed


def _in_utc(stamps: NDArray[np.int64]) -> Parsed:
    """Return what texts say that are all date-times ending with Z; arrays of one value hold it once."""
    n = len(stamps)
    none, every = np.broadcast_to(np.int64(0), n), np.broadcast_to(np.True_, n)
    nowhere = np.broadcast_to(np.False_, n)
    zulu = Words(["", "Z"], np.broadcast_to(np.int64(1), n))
    return Parsed(stamps, every, zulu, none, every, Words([""], none), nowhere, nowhere, zulu=True)


def _all_alike(texts: pa.Array) -> NDArray[np.int64] | None:
    """Return the times of texts of one length that all end with Z, None where they are something else.

    With that length and that end, Arrow's parser takes no other shape than a whole second or its decimals.
    """
    if texts.null_count or not len(texts):
        return None
    ends = np.frombuffer(texts.buffers()[1], np.int32)[texts.offset : texts.offset + len(texts) + 1]
    length = int(ends[1] - ends[0])
    if length not in _ZULU_LENGTHS or np.any(np.diff(ends) != length):
        return None
    if np.any(np.frombuffer(texts.buffers()[2], np.uint8)[ends[1:] - 1] != ord("Z")):
        return None
    try:
        stamps = pc.cast(texts, pa.timestamp("us", "UTC"))
    except pa.ArrowInvalid:
        return None
    found: NDArray[np.int64] = stamps.cast(pa.int64()).to_numpy(zero_copy_only=True)
    return found


def _usual(parsed: Parsed, texts: pa.Array, rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """Parse texts of the commonest shapes into their rows with Arrow's own parser; return the rows that are left."""
    for pattern, zoned in ((_WITH_OFFSET, True), (_WITHOUT, False)):
        fits = mask(pc.match_substring_regex(texts, pattern))
        if not fits.any():
            continue
        chosen = texts if fits.all() else texts.filter(pa.array(fits))
        try:
            stamps = pc.cast(chosen, pa.timestamp("us", "UTC" if zoned else None))
        except pa.ArrowInvalid:
            continue
        _stamp(parsed, chosen, stamps, rows[fits], zoned)
        texts, rows = texts.filter(pa.array(~fits)), rows[~fits]
        if not len(rows):
            break
    return rows


def _stamp(parsed: Parsed, texts: pa.Array, stamps: pa.Array, rows: NDArray[np.intp], zoned: bool) -> None:
    parsed.wall_us[rows] = int64(pc.cast(stamps, pa.int64()))
    parsed.known[rows] = True
    if zoned:
        parsed.offsets.put(rows, pc.if_else(pc.ends_with(texts, "Z"), "Z", pc.utf8_slice_codeunits(texts, -6)))
        seconds = np.array([offset_seconds(text) or 0 for text in parsed.offsets.texts], np.int64)
        parsed.wall_us[rows] += seconds[parsed.offsets.at[rows]] * 1_000_000


def _usual_but_long(parsed: Parsed, texts: pa.Array, rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """Parse texts of the commonest shapes with more than six digits of a second; return the rows that are left."""
    long = mask(pc.match_substring_regex(texts, _LONG))
    if not long.any():
        return rows
    texts, long_rows = texts.filter(pa.array(long)), rows[long]
    left = _usual(parsed, pc.replace_substring_regex(texts, r"(\.[0-9]{6})[0-9]+", r"\1"), long_rows)
    parsed.cut[long_rows] = mask(pc.match_substring_regex(texts, _CUT)) & ~np.isin(long_rows, left)
    return np.union1d(rows[~long], left)


def _shaped(parsed: Parsed, texts: pa.Array, shape: str, rows: NDArray[np.intp]) -> NDArray[np.intp]:
    """Parse the rows that have one shape, part by part, and return which they are."""
    parts = pc.extract_regex(texts.take(pa.array(rows)), shape)
    fits = pc.is_valid(parts)
    rows = rows[mask(fits)]
    if not len(rows):
        return rows
    parts = parts.filter(fits)
    days, good = _days(parts)
    hour, minute, second = (_whole(parts, name) for name in "hms")
    part = pc.struct_field(parts, "part")
    micro = int64(pc.cast(pc.utf8_rpad(pc.utf8_slice_codeunits(part, 0, 6), 6, "0"), pa.int64()))
    more = mask(pc.match_substring_regex(pc.utf8_slice_codeunits(part, 6), "[1-9]"))
    clock = (hour * 3600 + minute * 60 + second) * 1_000_000 + micro
    midnight = (clock == 24 * 3600 * 1_000_000) & (hour == 24) & ~more
    good &= ((hour < 24) | midnight) & (minute < 60) & (second <= 60)
    parsed.wall_us[rows] = np.where(good, days * DAY_US + clock, 0)
    parsed.known[rows] = good
    parsed.cut[rows] = good & more
    parsed.leap[rows] = good & (second == 60)
    parsed.offsets.put(rows, pc.struct_field(parts, "offset"))
    parsed.tags.put(rows, pc.struct_field(parts, "tags"))
    return rows


def _days(parts: pa.Array) -> tuple[NDArray[np.int64], Mask]:
    """Return the days since 1970 of calendar, ordinal or week dates, and which of them exist."""
    names = {each.name for each in parts.type}
    year = _whole(parts, "year")
    january = _first_of(year * 12)
    exists = np.ones(len(year), np.bool_)
    if "month" in names:
        month, day = _whole(parts, "month"), _whole(parts, "day")
        exists &= (month >= 1) & (month <= 12)
        months = year * 12 + np.where(exists, month, 1) - 1
        first = _first_of(months)
        return first + day - 1, exists & (day >= 1) & (day <= _first_of(months + 1) - first)
    if "yearday" in names:
        day = _whole(parts, "yearday")
        return january + day - 1, exists & (day >= 1) & (day <= _first_of(year * 12 + 12) - january)
    week, weekday = _whole(parts, "week"), _whole(parts, "weekday")
    monday = _first_monday(january)
    weeks = (_first_monday(_first_of(year * 12 + 12)) - monday) // 7
    return monday + 7 * (week - 1) + weekday - 1, exists & (week >= 1) & (week <= weeks)


def _first_of(months: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the days since 1970 of the first days of months, counted from January of year 0."""
    return (months - 1970 * 12).astype("datetime64[M]").astype("datetime64[D]").astype(np.int64)


def _first_monday(january: NDArray[np.int64]) -> NDArray[np.int64]:
    """Return the Monday of each year's first ISO week, the one that holds 4 January."""
    fourth = january + 3
    return fourth - (fourth + 3) % 7


def _offsets(parsed: Parsed) -> None:
    """Fill in the seconds of every offset; a text with an impossible one is no date-time."""
    seconds = [offset_seconds(text) for text in parsed.offsets.texts]
    possible = np.array(
        [not text or found is not None for text, found in zip(parsed.offsets.texts, seconds, strict=True)]
    )
    parsed.offset_s[:] = np.array([found or 0 for found in seconds], np.int64)[parsed.offsets.at]
    parsed.known[:] &= possible[parsed.offsets.at]
    parsed.fixed[:] = parsed.known & (parsed.offsets.at > 0)


def offset_seconds(text: str) -> int | None:
    """Return the seconds of `Z` or a numeric offset, or None where it is neither or is not under 24 hours."""
    if text in {"Z", "z", "UTC", "GMT"}:
        return 0
    found = re.fullmatch(r"([+\-−])([01][0-9]|2[0-3])(?::?([0-5][0-9]))?", text)
    if found is None:
        return None
    sign, hours, minutes = found.groups()
    return (1 if sign == "+" else -1) * (int(hours) * 3600 + int(minutes or 0) * 60)


def _whole(parts: pa.Array, name: str) -> NDArray[np.int64]:
    text = pc.struct_field(parts, name)
    return int64(pc.cast(pc.if_else(pc.equal(text, ""), "0", text), pa.int64()))
