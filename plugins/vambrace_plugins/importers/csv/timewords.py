"""What the headers of a table say of times: a date, a clock, a count since when, in which unit and zone."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace
from datetime import UTC, datetime

from vambrace_plugins.importers.csv.zonewords import SHORT, offset_of

_BASES = {
    *("time", "timestamp", "time stamp", "datetime", "date time", "date per time", "date and time"),
    *("recorded at", "measured at", "record time", "sample time"),
}
UNIT_WORDS = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), "s"),
    **dict.fromkeys(("ms", "msec", "millis", "millisecond", "milliseconds"), "ms"),
    **dict.fromkeys(("us", "μs", "usec", "micros", "microsecond", "microseconds"), "us"),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), "min"),
    **dict.fromkeys(("h", "hour", "hours"), "h"),
    **dict.fromkeys(("ns", "nsec", "nanos", "nanosecond", "nanoseconds"), "ns"),
}
# Shows how a clock is written, and says nothing that its cells do not.
_CLOCK_PATTERN = re.compile(r"^hh?[^a-z]?mm(?:[^a-z]?ss(?:[^a-z]?[sf]+)?)?$")
# Minutes first can be no time of day.
_STOPWATCH = re.compile(r"^(?:m{1,3}|min(?:utes?)?)[:.]s(?:s|ec(?:onds?)?)?(?:[:.,][sf0]+)?$")
_EDGES = {"start": "start", "begin": "start", "starttime": "start", "end": "end", "stop": "end", "endtime": "end"}
_SINCE = re.compile(r"\bsince (?:the )?(?:(unix )?epoch|(\d{4})(?: (\d\d) (\d\d))?(?:t?(?: ?00)*z?)?)$")
_ZONE_COLUMNS = {"tz", "timezone", "time zone"}
_ORDERS = re.compile(r"^(?:(dd?)|(mm?)|(yy)|yyyy)[^a-z]?(?:m{1,3}|dd?)[^a-z]?(?:dd?|yy|yyyy)\b")
_NAMES = ("day-first", "month-first", "year-first")
_ZONE_NAME = re.compile(r"^[A-Z][A-Za-z_]+(?:/[A-Za-z0-9_+\-]+)+$")


@dataclass(frozen=True, slots=True)
class TimeWords:
    """What a header says of a column of times.

    `part` is `time`, `date`, `offset` or `zone`; `edge` is `start`, `end` or empty; `unit` is empty where the header
    names none; `epoch_s` is the instant of count 0 in Unix seconds where the header says it; `zone` is `Z`, an offset,
    a zone's name or empty; `order` is `day-first`, `month-first` or `year-first` where the header shows how its dates
    are written; `clock` is `mm:ss` or `hh:mm` where it shows what two parts of a time are;
    `local` is True where the header says that the clock was a local one. `told` is True where the user says what the
    column is; `remark` stands in brackets and says nothing that we know.
    """

    part: str = "time"
    edge: str = ""
    unit: str = ""
    epoch_s: int | None = None
    elapsed: bool = False
    zone: str = ""
    order: str = ""
    clock: str = ""
    local: bool = False
    told: bool = False
    remark: str = ""


def read_time(words: str, bracketed: list[str]) -> TimeWords | None:
    """Return what plain header words and the texts in brackets say of times, or None where they name no time."""
    tokens = words.split()
    if "offset" in tokens and not {"utc", "gmt", "tz", "zone", "timezone"}.isdisjoint(tokens):
        return TimeWords("offset")
    if words in _ZONE_COLUMNS:
        return TimeWords("zone")
    said, rest = _strip(words, TimeWords())
    if rest == "date":
        said = replace(said, part="date")
    elif rest not in _BASES and (rest or not _stands_alone(said)):
        base, _, word = rest.rpartition(" ")
        if base not in _BASES or word.upper() not in SHORT:
            return None
        said = replace(said, remark=word.upper())
    for text in bracketed:
        said = _bracket(text, said)
    return said


def offset_unit(header: str) -> str:
    """Return the unit that the header of a column of offsets names (`h`, `min` or `s`), or ""."""
    words = re.findall("[A-Zμ]?[a-zμ]+|[A-Z]+", header)
    units = [UNIT_WORDS.get(word.lower(), "") for word in words]
    return next((unit for unit in reversed(units) if unit in {"h", "min", "s"}), "")


def _stands_alone(said: TimeWords) -> bool:
    return bool(said.zone or said.epoch_s is not None or said.elapsed or said.edge)


def _strip(words: str, said: TimeWords) -> tuple[TimeWords, str]:
    """Return what the words say, and the words that say none of it."""
    since = _SINCE.search(words)
    if since:
        said = replace(said, epoch_s=_epoch(since))
        words = words[: since.start()].strip()
    if words.endswith("since start"):
        said, words = replace(said, elapsed=True), words.removesuffix("since start").strip()
    rest = []
    for word in words.split():
        if word in {"utc", "gmt", "zulu"}:
            said = replace(said, zone="Z")
        elif word in {"unix", "epoch", "posix"}:
            said = replace(said, epoch_s=0)
        elif word in {"elapsed"}:
            said = replace(said, elapsed=True)
        elif word in UNIT_WORDS:
            said = replace(said, unit=UNIT_WORDS[word])
        elif word in _EDGES:
            said = replace(said, edge=_EDGES[word])
        elif word == "local":
            said = replace(said, local=True)
        elif word not in {"iso", "iso8601", "8601"}:
            rest.append(word)
    return said, " ".join(rest)


def _bracket(text: str, said: TimeWords) -> TimeWords:
    offset = offset_of(text)
    if offset:
        return replace(said, zone=offset)
    if text.lower() == "z":
        return replace(said, zone="Z")
    if _ZONE_NAME.match(text):
        return replace(said, zone=text)
    order = _ORDERS.match(text.lower())
    if order:
        return replace(said, order=next((name for name, part in zip(_NAMES, order.groups(), strict=True) if part), ""))
    if _CLOCK_PATTERN.match(text.lower()):
        return replace(said, clock="hh:mm" if "s" not in text.lower() else said.clock)
    if _STOPWATCH.match(text.lower()):
        return replace(said, clock="mm:ss", elapsed=True)
    words = " ".join(re.sub(r"[^\w]+|_", " ", text.lower()).split())
    found, rest = _strip(words, said)
    return replace(found, edge=said.edge) if not rest else replace(said, remark=text)


def _epoch(since: re.Match[str]) -> int:
    _, year, month, day = since.groups()
    if year is None:
        return 0
    return int(datetime(int(year), int(month or 1), int(day or 1), tzinfo=UTC).timestamp())
