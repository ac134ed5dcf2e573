"""What a user may say about a table, and the check that it makes sense."""

from __future__ import annotations

import codecs
import re
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta

from vambrace.plugin import SIGNALS, Refused, Source

DELIMITERS = (",", ";", "\t", "|")
"""What may separate cells, in the order in which a file with one column is taken to have them."""
FIXED = "fixed"
"""Said in a delimiter's place where none separates the cells, which stand below each other."""
_DELIMITER_WORDS = {"comma": ",", "semicolon": ";", "tab": "\t", "\\t": "\t", "pipe": "|"}
_DECIMAL_WORDS = {"comma": ",", "dot": ".", "point": "."}
EPOCHS = {"epoch": 0, "fit": 631_065_600, "serial-1900": -2_209_161_600, "serial-1904": -2_082_844_800}
"""Unix seconds of count 0. Spreadsheets count from 1899-12-30 (right from day 61 on), or from 1904-01-01."""
_UNITS = ("s", "ms", "us", "ns")
ORDERS = ("day-first", "month-first", "year-first")
NOTATIONS = {
    **{order: (order, "") for order in ORDERS},
    **{f"{kind}-{unit}": (kind, unit) for kind in ("epoch", "elapsed") for unit in _UNITS},
    **{f"elapsed-{unit}": ("elapsed", unit) for unit in ("min", "h", "mm:ss", "hh:mm")},
    "fit-s": ("epoch", "s"),
    "serial-1900": ("serial", "d"),
    "serial-1904": ("serial", "d"),
}
"""What `csv.time` may say, with the kind of times that it means and their unit."""
_WORD = re.compile(r"^[A-Z]{2,5}$|^[A-Z_]+/")
_OFFSET = re.compile(r"^[+-](?:[01][0-9]|2[0-3]):[0-5][0-9]$")
_SHORTEST_S, _LONGEST_S = 1e-6, 366 * 86_400
_YEARS = range(1990, 2100)
# What Python calls encodings too, and no file of text is written in.
_NO_TEXTS = frozenset({"punycode", "idna", "unicode-escape", "raw-unicode-escape", "undefined", "utf-7", "mbcs", "oem"})
ROLES = ("time", "date", "start", "end", "offset", "-")
"""What `csv.columns` may say of a column besides a signal's name; `-` leaves it out."""


def _option(text: str) -> dict[str, str]:
    return {"help": text}


@dataclass(frozen=True, slots=True)
class Options:
    """What the file cannot say of itself; an empty text leaves the decision to the evidence in the file."""

    delimiter: str = field(default="", metadata=_option("what separates cells: , ; tab | fixed (one width)"))
    decimal: str = field(default="", metadata=_option("the decimal mark: . or ,"))
    encoding: str = field(default="", metadata=_option("the text encoding, as in cp1252"))
    columns: str = field(default="", metadata=_option("what columns hold: HEADER=heart_rate; HEADER=time; HEADER=-"))
    units: str = field(default="", metadata=_option("units that the header leaves out: altitude=ft; HEADER=bpm"))
    time: str = field(default="", metadata=_option(f"the notation of times: {', '.join(NOTATIONS)}"))
    start: str = field(default="", metadata=_option("the instant from which elapsed times count: 2031-03-04T09:00:00Z"))
    date: str = field(default="", metadata=_option("the date of the first row where times have none: 2031-03-04"))
    century: str = field(default="", metadata=_option("the century of years with two digits: 20"))
    zones: str = field(default="", metadata=_option("what short zone names mean: PST=-08:00; CET=Europe/Berlin"))
    repeated_hour: str = field(default="", metadata=_option("what parts an hour that comes twice: row-order"))
    counting: str = field(default="", metadata=_option("total or increment, for all or by column: steps=increment"))
    stamp: str = field(default="", metadata=_option("what a time marks of its interval: end, start or middle"))
    interval_s: float | None = field(default=None, metadata=_option("the length of each row's interval in seconds"))


@dataclass(frozen=True, slots=True)
class Said:
    """The options after checking: marks as characters, pairs as mappings whose keys are in lower case."""

    delimiter: str
    decimal: str
    encoding: str
    columns: dict[str, str]
    units: dict[str, str]
    time_kind: str
    time_unit: str
    epoch_s: int
    start_s: int | None
    date: date | None
    century: str
    zones: dict[str, str]
    row_order: bool
    counting: dict[str, str]
    stamp: str
    interval_s: float | None


