"""What stands behind a clock and says its zone: UTC, an offset, a zone's name, or a short word that means several."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from decimal import Decimal

import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import Refused, Source
from vambrace_plugins.importers.csv.firstcells import FirstCells, column_of
from vambrace_plugins.importers.csv.options import option_key

SHORT = {
    "ACDT": ("+10:30",),
    "ACST": ("+09:30",),
    "ADT": ("-03:00",),
    "AEDT": ("+11:00",),
    "AEST": ("+10:00",),
    "AKDT": ("-08:00",),
    "AKST": ("-09:00",),
    "AST": ("-04:00",),
    "AWST": ("+08:00",),
    "BST": ("+01:00", "-11:00"),
    "CAT": ("+02:00",),
    "CDT": ("-05:00", "+09:00", "-04:00"),
    "CEST": ("+02:00",),
    "CET": ("+01:00",),
    "CST": ("-06:00", "+08:00", "-05:00"),
    "EAT": ("+03:00",),
    "EDT": ("-04:00",),
    "EEST": ("+03:00",),
    "EET": ("+02:00",),
    "EST": ("-05:00",),
    "HKT": ("+08:00",),
    "HST": ("-10:00",),
    "IDT": ("+03:00",),
    "IST": ("+05:30", "+01:00", "+02:00"),
    "JST": ("+09:00",),
    "KST": ("+09:00", "+08:30"),
    "MDT": ("-06:00",),
    "MSK": ("+03:00", "+04:00"),
    "MST": ("-07:00",),
    "NZDT": ("+13:00",),
    "NZST": ("+12:00",),
    "PDT": ("-07:00", "+09:00"),
    "PKT": ("+05:00",),
    "PST": ("-08:00", "+08:00"),
    "SAST": ("+02:00",),
    "WAT": ("+01:00",),
    "WEST": ("+01:00",),
    "WET": ("+00:00",),
}
"""Short names of zones with offsets that the tz database has given them since 1970; none of them is a standard."""

_HOURS = r"[^:]*[0-9]:[0-9]{2}(?::[0-9]{2}(?:[.,][0-9]+)?)?"
_FEW = 0.1
_CLOCK = _HOURS + r"(?:\s*[AaPp]\.?[Mm](?:\.|\b))?"
# Zones that the core reads as they are.
_USUAL = _HOURS + r" ?(?:Z|z|UTC|GMT|[+\-][0-9]{2}(?::?[0-9]{2})?)?(?:\[[^\[\]]*\])*\s*"
_OFFSET = r"(?:UTC|GMT|utc|gmt)?\s*[+\-−](?:[0-9]{4}|[0-9]{1,2}(?::[0-9]{2})?)|[\[(]?(?:UTC|GMT|utc|gmt)[\])]?|[Zz]"
_NAME = r"[A-Z]{2,5}|[A-Za-z][A-Za-z_]+(?:/[A-Za-z0-9_+\-]+)+"
_TAILED = rf"^\s*(?P<body>{_CLOCK})\s*(?P<offset>{_OFFSET})?\s*[\[(]?(?P<name>{_NAME})?[\])]?\s*$"
# A long name in round brackets behind an offset says no more than the offset.
_LONG_NAME = r"([+\-−][0-9]{2}:?[0-9]{2}) \([A-Z][A-Za-z ]{5,}\)\s*$"
# `Wed Mar 13 09:00:00 EST 2024`, as some programs write times: the year behind the zone.
_YEAR_LAST = (
    rf"^(\s*(?:[A-Za-z]{{3,9}},? +)?[A-Za-z]{{3,9}} +[0-9]{{1,2}}) +([0-9:.]+) +({'|'.join(SHORT)}) +([0-9]{{4}})\s*$"
)
# One digit of an hour, or two, with nothing behind them or minutes; three digits may be minutes as well.
_NUMERIC = re.compile(r"^(?:UTC|GMT)?\s*([+\-−])(?:([0-9]{2})([0-9]{2})|([0-9]{1,2})(?::([0-9]{2}))?)$", re.IGNORECASE)
_HOURS_WITH_PARTS = re.compile(r"^(?:UTC|GMT)?\s*([+\-−])([0-9]{1,2})[.,](0|00|25|5|50|75)$", re.IGNORECASE)
_COUNT = re.compile(r"^([+\-−]?)([0-9]+(?:[.,][0-9]+)?)$")
_LENGTHS = {"h": 3600, "min": 60, "s": 1}
_DAY_S = 86_400


def zones_parted(cells: pa.Array, said: Mapping[str, str], header: str) -> tuple[pa.Array, pa.Array | None]:
    """Return texts with a clock without the zone behind it, and the zones as ISO 8601 and RFC 9557 write them.

    The zones are None where no text has one. `said` holds what short names mean; raise Refused for one that is known to
    mean several and is not said. A text with another word behind it stays as it is, and is no time.
    """
    if _all_usual(cells):
        return cells, None
    parts, encoded = _parts(cells)
    pairs = [text.partition("|") for text in encoded.dictionary.to_pylist()]
    zones = [zone_behind(offset, name, said, header) for offset, _, name in pairs]
    if not any(zones):
        return cells, None
    tails = pa.array(zones, pa.string()).take(encoded.indices)
    return pc.if_else(pc.is_valid(tails), pc.struct_field(parts, "body"), cells), pc.fill_null(tails, "")


def _all_usual(cells: pa.Array) -> bool:
    return bool(pc.all(pc.match_substring_regex(cells, f"^(?:{_USUAL})?$"), min_count=0).as_py())


def _parts(cells: pa.Array) -> tuple[pa.Array, pa.Array]:
    """Return the parts of texts, and the offset and name of each; null where a text is of no clock."""
    cells = pc.replace_substring_regex(cells, _YEAR_LAST, r"\1 \4 \2 \3")
    parts = pc.extract_regex(pc.replace_substring_regex(cells, _LONG_NAME, r"\1"), _TAILED)
    written = pc.binary_join_element_wise(pc.struct_field(parts, "offset"), pc.struct_field(parts, "name"), "|")
    return parts, pc.dictionary_encode(written)


def zone_behind(offset: str, name: str, said: Mapping[str, str], header: str) -> str | None:
    """Return the zone of a text as ISO 8601 and RFC 9557 write it, None where a word behind it is no zone we know."""
    fixed = offset_of(offset) or ("Z" if offset else "")
    if not name or (fixed and "/" not in name):
        # The offset says what the short name behind it may mean.
        return fixed
    if fixed:
        return f"{fixed}[{name}]"
    zone = said.get(name.upper(), "")
    if name in SHORT and not zone:
        raise short_name(name, _behind(name, header))
    if not zone and ("/" not in name or _no_place(name)):
        return None
    return zone if zone[:1] in {"+", "-"} else f"[{zone or name}]"


def _behind(name: str, header: str) -> str:
    return f'"{name}" behind the times of the column "{header}"'


def _no_place(name: str) -> str:
    """Return what to do about a name that is no zone's, "" for one that is."""
    try:
        Source.check_zone(name)
    except Refused as error:
        return error.todo
    return ""


