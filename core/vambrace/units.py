"""Source units to canonical ones: a closed table of exact factors, each signal with its own.

The importers' units never go through a units library at run time; a test holds every pair of this table against one.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from types import MappingProxyType
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vambrace.errors import Refused
from vambrace.notations import OWN_SPELLINGS
from vambrace.schema import SIGNALS, Signal

_MICRO = 1_000_000
_EXACT_BELOW = 2.0**53


@dataclass(frozen=True, slots=True)
class Conversion:
    """How values in a source's unit become canonical: (value × `times` + `plus`) / `over`.

    `sentence` is empty where nothing changes. `power_of_ten` is p where the whole change is a factor of exactly
    10**p, else None: then a decimal text can be shifted instead of calculated with. `times` and `plus` are whole
    numbers, and so is `over` but for angles.
    """

    unit_in_source: str
    sentence: str = ""
    power_of_ten: int | None = None
    times: int = 1
    plus: int = 0
    over: float = 1

    def apply(self, values: NDArray[Any]) -> NDArray[np.float64]:
        """Return the values in the canonical unit; whole numbers up to 2**53 stay exact where the result is one.

        A decimal of up to six digits after the point gives the double nearest to what it means: 310.15 K is 37 °C.
        """
        numbers = values.astype(np.float64)
        if (self.times, self.plus, self.over) == (1, 0, 1):
            return numbers
        with np.errstate(over="ignore", invalid="ignore"):
            plain = (numbers * self.times + self.plus) / self.over
            if not isinstance(self.over, int):
                return plain
            whole = np.rint(numbers * _MICRO)
            above = whole * self.times + self.plus * _MICRO
            exact = (whole / _MICRO == numbers) & (np.abs(above) < _EXACT_BELOW) & (np.abs(whole) < _EXACT_BELOW)
        # Whole numbers above and below the line: the division rounds once, and nothing before it does.
        return np.where(exact, above / (self.over * _MICRO), plain)


@dataclass(frozen=True, slots=True)
class _Step:
    """One row of the table; `words` say to people what is done."""

    words: str
    times: int = 1
    plus: int = 0
    over: float = 1


# Definitions: the international foot, mile and nautical mile; the thermochemical calorie (4.184 J), which UCUM means
# by `cal` as well; the semicircle of the public FIT profile.
_STEPS: Mapping[tuple[str, str], _Step] = MappingProxyType(
    {
        ("Hz", "/min"): _Step("× 60", 60),
        ("{strides}/min", "/min"): _Step("× 2", 2),
        ("{strides}", "{steps}"): _Step("× 2", 2),
        ("s", "ms"): _Step("× 1000", 1000),
        ("us", "ms"): _Step("÷ 1000", over=1000),
        ("s/1024", "ms"): _Step("× 1000/1024", 1000, over=1024),
        ("1", "%"): _Step("× 100", 100),
        ("rad", "deg"): _Step("× 180/π", 180, over=math.pi),
        ("{fit_semicircle}", "deg"): _Step("× 180/2^31", 180, over=2**31),
        ("km", "m"): _Step("× 1000", 1000),
        ("cm", "m"): _Step("÷ 100", over=100),
        ("mm", "m"): _Step("÷ 1000", over=1000),
        ("[ft_i]", "m"): _Step("× 0.3048", 381, over=1250),
        ("[mi_i]", "m"): _Step("× 1609.344", 201168, over=125),
        ("km/h", "m/s"): _Step("÷ 3.6", 5, over=18),
        ("[mi_i]/h", "m/s"): _Step("× 0.44704", 1397, over=3125),
        ("[kn_i]", "m/s"): _Step("× 1852/3600", 463, over=900),
        ("mm/s", "m/s"): _Step("÷ 1000", over=1000),
        ("kW", "W"): _Step("× 1000", 1000),
        ("[degF]", "Cel"): _Step("− 32, × 5/9", 5, -160, 9),
        ("K", "Cel"): _Step("− 273.15", 100, -27315, 100),
        ("kJ", "kcal"): _Step("÷ 4.184", 125, over=523),
        ("J", "kcal"): _Step("÷ 4184", over=4184),
        ("cal", "kcal"): _Step("÷ 1000", over=1000),
    }
)

_SHOWN: Mapping[str, str] = MappingProxyType(
    {
        "1": "fraction",
        "s/1024": "1/1024 s",
        "{steps}": "steps",
        "{strides}": "strides",
        "{strides}/min": "strides/min",
        "{fit_semicircle}": "semicircles",
        "[ft_i]": "ft",
        "[mi_i]": "mi",
        "[mi_i]/h": "mph",
        "[kn_i]": "kn",
        "[degF]": "°F",
        "Cel": "°C",
        "{stage}": "stage",
    }
)


def conversion(unit: str, signal: Signal) -> Conversion:
    """Return how values of a signal in a unit (UCUM or a usual notation) become canonical.

    Raise Refused ("unknown-unit") for a unit that the signal does not accept, whatever it may measure elsewhere.
    """
    return _conversion(unit, signal.name)


@lru_cache(maxsize=1024)
def _conversion(unit: str, name: str) -> Conversion:
    signal = SIGNALS[name]
    code = signal.ucum(unit)
    if code is None:
        raise _refusal(unit, signal)
    if code == signal.unit:
        return Conversion(unit)
    step = _STEPS[code, signal.unit]
    sentence = f"{signal.name}: {shown(code)} to {shown(signal.unit)}, {step.words}"
    return Conversion(unit, sentence, _power_of_ten(step), step.times, step.plus, step.over)


def _power_of_ten(step: _Step) -> int | None:
    for power in range(-3, 4):
        if not step.plus and step.times * 10 ** max(-power, 0) == step.over * 10 ** max(power, 0):
            return power
    return None


def shown(code: str) -> str:
    """Return a UCUM code as people read it."""
    return _SHOWN.get(code, code)


def _refusal(unit: str, signal: Signal) -> Refused:
    accepted = ", ".join(_with_spellings(code, signal) for code in (signal.unit, *signal.accepts))
    what = f"{signal.name} in {unit!r}: that is no unit of {signal.name}" if unit.strip() else ""
    return Refused(
        "unknown-unit",
        what or f"{signal.name} comes without a unit",
        todo=f"Say which unit it is; {signal.name} is read in {accepted}",
    )


def _with_spellings(code: str, signal: Signal) -> str:
    own = [word for word, meant in OWN_SPELLINGS.get(signal.name, {}).items() if meant == code]
    said = list(dict.fromkeys([*([shown(code)] if shown(code) != code else []), *own[:2]]))
    return f"{code} ({', '.join(said)})" if said else code