def check(options: Options) -> Said:
    """Return the options in a form that the reader uses; raise Refused for one that makes no sense."""
    delimiter = _DELIMITER_WORDS.get(options.delimiter.lower(), options.delimiter)
    if delimiter and delimiter not in (*DELIMITERS, FIXED):
        raise _bad("delimiter", options.delimiter, "comma, semicolon, tab, pipe or fixed")
    decimal = _DECIMAL_WORDS.get(options.decimal.lower(), options.decimal)
    if decimal not in {"", ".", ","}:
        raise _bad("decimal", options.decimal, "dot or comma")
    if options.time and options.time not in NOTATIONS:
        raise _bad("time", options.time, ", ".join(NOTATIONS))
    if options.repeated_hour not in {"", "row-order"}:
        raise _bad("repeated_hour", options.repeated_hour, "row-order")
    kind, unit = NOTATIONS.get(options.time, ("", ""))
    return Said(
        delimiter=delimiter,
        decimal=decimal,
        encoding=_encoding(options.encoding),
        columns=_columns(options.columns),
        units=_pairs("units", options.units),
        time_kind=kind,
        time_unit=unit,
        epoch_s=EPOCHS.get(options.time.removesuffix("-s"), 0),
        start_s=_start(options.start),
        date=_date(options),
        century=_century(options.century),
        zones=_zones(options.zones),
        row_order=options.repeated_hour == "row-order",
        counting=_counting(options.counting),
        stamp=_stamp(options),
        interval_s=options.interval_s,
    )


def _bad(name: str, value: str, wanted: str) -> Refused:
    return Refused("bad-option", f'the option csv.{name} cannot be "{value}"', todo=f"Give {wanted}")


def option_key(header: str) -> str:
    r"""Return a header as pairs in an option write it: `\;` stands for a semicolon."""
    return header.replace(";", "\\;")


def _pairs(name: str, text: str) -> dict[str, str]:
    pairs = {}
    pieces = (piece.replace("\\;", ";").strip() for piece in re.split(r"(?<!\\);", text))
    for part in filter(None, pieces):
        key, equals, value = part.rpartition("=")
        if not (equals and key.strip() and value.strip()):
            raise _bad(name, text, "pairs like HEADER=VALUE, separated by ; (a semicolon in a header is \\;)")
        pairs[key.strip().lower()] = value.strip()
    return pairs


def _columns(text: str) -> dict[str, str]:
    columns = _pairs("columns", text)
    for value in columns.values():
        if value not in SIGNALS and value not in ROLES:
            raise _bad("columns", text, f"a signal ({', '.join(SIGNALS)}) or one of {', '.join(ROLES)}")
    return columns


def _counting(text: str) -> dict[str, str]:
    counting = {"": text} if text in {"", "total", "increment"} else _pairs("counting", text)
    if not set(counting.values()) <= {"", "total", "increment"}:
        raise _bad("counting", text, "total or increment, or pairs like steps=increment")
    return counting


def _stamp(options: Options) -> str:
    if options.stamp not in {"", "end", "start", "middle"}:
        raise _bad("stamp", options.stamp, "end, start or middle")
    if options.interval_s is not None and not _SHORTEST_S <= options.interval_s <= _LONGEST_S:
        raise _bad("interval_s", str(options.interval_s), "a length in seconds, from 0.000001 to 31622400 (366 days)")
    return options.stamp


def _encoding(text: str) -> str:
    if not text:
        return ""
    try:
        "x".encode(text)
        found = codecs.lookup(text)
    except (LookupError, UnicodeError, ValueError):
        found = None
    if found is None or found.incrementaldecoder is None or found.name.replace("_", "-") in _NO_TEXTS:
        raise _bad("encoding", text, "the name of a text encoding, as in utf-8, cp1252 or latin-1")
    return found.name.removesuffix("-sig")


def _start(text: str) -> int | None:
    if not text:
        return None
    start: datetime | None
    try:
        start = datetime.fromisoformat(text)
    except ValueError:
        start = None
    if start is None or start.tzinfo is None or start.microsecond or start.year not in _YEARS:
        raise _bad(
            "start",
            text,
            "a date and time (of 1990 to 2099) in whole seconds with Z or an offset, as in 2031-03-04T09:00:00Z",
        )
    return (start - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(seconds=1)


def _date(options: Options) -> date | None:
    if not options.date:
        return None
    if options.start:
        what = "csv.date says that the times are times of day, and csv.start that they count from a start"
        raise Refused("bad-option", what, todo="Give the one that is meant")
    try:
        found = date.fromisoformat(options.date)
    except ValueError:
        found = date.min
    if found.year not in _YEARS:
        raise _bad("date", options.date, "the date of the first row (of 1990 to 2099), as in 2031-03-04")
    return found


def _century(text: str) -> str:
    if text not in {"", "19", "20"}:
        raise _bad("century", text, "19 or 20, the first two digits of the years")
    return text


def _zones(text: str) -> dict[str, str]:
    if text and "=" not in text:
        raise _bad("zones", text, "what short names mean, as in PST=-08:00; for times without any zone use --zone")
    zones = {word.upper(): zone for word, zone in _pairs("zones", text).items()}
    for word, zone in zones.items():
        if not _WORD.match(word):
            raise _bad("zones", text, "what short names of letters mean, as in PST=-08:00; for others use --zone")
        if not _OFFSET.match(zone):
            try:
                Source.check_zone(zone)
            except Refused as error:
                what = f'the option csv.zones cannot be "{text}": {error.what}'
                raise Refused("bad-option", what, todo=f"{error.todo}, or an offset such as +01:00") from None
    return zones
