"""What the headers of a table mean: which signal, in which unit, counted how; or which part of the time."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import lru_cache

from vambrace.plugin import SIGNALS
from vambrace_plugins.importers.csv.timewords import TimeWords, read_time

_BRACKETS = re.compile(r"\(([^()]*)\)|\[([^\[\]]*)\]")
_CAMEL = re.compile(r"(?<=[a-z0-9])(?=[A-Z])")
_BREAK = re.compile(r"[^\w%]+|_+")
_KEYS = {
    **dict.fromkeys(("serial", "serial number", "device serial"), "serial"),
    **dict.fromkeys(("device", "device id", "device name"), "product"),
    **dict.fromkeys(("sensor", "sensor id", "sensor name"), "sensor"),
    **dict.fromkeys(("recording", "recording id"), "recording"),
    **dict.fromkeys(("source name", "source device", "device model"), "product"),
    **{
        f"{who}{more}": "person"
        for who in ("participant", "subject", "user", "person", "patient", "athlete", "volunteer", "individual")
        for more in ("", " id", " name", " code", " number")
    },
    **dict.fromkeys(("statistic", "statistics", "stat", "summary statistic", "descriptive statistic"), "statistic"),
    **dict.fromkeys(("aggregation", "aggregate", "agg", "aggregation type", "aggregation method"), "statistic"),
}

# How units look once a header's marks have become spaces; the text on the right is what the core is told.
_WORD_UNITS = {"m s": "m/s", "km h": "km/h", "mi h": "mi/h", "mm s": "mm/s", "1 1024 s": "s/1024", "rev min": "rpm"}
_CASE_DECIDES = ("cal",)
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
_MOST_UNIT_WORDS = 4
_SAYS_UNIT = {"bpm": "bpm", "watts": "W"}
_SAYS_STEPS = ("step rate", "step cadence")
_SAYS_NOTHING = ("wgs84", "wgs 84")
# Short names met in the field, beside the words of the signals themselves (common practice, no source).
_SHORT = {
    **dict.fromkeys(("ambient temp", "air temp"), "ambient_temperature"),
    **dict.fromkeys(("skin temp", "wrist temp"), "skin_temperature"),
    **dict.fromkeys(("body temp", "core temp", "core body temp", "core body temperature"), "body_temperature"),
    **dict.fromkeys(("resp rate", "breath rate"), "respiratory_rate"),
    **dict.fromkeys(("o2 sat", "o2 saturation"), "oxygen_saturation"),
    "pwr": "power",
    "spd": "speed",
    "cad": "cadence",
}
# Names that another signal has as well; the unit decides.
_RIVALS = {"rr": "respiratory_rate"}

_MOST_REST_WORDS = 3
_ONE_WORD = re.compile(r"[^\W_]+|%")
# Words beside a signal's name that make it another quantity (common practice, no source).
_OTHER_MEANING = frozenset(
    word
    for line in (
        # What was aimed at, reckoned or kept back, and what a device says of its own measuring.
        "target goal limit threshold thresholds zone zones alarm alert reserve recovery predicted estimated expected",
        "quality confidence accuracy precision error err flag status state valid validity source type mode reliability",
        # What was computed from several values.
        "variability hrv deviation std sd sdnn rmssd variance cv range median mode sum peak lowest highest baseline",
        "min max minimum maximum avg average mean mini maxi percentile quartile trend smoothed filtered normalized",
        "normalised relative corrected adjusted difference diff delta change gain loss ascent descent drift offset",
        "low high lo hi lower upper quantile decile quintile tertile skew skewness kurtosis iqr mad rms se sem stderr",
        "fitted fit residual residuals lag lagged log ln sqrt squared zscore ci critical ftp wkg",
        "percent percentage pct % ratio balance factor index score load stress level phase fraction share per of",
        # At another time or for another while.
        "resting rest sleeping walking daily hourly weekly monthly day week month year hour minute second lap split",
        "last first previous next start end begin stop time date duration age elapsed remaining pace to go since",
        # Of something else, or in another direction.
        "ref reference dir direction hemisphere hemi sign",
        "vertical horizontal wind water battery engine motor cpu fan stride length width height pressure wave ox",
        "oximetry oximeter transit amplitude density grade slope angle torque fat basal passive",
        "count counter number no not without id unit units raw",
    )
    for word in line.split()
)
# Percentiles and quartiles (p95, 25th, q1), bounds (ci95) and powers (x2).
_STATISTIC_WORD = re.compile(r"^(?:p|q|ci|x)[0-9]{1,3}$|^[0-9]{1,3}(?:st|nd|rd|th)$")
# In a column of statistics: what a single measurement is called, and more words for what is computed of several.
_SINGLE = frozenset({"", "instant", "instantaneous", "single", "point", "sample", "spot", "raw"})
_OF_SEVERAL = frozenset(
    {"n", "stdev", "var", "dev", "samples", "dispersion", "standard", "med", "coefficient", "variation"}
)
# Words that mean so only where they stand alone beside the name; with others they may be part of a device's.
_OTHER_MEANING_ALONE = {"n", "side", "z"}
# Which foot or hand gave half of a total; a single letter says so only where it stands alone.
_SIDES, _SIDE_LETTERS = {"left", "right"}, {"l", "r"}
_HALVED = {"power", "cadence", "step_count"}
_WHILE = re.compile(r"^[0-9]+(?:ms|s|secs?|mins?|h|hrs?|d|hz)$")
_WHILE_UNITS = frozenset({"ms", "s", "sec", "secs", "seconds", "min", "mins", "minutes", "h", "hours", "hz"})
# Names that are ordinary words as well: `long run` is no longitude.
_ALSO_WORDS = frozenset({"long", "step", "bpm"})


@dataclass(frozen=True, slots=True)
class Heading:
    """What one header cell says; `text` is the cell itself.

    `signal` is empty where no signal fits, `time` None where it is no part of the time, `key` the word for what tells
    devices or people apart. `unit` and `counting` are empty where the header does not say. `canonical` is True where
    the header is exactly our own name of the signal. `remark` stands in brackets and is no unit that we know.
    `rival` is the other signal that has this name, where no unit decides. `device` are words that name a device.
    """

    text: str
    signal: str = ""
    unit: str = ""
    statistic: str = "instant"
    counting: str = ""
    counts: str = ""
    sensor: str = ""
    remark: str = ""
    canonical: bool = False
    time: TimeWords | None = None
    key: str = ""
    rival: str = ""
    device: str = ""

    @property
    def known(self) -> bool:
        """Say whether the header means a signal or a part of the time."""
        return bool(self.signal) or self.time is not None


def plain(text: str) -> str:
    """Return a text as words in lower case with single spaces: `Date/Time` is `date per time`."""
    folded = unicodedata.normalize("NFKC", text).replace("/", " per ").lower()
    return " ".join(filter(None, _BREAK.split(folded)))


@lru_cache(maxsize=1024)
def read_heading(text: str) -> Heading:
    """Return what a header cell means."""
    body, bracketed = parts(text)
    written = spellings(body)
    for words in written:
        time = read_time(words, bracketed)
        if time is not None:
            return Heading(text, time=time)
    for words in written:
        found = next(_signals(words, Heading(text)), None)
        if found is not None:
            return _decided(found, bracketed)
    return Heading(text, key=next((_KEYS[words] for words in written if words in _KEYS), ""))


def _decided(found: Heading, bracketed: list[str]) -> Heading:
    """Return the finished heading, as the signal whose unit it names where two signals have its name."""
    done = _finish(found, bracketed)
    if not done.rival or done.unit:
        return replace(done, rival="")
    other = _finish(replace(found, signal=found.rival, rival=""), bracketed)
    return other if other.unit else done


def of_signal(text: str, signal: str) -> Heading:
    """Return the heading of a column that the user says holds a signal, with what else its header says of it."""
    heading = read_heading(text)
    return replace(heading, rival="") if heading.signal == signal else _finish(Heading(text, signal), parts(text)[1])


def parts(text: str) -> tuple[str, list[str]]:
    """Return what stands outside brackets and what stands in them."""
    bracketed = [(a or b).strip() for a, b in _BRACKETS.findall(text)]
    return _BRACKETS.sub(" ", text).strip(), bracketed


def spellings(body: str) -> tuple[str, ...]:
    """Return a text as words, and with a break before each capital as well where that makes others."""
    return tuple(dict.fromkeys((plain(body), plain(_CAMEL.sub(" ", body)))))


def _names() -> dict[str, str]:
    words = {word: name for name, signal in SIGNALS.items() for word in signal.words}
    return words | _SHORT | {plain(name): name for name in SIGNALS}


_NAMES = _names()


def _signals(words: str, said: Heading, unit_words: str = "") -> Iterator[Heading]:
    """Yield every reading of the words as a signal with its unit, statistic and counting; the best one first.

    `unit_words` are those behind the words that must be a unit of the signal.
    """
    if words in _NAMES:
        yield from _named(words, said, unit_words)
    tokens = words.split()
    if not unit_words:
        for at in range(max(1, len(tokens) - _MOST_UNIT_WORDS), len(tokens)):
            yield from _signals(" ".join(tokens[:at]), said, " ".join(tokens[at:]))
    for phrase, statistic in _STATISTICS.items():
        for front in (True, False):
            if said.statistic == "instant" and (rest := _without(words, phrase, front=front)):
                found = _signals(rest, replace(said, statistic=statistic), unit_words)
                # The mean or the least of counts is none itself, and `steps min` may be steps in a minute.
                yield from (heading for heading in found if not is_total(heading.signal))
    for phrase, counting in _COUNTING.items():
        for front in (True, False):
            if not said.counting and (rest := _without(words, phrase, front=front)):
                found = _signals(rest, replace(said, counting=counting), unit_words)
                yield from (heading for heading in found if is_total(heading.signal))


def _named(words: str, said: Heading, unit_words: str) -> Iterator[Heading]:
    signal = _NAMES[words]
    counting = next((_COUNTING[word] for word in words.split() if word in ("total", "cumulative")), said.counting)
    counts = "steps" if words in _SAYS_STEPS else said.counts
    unit, rival = _SAYS_UNIT.get(words, ""), _RIVALS.get(words, "")
    found = replace(said, signal=signal, counting=counting, counts=counts, unit=unit, rival=rival)
    if not unit_words:
        yield found
    elif unit_words in _CASE_DECIDES:
        yield replace(found, remark=unit_words)
    elif not found.unit and (unit := _unit_in_words(unit_words, signal)):
        yield replace(found, unit=unit)
    elif rival and (unit := _unit_in_words(unit_words, rival)):
        yield replace(found, signal=rival, unit=unit)


def _unit_in_words(phrase: str, signal: str) -> str:
    for text in (phrase, phrase.replace("per ", "/").replace(" /", "/"), _WORD_UNITS.get(phrase, "")):
        if text and SIGNALS[signal].ucum(text):
            return text
    return ""


def statistic_of(word: str) -> str | None:
    """Return the statistic that a cell names, "" for one that is no value of the signal (a deviation, a count).

    None stands for a word that is no statistic. A row without a word is a single measurement.
    """
    words = plain(word)
    if words in _STATISTICS:
        return _STATISTICS[words]
    if words in _SINGLE:
        return "instant"
    if words in ("sum", "total"):
        return "total"
    known = words and all(
        one in _OTHER_MEANING or one in _OF_SEVERAL or _STATISTIC_WORD.match(one) for one in words.split()
    )
    return "" if known else None


def is_total(signal: str) -> bool:
    """Say whether the signal is a running total."""
    return SIGNALS[signal].kind == "running_total"


def _without(words: str, phrase: str, *, front: bool) -> str:
    if front:
        return words.removeprefix(f"{phrase} ") if words.startswith(f"{phrase} ") else ""
    return words.removesuffix(f" {phrase}") if words.endswith(f" {phrase}") else ""


def _finish(found: Heading, bracketed: list[str]) -> Heading:
    """Return the heading with what stands in brackets, and with what our own names say of themselves."""
    signal = SIGNALS[found.signal]
    name = found.text.strip()
    if name == signal.column and name != signal.name:
        # Our own tables write a running total under this name.
        return counted(
            replace(found, canonical=True, unit=signal.unit, counting="total" if is_total(signal.name) else "")
        )
    return counted(_bracketed(replace(found, canonical=name == signal.name), bracketed))


def _bracketed(found: Heading, bracketed: list[str]) -> Heading:
    left = []
    for part in (piece.strip() for text in bracketed for piece in re.split("[,;]", text)):
        words = plain(part)
        unit = "" if found.unit else unit_in_brackets(part, found.signal)
        if unit:
            found = replace(found, unit=unit, remark="")
        elif words in _STATISTICS:
            found = replace(found, statistic=_STATISTICS[words])
        elif words in _COUNTING and is_total(found.signal):
            found = replace(found, counting=_COUNTING[words])
        elif part and words not in _SAYS_NOTHING:
            left.append(part)
    said = ", ".join(left)
    return replace(found, sensor=said) if found.unit else replace(found, remark=said or found.remark)


def unit_in_brackets(part: str, signal: str) -> str:
    """Return the unit that a text in brackets writes, as it writes it, or "" where it is none of the signal's."""
    folded = unicodedata.normalize("NFKC", part)
    for text in (part, folded, f"[{part}]"):
        if text.strip() and SIGNALS[signal].ucum(text):
            return text
    words = plain(part)
    return "" if words in _CASE_DECIDES else _unit_in_words(words, signal)


