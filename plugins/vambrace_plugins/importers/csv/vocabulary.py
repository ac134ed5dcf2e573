"""What the headers of a table mean: which signal, in which unit, counted how; or which part of the time."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, replace

from vambrace.plugin import SIGNALS

from vambrace_plugins.importers.csv.timewords import TimeWords, read_time

_BRACKETS = re.compile(r"\(([^()]*)\)|\[([^\[\]]*)\]")
_CAMEL = re.compile(r"(?<=[a-z0-9])(?=[A-Z])")
_BREAK = re.compile(r"[^\w%]+|_+")
_KEYS = (
    *("recording", "device", "device id", "device name", "participant", "participant id", "subject", "subject id"),
    *("user", "user id", "serial", "serial number", "device serial", "sensor", "sensor id"),
)

# Units as they stand in headers without brackets; the text on the right is what the core is told.
_UNITS: dict[str, str] = {
    **dict.fromkeys(("per min", "per minute", "1 per min"), "/min"),
    **dict.fromkeys(("bpm", "beats per min", "beats per minute"), "bpm"),
    **dict.fromkeys(("breaths per min", "breaths per minute"), "/min"),
    **dict.fromkeys(("percent", "pct", "%"), "%"),
    **dict.fromkeys(("deg", "degrees"), "deg"),
    **dict.fromkeys(("m per s", "m s", "mps", "meters per second", "metres per second"), "m/s"),
    **dict.fromkeys(("km per h", "km h", "kmh", "kph"), "km/h"),
    **dict.fromkeys(("cel", "celsius", "deg c", "degc"), "Cel"),
    **dict.fromkeys(("fahrenheit", "deg f", "degf"), "[degF]"),
    **dict.fromkeys(("m", "meters", "metres"), "m"),
    **dict.fromkeys(("ft", "feet"), "ft"),
    **dict.fromkeys(("s", "sec", "seconds"), "s"),
    **dict.fromkeys(("ms", "msec", "milliseconds"), "ms"),
    **dict.fromkeys(("w", "watt", "watts"), "W"),
    **{unit: unit for unit in ("fraction", "km", "cm", "mm", "mi", "mph", "kcal", "rpm", "spm", "semicircles", "rad")},
    "hz": "Hz", "kj": "kJ", "kw": "kW",
}
_STATISTICS: dict[str, str] = {
    **dict.fromkeys(("mean", "avg", "average"), "mean"),
    **dict.fromkeys(("max", "maximum"), "max"),
    **dict.fromkeys(("min", "minimum"), "min"),
}
_COUNTING: dict[str, str] = {
    **dict.fromkeys(("total", "cumulative", "running total", "accumulated", "cum"), "total"),
    **dict.fromkeys(("per interval", "per row", "per epoch", "per sample", "in interval", "of interval"), "increment"),
    **dict.fromkeys(("increment", "increments", "delta", "interval", "incremental"), "increment"),
}
_SAYS_UNIT = {"bpm": "bpm", "watts": "W"}
_SAYS_STEPS = ("step rate", "step cadence")
_COUNTS = {"rpm": "revolutions", "spm": "steps", "steps/min": "steps", "steps per min": "steps"}


@dataclass(frozen=True, slots=True)
class Heading:
    """What one header cell says; `text` is the cell itself.

    `signal` is empty where no signal fits, `time` None where it is no part of the time, `key` the word for what tells
    devices or people apart. `unit` and `counting` are empty where the header does not say; `canonical` is True where
    the header is exactly our own name of the signal.
    """

    text: str
    signal: str = ""
    unit: str = ""
    statistic: str = "instant"
    counting: str = ""
    counts: str = ""
    sensor: str = ""
    canonical: bool = False
    time: TimeWords | None = None
    key: str = ""

    @property
    def known(self) -> bool:
        """Say whether the header means a signal or a part of the time."""
        return bool(self.signal) or self.time is not None


def plain(text: str) -> str:
    """Return a text as words in lower case with single spaces: `Date/Time` is `date per time`."""
    folded = unicodedata.normalize("NFKC", text).replace("/", " per ").lower()
    return " ".join(filter(None, _BREAK.split(folded)))


def read_heading(text: str) -> Heading:
    """Return what a header cell means."""
    folded = unicodedata.normalize("NFKC", text).strip()
    bracketed = [(a or b).strip() for a, b in _BRACKETS.findall(folded)]
    body = _BRACKETS.sub(" ", folded).strip()
    spellings = tuple(dict.fromkeys((plain(body), plain(_CAMEL.sub(" ", body)))))
    for words in spellings:
        time = read_time(words, bracketed)
        if time is not None:
            return Heading(text, time=time)
    for words in spellings:
        found = next(_signals(words, Heading(text)), None)
        if found is not None:
            return _finish(found, folded, bracketed)
    return Heading(text, key=spellings[0] if spellings[0] in _KEYS else "")


def of_signal(text: str, signal: str) -> Heading:
    """Return the heading of a column that the user says holds a signal, with what else its header says of it."""
    heading = read_heading(text)
    if heading.signal == signal:
        return replace(heading, canonical=True)
    brackets = [(a or b).strip() for a, b in _BRACKETS.findall(unicodedata.normalize("NFKC", text))]
    return replace(_bracketed(Heading(text, signal), brackets), canonical=True)


def _names() -> dict[str, str]:
    words = {word: name for name, signal in SIGNALS.items() for word in signal.words}
    return words | {plain(name): name for name in SIGNALS} | {plain(one.column): one.name for one in SIGNALS.values()}


_NAMES = _names()


def _signals(words: str, said: Heading) -> Iterator[Heading]:
    """Yield every reading of the words as a signal with its unit, statistic and counting; the best one first."""
    if words in _NAMES:
        signal = _NAMES[words]
        counting = next((_COUNTING[word] for word in words.split() if word in ("total", "cumulative")), said.counting)
        counts = "steps" if words in _SAYS_STEPS else said.counts
        yield replace(
            said, signal=signal, unit=said.unit or _SAYS_UNIT.get(words, ""), counting=counting, counts=counts
        )
    if not said.unit:
        yield from (
            heading
            for phrase, unit in _UNITS.items()
            if (rest := _without(words, phrase, front=False))
            for heading in _signals(rest, replace(said, unit=unit))
        )
    for phrase, statistic in _STATISTICS.items():
        for front in (True, False):
            if said.statistic == "instant" and (rest := _without(words, phrase, front=front)):
                yield from _signals(rest, replace(said, statistic=statistic))
    for phrase, counting in _COUNTING.items():
        for front in (True, False):
            if not said.counting and (rest := _without(words, phrase, front=front)):
                found = _signals(rest, replace(said, counting=counting))
                yield from (heading for heading in found if is_total(heading.signal))


def is_total(signal: str) -> bool:
    """Say whether the signal is a running total."""
    return SIGNALS[signal].kind == "running_total"


def _without(words: str, phrase: str, *, front: bool) -> str:
    if front:
        return words.removeprefix(f"{phrase} ") if words.startswith(f"{phrase} ") else ""
    return words.removesuffix(f" {phrase}") if words.endswith(f" {phrase}") else ""


def _finish(found: Heading, folded: str, bracketed: list[str]) -> Heading:
    signal = SIGNALS[found.signal]
    if folded in {signal.name, signal.column}:
        unit = signal.unit if folded == signal.column and folded != signal.name else ""
        return replace(found, canonical=True, unit=unit, counting=found.counting or ("total" if unit else ""))
    return _bracketed(found, bracketed)


def _bracketed(found: Heading, bracketed: list[str]) -> Heading:
    """Return the heading with what stands in brackets: the last part is the unit, those before it name the sensor."""
    left = []
    for part in (piece.strip() for text in bracketed for piece in re.split("[,;]", text)):
        words = plain(part)
        if words in _STATISTICS:
            found = replace(found, statistic=_STATISTICS[words])
        elif words in _COUNTING and is_total(found.signal):
            found = replace(found, counting=_COUNTING[words])
        elif part:
            left.append(part)
    if left:
        found = replace(found, unit=left[-1], sensor=", ".join(left[:-1]))
    if found.signal == "cadence":
        found = replace(found, counts=_COUNTS.get(found.unit.lower(), found.counts or "unknown"))
        found = replace(found, unit="/min" if found.unit.lower() in _COUNTS else found.unit)
    return found