def refuse_unknown_place(name: str, what: str) -> None:
    """Raise Refused for a name that is no zone's."""
    todo = _no_place(name)
    if todo:
        todo = f'{todo}, and say what it means: --option "csv.zones={name}=Region/City"'
        raise Refused("zone-word", f"{what} is no time zone that is known", todo=todo)


def with_zones(texts: pa.Array, tails: pa.Array | None) -> pa.Array:
    """Return date-times with their zones behind them again, "" where there is no text."""
    if tails is None:
        return texts
    return pc.if_else(pc.equal(texts, ""), "", pc.binary_join_element_wise(texts, tails, ""))


def without_zones(cells: Sequence[str], said: Mapping[str, str], header: str) -> Sequence[str]:
    """Return the first cells of a column without the zones behind their clocks that ISO 8601 writes in another way.

    Raise Refused where the words behind more than a few of them are no zones that are known.
    """
    # Of cells that differ in their digits only, the first says it of all.
    column = column_of(cells)
    if _all_usual(column[:1] if isinstance(cells, FirstCells) and cells.alike else column):
        return cells
    bodies, _ = zones_parted(column, said, header)
    pairs = [(text or "|").partition("|") for text in pc.dictionary_decode(_parts(column)[1]).to_pylist()]
    unknown = [name for offset, _, name in pairs if name and zone_behind(offset, name, said, header) is None]
    if len(unknown) > _FEW * len(cells):
        name = unknown[0]
        if "/" in name:
            refuse_unknown_place(name, _behind(name, header))
        raise short_name(name, _behind(name, header))
    return [str(cell) for cell in bodies.to_pylist()]