def counted(found: Heading) -> Heading:
    """Return the heading with what a cadence counts, as far as its unit or its name says so."""
    if found.signal != "cadence":
        return found
    unit = found.unit.lower()
    counts = "revolutions" if unit.startswith(("r", "{r")) else "steps" if "s" in unit else found.counts
    return replace(found, counts=counts or "unknown")


def signal_with_rest(text: str, *, known: bool = False) -> tuple[Heading, str] | None:
    """Return what a header means without the words in front or behind, and those words as they stand there.

    The reading with the fewest such words counts. None stands for a header that is known as it is, or has more than
    three such words, or one that makes it another quantity, or two readings; then nothing may be taken from it.
    With `known`, a header that is known as it is may be read so as well.
    """
    if not known and read_heading(text).known:
        return None
    body, bracketed = parts(unicodedata.normalize("NFKC", text))
    brackets = "".join(f" ({inner})" for inner in bracketed)
    for words in range(1, _MOST_REST_WORDS + 1):
        found = [
            (replace(heading, text=text, canonical=False), rest)
            for spelling in dict.fromkeys((body, _CAMEL.sub(" ", body)))
            for name, rest, behind in _cuts(spelling, words)
            if (heading := _named_alone(name, brackets)) is not None and not (behind and _is_unit(rest))
        ]
        if found:
            one_reading = len({heading.signal for heading, _ in found}) == 1
            return found[0] if one_reading and not _changes_meaning(*found[0]) else None
    return None


