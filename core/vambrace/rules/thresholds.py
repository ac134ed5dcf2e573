"""The thresholds of the rules: the catalogue's, or those of a rules file."""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from math import isfinite
from pathlib import Path
from typing import Any

from vambrace.errors import VambraceError
from vambrace.rules.catalogue import RULES
from vambrace.rules.words import Threshold
from vambrace.schema import SIGNALS

_Given = Mapping[tuple[str, str, str], float]
"""Numbers by rule, threshold and signal; "" stands for every signal."""


@dataclass(frozen=True, slots=True)
class Thresholds:
    """What every rule compares with; `Thresholds()` are those of the catalogue."""

    given: _Given = field(default_factory=dict)

    def get(self, rule: str, name: str, signal: str = "") -> float | None:
        """Return a threshold for a signal, None where the rule does not judge it."""
        for key in ((rule, name, signal), (rule, name, "")):
            if key in self.given:
                return self.given[key]
        threshold = _threshold(rule, name)
        return threshold.by_signal.get(signal, threshold.default)

    def number(self, rule: str, name: str, signal: str = "") -> float:
        """Return a threshold that has a number for every signal."""
        value = self.get(rule, name, signal)
        if value is None:
            raise KeyError(f"{rule}.{name} has no number for {signal!r}")
        return value

    def overridden(self) -> tuple[str, ...]:
        """Return a sentence for each threshold that is not the catalogue's."""
        return tuple(_said(rule, name, signal, value) for (rule, name, signal), value in sorted(self.given.items()))


def _threshold(rule: str, name: str) -> Threshold:
    return next(each for each in RULES[rule].thresholds if each.name == name)


def _said(rule: str, name: str, signal: str, value: float) -> str:
    threshold = _threshold(rule, name)
    usual = threshold.by_signal.get(signal, threshold.default)
    place = f"{rule}.{signal}.{name}" if signal else f"{rule}.{name}"
    return f"{place} = {value:g} (the catalogue says {'nothing' if usual is None else f'{usual:g}'})"


def load_thresholds(path: Path | str) -> Thresholds:
    """Read a rules file; raise VambraceError for one that is no TOML, or names what no rule has.

    `[gap] factor = 5` sets a threshold for every signal, `[rate-of-change.heart_rate] per_s = 20` for one.
    """
    try:
        document = tomllib.loads(Path(path).read_text("utf-8"))
    except OSError as error:
        raise VambraceError(
            f"the rules file cannot be read: {error.strerror}", where=str(path), todo=_SPELLED
        ) from error
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as error:
        todo = "Write it as [gap] and below it factor = 5"
        raise VambraceError(f"the rules file is no TOML: {error}", where=str(path), todo=todo) from error
    try:
        return Thresholds(dict(_numbers(document)))
    except VambraceError as error:
        raise VambraceError(error.what, where=str(path), todo=error.todo) from None


_SPELLED = "Check how its name is spelled"


def _numbers(document: Mapping[str, Any]) -> Iterator[tuple[tuple[str, str, str], float]]:
    for rule, table in document.items():
        if rule not in RULES:
            raise _unknown(f"no rule is named {rule!r}", rule, RULES)
        if not isinstance(table, dict):
            raise VambraceError(f"{rule} is no table", todo=f"Write [{rule}] and its thresholds below it")
        for name, value in table.items():
            if isinstance(value, dict):
                if name not in SIGNALS:
                    raise _unknown(f"no signal is named {name!r} (in [{rule}.{name}])", name, SIGNALS)
                for inner, number in value.items():
                    yield (rule, inner, name), _number(rule, inner, name, number)
            else:
                yield (rule, name, ""), _number(rule, name, "", value)


def _number(rule: str, name: str, signal: str, value: Any) -> float:
    names = {each.name: each for each in RULES[rule].thresholds}
    place = f"[{rule}.{signal}]" if signal else f"[{rule}]"
    if name not in names:
        raise _unknown(f"the rule {rule} has no threshold {name!r}", name, names)
    if not signal and names[name].by_signal:
        todo = f"Write [{rule}.heart_rate] and below it {name} = {value}"
        raise VambraceError(
            f"{name} in {place} has another unit for every signal, so it is set signal by signal", todo=todo
        )
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        raise VambraceError(f"{name} in {place} is no number, but {value!r}", todo="Give a number")
    return float(value)


def _unknown(what: str, word: str, known: Mapping[str, Any]) -> VambraceError:
    near = difflib.get_close_matches(word, known, 3)
    todo = f"Near it: {', '.join(near)}" if near else f"There are: {', '.join(known) or 'none'}"
    return VambraceError(what, todo=todo)