def offset_of(text: str) -> str:
    """Return an offset as ISO 8601 writes it (`+05:45`), be it possible or not, or "" for any other text."""
    parts = _HOURS_WITH_PARTS.match(text)
    if parts:
        return f"{parts[1].replace('−', '-')}{int(parts[2]):02d}:{int(parts[3].ljust(2, '0')) * 60 // 100:02d}"
    found = _NUMERIC.match(text)
    if not found:
        return ""
    sign, hours, minutes, hour, minute = found.groups()
    return f"{sign.replace('−', '-')}{int(hours or hour):02d}:{minutes or minute or '00'}"


def is_offset(text: str) -> bool:
    """Say whether an offset as ISO 8601 writes it is under 24 hours, with minutes under 60."""
    return int(text[1:3]) < 24 and int(text[4:]) < 60


def may_hold(zone: str, header: str, *, told: bool) -> bool:
    """Say whether a zone in a header may be one; raise Refused for an impossible offset where the user says nothing."""
    if offset_of(zone) != zone or is_offset(zone):
        return True
    if not told:
        what = f'the header "{header}" says the offset {zone}, and no clock is set so: hours go to 23, minutes to 59'
        way = f'--option "csv.columns={option_key(header)}=time"'
        todo = f"Mend the header; or give the zone with --zone and say that it holds: {way}"
        raise Refused("zone-word", what, where="line 1", todo=todo)
    return False


def zones_said(cells: pa.Array, said: Mapping[str, str], header: str, unit: str = "") -> pa.Array:
    """Return a column of zones with what short names mean, and its offsets as ISO 8601 writes them.

    `unit` is what its numbers count (`h`, `min` or `s`), "" where the header does not say. Raise Refused for a short
    name that nobody explains, and for a number that may count one or the other.
    """
    encoded = pc.dictionary_encode(pc.utf8_trim_whitespace(cells))
    words = encoded.dictionary.to_pylist()
    for word in words:
        if word in SHORT and word not in said:
            raise short_name(word, f'"{word}" in the column "{header}"')
    zones = [said.get(word.upper(), "") or _offset_said(word, header, unit) or word for word in words]
    return pa.array(zones, pa.string()).take(encoded.indices)


def _offset_said(word: str, header: str, unit: str) -> str:
    """Return the offset that a cell of a column of offsets says, "" or a text that is no zone where it says none."""
    count = _COUNT.match(word)
    if count and unit:
        return _counted(count, unit) or f"{word} {unit}"
    written = offset_of(word)
    if count and Decimal(count[2].replace(",", ".")) == 0:
        return "+00:00"
    if count and (not written or not is_offset(written)):
        raise _two_units(word, count, header)
    return written


def _counted(count: re.Match[str], unit: str) -> str:
    """Return so many hours, minutes or seconds as an offset, "" where they are none in whole minutes."""
    seconds = Decimal(count[2].replace(",", ".")) * _LENGTHS[unit]
    if seconds % 60 or seconds >= _DAY_S:
        return ""
    hours, minutes = divmod(int(seconds) // 60, 60)
    return f"{count[1].replace('−', '-') or '+'}{hours:02d}:{minutes:02d}"


def _two_units(word: str, count: re.Match[str], header: str) -> Refused:
    names = {"h": "hours", "min": "minutes", "s": "seconds"}
    readings = {name: offset for unit, name in names.items() if (offset := _counted(count, unit))}
    if len(count[2]) == 3 and is_offset(digits := f"{count[1] or '+'}0{count[2][0]}:{count[2][1:]}"):
        readings["hours and minutes"] = digits
    shown = " or ".join(f"{offset} (in {name})" for name, offset in readings.items()) or "no offset in any"
    what = f'the column "{header}" has "{word}", which does not say its unit: {shown}'
    todo = f'Write offsets as +05:30, or say the unit in the header, as in "{header} (min)"; or leave the column out, '
    todo += f'as in --option "csv.columns={option_key(header)}=-", with --zone'
    return Refused("offset-two-readings", what, todo=todo)


def short_name(word: str, what: str, todo: str = "") -> Refused:
    """Return the refusal of a short name of a zone, with what it may mean; `todo` is another way on."""
    offsets = SHORT.get(word, ())
    readings = f" ({' or '.join(offsets)})" if len(offsets) > 1 else ""
    summer = f" ({offsets[0]}, or the clock of a place that changes it in summer)" if len(offsets) == 1 else ""
    what = f"{what} may be a zone, and such short names mean several{readings or summer}"
    example = offsets[0] if offsets else "+01:00"
    way = f'Say what it means, as in --option "csv.zones={word}={example}" (or a place: {word}=Region/City)'
    return Refused("zone-word", what, where="line 1" if todo else "", todo=way + todo)