def _cuts(body: str, words: int) -> Iterator[tuple[str, str, bool]]:
    """Yield the header without so many words in front or behind, these words, and whether they stand behind."""
    places = [match.span() for match in _ONE_WORD.finditer(body)]
    if words < len(places):
        yield body[places[words][0] :], body[places[0][0] : places[words - 1][1]], False
        yield body[: places[-words - 1][1]], body[places[-words][0] : places[-1][1]], True


def _named_alone(name: str, brackets: str) -> Heading | None:
    """Return the reading of a name as a signal, or None; our own tables' names mean no more than any words here."""
    words = name.replace("_", " ")
    heading = read_heading(words + brackets)
    return heading if heading.signal and plain(words) not in _ALSO_WORDS else None


def _is_unit(rest: str) -> bool:
    return not rest.isdecimal() and any(unit_in_brackets(rest, signal) for signal in SIGNALS)


def _changes_meaning(heading: Heading, rest: str) -> bool:
    words = plain(rest).split()
    if heading.signal in _HALVED and (not _SIDES.isdisjoint(words) or (len(words) == 1 and words[0] in _SIDE_LETTERS)):
        return True
    if (len(words) == 1 and words[0] in _OTHER_MEANING_ALONE) or any(map(_STATISTIC_WORD.match, words)):
        return True
    whiles = any(_WHILE.match(word) for word in words) or (
        any(word.isdecimal() for word in words) and not _WHILE_UNITS.isdisjoint(words)
    )
    return whiles or not _OTHER_MEANING.isdisjoint(words)


def means_another(text: str) -> bool:
    """Say whether a header has a word that makes it no signal: a quality, a battery, a number of something."""
    return any(not _OTHER_MEANING.isdisjoint(words.split()) for words in spellings(parts(text)[0]))
