"""How people write units: the spellings of each UCUM code, those that only one signal has, and which one is meant."""

from __future__ import annotations

from collections.abc import Mapping
from functools import lru_cache
from types import MappingProxyType

# How people write each code; case says nothing but in `EXACT`.
SPELLINGS: Mapping[str, tuple[str, ...]] = MappingProxyType(
    {
        "/min": ("1/min", "min-1", "min^-1", "min⁻¹", "per min", "per minute", "/minute", "1/minute"),
        "Hz": ("hertz", "1/s", "/s", "s-1", "s^-1", "s⁻¹", "per second"),
        "ms": ("msec", "millis", "millisecond", "milliseconds"),
        "s": ("sec", "secs", "second", "seconds"),
        "us": ("µs", "μs", "usec", "microsecond", "microseconds"),
        "s/1024": ("1/1024 s", "1/1024s", "s / 1024"),
        "%": ("percent", "per cent", "pct", "[%]"),
        "1": ("fraction", "ratio", "proportion"),
        "{steps}": ("steps", "step", "count", "counts", "{count}", "{counts}", "{step}", "{#}", "#"),
        "{strides}": ("strides", "stride", "{stride}"),
        "{strides}/min": ("strides/min", "strides/minute", "strides per minute", "{stride}/min"),
        "deg": ("degree", "degrees", "°", "decimal degrees"),
        "rad": ("radian", "radians"),
        "{fit_semicircle}": ("semicircles", "semicircle", "fit_semicircle"),
        "m": ("meter", "meters", "metre", "metres"),
        "km": ("kilometer", "kilometers", "kilometre", "kilometres"),
        "cm": ("centimeter", "centimeters", "centimetre", "centimetres"),
        "mm": ("millimeter", "millimeters", "millimetre", "millimetres"),
        "[ft_i]": ("ft", "foot", "feet"),
        "[mi_i]": ("mi", "mile", "miles"),
        "m/s": ("mps", "m s-1", "m.s-1", "m s^-1", "m·s⁻¹", "m s⁻¹", "meters per second", "metres per second"),
        "km/h": ("kmh", "kph", "kmph", "km.h-1", "km h-1", "km/hr", "kilometers per hour", "kilometres per hour"),
        "[mi_i]/h": ("mph", "mi/h", "miles per hour"),
        "[kn_i]": ("kn", "kt", "kts", "knot", "knots"),
        "mm/s": ("mm s-1", "millimeters per second", "millimetres per second"),
        "W": ("watt", "watts"),
        "kW": ("kilowatt", "kilowatts"),
        "Cel": ("°C", "℃", "C", "celsius", "degC", "deg C", "degrees celsius", "degree celsius"),
        "[degF]": ("°F", "℉", "F", "fahrenheit", "degF", "deg F", "degrees fahrenheit", "degree fahrenheit"),
        "K": ("kelvin",),
        "kcal": ("kilocalorie", "kilocalories"),
        "kJ": ("kilojoule", "kilojoules"),
        "J": ("joule", "joules"),
        "{stage}": ("stage", "stages", "code", "codes"),
    }
)
# A capital makes the calorie of nutrition, a thousand times the other; "calories" in a word could be either.
EXACT: Mapping[str, str] = MappingProxyType({"cal": "cal", "Cal": "kcal"})
CASE_DECIDES = ("cal",)

# What one signal's unit may also be called, and no other's.
OWN_SPELLINGS: Mapping[str, Mapping[str, str]] = MappingProxyType(
    {
        "heart_rate": {
            **dict.fromkeys(("bpm", "beats/min", "beats/minute", "beats per min", "beats per minute"), "/min"),
            **dict.fromkeys(("{beats}/min", "{beat}/min"), "/min"),
        },
        "respiratory_rate": {
            **dict.fromkeys(("breaths/min", "breaths/minute", "breaths per min", "breaths per minute"), "/min"),
            **dict.fromkeys(("{breaths}/min", "{breath}/min", "brpm", "bpm"), "/min"),
        },
        "cadence": {
            **dict.fromkeys(("rpm", "rev/min", "revolutions/min", "revolutions per minute"), "/min"),
            **dict.fromkeys(("{revolutions}/min", "{rev}/min"), "/min"),
            **dict.fromkeys(("spm", "steps/min", "steps/minute", "steps per minute", "{steps}/min"), "/min"),
        },
    }
)


def ucum(unit: str, signal: str, codes: tuple[str, ...]) -> str | None:
    """Return which of the codes that a signal accepts a unit as it is written means, or None for none of them."""
    text = " ".join(unit.split())
    if text in codes:
        return text
    if text in EXACT:
        return EXACT[text] if EXACT[text] in codes else None
    return _folded(signal, codes).get(text.casefold())


@lru_cache
def _folded(signal: str, codes: tuple[str, ...]) -> Mapping[str, str]:
    folded = {code.casefold(): code for code in codes if code not in CASE_DECIDES}
    return folded | {word.casefold(): code for code, words in notations(signal, codes).items() for word in words}


def notations(signal: str, codes: tuple[str, ...]) -> dict[str, tuple[str, ...]]:
    """Return the codes of the units that a signal accepts, each with its other spellings.

    Case does not matter, save for those of `cal`, which are taken to the letter.
    """
    own = OWN_SPELLINGS.get(signal, {})
    return {code: (*(word for word, meant in own.items() if meant == code), *SPELLINGS.get(code, ())) for code in codes}
