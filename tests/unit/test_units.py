"""Every accepted unit against a closed registry of our own definitions in pint, and what is refused."""

from __future__ import annotations

import subprocess
import sys
from decimal import Decimal
from fractions import Fraction
from functools import cache

import numpy as np
import pint
import pytest

from vambrace.errors import Refused
from vambrace.schema import SIGNALS, Signal
from vambrace.units import conversion

# SI definitions; the international foot, mile and nautical mile; the thermochemical calorie; the FIT profile's
# semicircle (180 degrees / 2^31). Beats, steps and per cent are told apart by dimensions of their own.
DEFINITIONS = """
second = [time]
minute = 60 * second
hour = 60 * minute
hertz = 1 / second
metre = [length]
foot = 0.3048 * metre
mile = 1609.344 * metre
knot = 1852 * metre / hour
kilogram = [mass]
joule = kilogram * metre ** 2 / second ** 2
calorie = 4.184 * joule
watt = joule / second
kelvin = [temperature]; offset: 0
celsius = kelvin; offset: 273.15
fahrenheit = 5 / 9 * kelvin; offset: 459.67 * 5 / 9
radian = [angle]
degree = 3.14159265358979323846 / 180 * radian
semicircle = 180 / 2147483648 * degree
step = [steps]
stride = 2 * step
fraction = [share]
percent = 0.01 * fraction
stage = [stage]
"""
IN_PINT = {
    "/min": "1 / minute",
    "Hz": "hertz",
    "ms": "0.001 second",
    "s": "second",
    "us": "0.000001 second",
    "s/1024": "second / 1024",
    "%": "percent",
    "1": "fraction",
    "{steps}": "step",
    "{strides}": "stride",
    "deg": "degree",
    "rad": "radian",
    "{fit_semicircle}": "semicircle",
    "m": "metre",
    "km": "1000 metre",
    "cm": "0.01 metre",
    "mm": "0.001 metre",
    "[ft_i]": "foot",
    "[mi_i]": "mile",
    "m/s": "metre / second",
    "km/h": "1000 metre / hour",
    "[mi_i]/h": "mile / hour",
    "[kn_i]": "knot",
    "mm/s": "0.001 metre / second",
    "W": "watt",
    "kW": "1000 watt",
    "Cel": "celsius",
    "[degF]": "fahrenheit",
    "K": "kelvin",
    "kcal": "1000 calorie",
    "kJ": "1000 joule",
    "J": "joule",
    "cal": "calorie",
    "{stage}": "stage",
    # One stride is two steps; a cadence in /min counts steps.
    "{strides}/min": "2 / minute",
}
PAIRS = [(unit, signal) for signal in SIGNALS.values() for unit in (signal.unit, *signal.accepts)]


def names(case: object) -> str:
    return case.name if isinstance(case, Signal) else str(case)


@cache
def registry() -> pint.UnitRegistry:
    found = pint.UnitRegistry(None)
    for line in DEFINITIONS.strip().splitlines():
        found.define(line)
    return found


def by_pint(values: np.ndarray, unit: str, canonical: str) -> np.ndarray:
    units = registry()
    if IN_PINT[canonical] == "celsius":
        return units.Quantity(values, IN_PINT[unit]).to("celsius").magnitude
    source, target = (units.parse_expression(IN_PINT[each]) for each in (unit, canonical))
    source, target = (units.Quantity(1, each) if not hasattr(each, "to") else each for each in (source, target))
    factor = (source / target).to_base_units()
    assert factor.dimensionless, f"{unit} and {canonical} measure different things"
    return values * factor.magnitude


@pytest.mark.parametrize(("unit", "signal"), PAIRS, ids=names)
def test_every_accepted_pair_agrees_with_pint(unit: str, signal: Signal) -> None:
    values = np.concatenate((np.linspace(-40, 400, 1001), [0, 1, 97.5, 1e6, -(2**31)]))
    np.testing.assert_allclose(
        conversion(unit, signal).apply(values), by_pint(values, unit, signal.unit), rtol=1e-14, atol=1e-12
    )


@pytest.mark.parametrize(("unit", "signal"), PAIRS, ids=names)
def test_a_unit_says_what_it_changes(unit: str, signal: Signal) -> None:
    how = conversion(unit, signal)
    assert how.unit_in_source == unit
    assert (how.sentence == "") == (unit == signal.unit)
    assert how.sentence == "" or how.sentence.startswith(f"{signal.name}: ")
    if how.power_of_ten is not None:
        shifted = np.array([float(f"{text}e{how.power_of_ten}") for text in ("0.97", "123.456", "7")])
        np.testing.assert_allclose(how.apply(np.array([0.97, 123.456, 7])), shifted, rtol=1e-15)


def test_sentences() -> None:
    def said(signal: str, unit: str) -> str:
        return conversion(unit, SIGNALS[signal]).sentence

    assert said("heart_rate", "Hz") == "heart_rate: Hz to /min, × 60"
    assert said("oxygen_saturation", "fraction") == "oxygen_saturation: fraction to %, × 100"
    assert said("latitude", "semicircles") == "latitude: semicircles to deg, × 180/2^31"
    assert said("skin_temperature", "°F") == "skin_temperature: °F to °C, − 32, × 5/9"
    assert said("heart_rate", "bpm") == ""


@pytest.mark.parametrize(
    ("signal", "unit", "code"),
    [
        *(("heart_rate", unit, "/min") for unit in ("bpm", "BPM", "beats/min", "1/min", "min-1", "min^-1", " bpm ")),
        *(("cadence", unit, "/min") for unit in ("rpm", "RPM", "spm", "steps/min", "{revolutions}/min", "/min")),
        ("cadence", "strides/min", "{strides}/min"),
        ("respiratory_rate", "Breaths/min", "/min"),
        *(("oxygen_saturation", unit, code) for unit, code in (("%", "%"), ("Percent", "%"), ("fraction", "1"))),
        *(("step_count", unit, "{steps}") for unit in ("steps", "count", "{steps}")),
        ("step_count", "strides", "{strides}"),
        *(("speed", unit, "km/h") for unit in ("km/h", "kph", "kmh", "KM/H")),
        *(("speed", unit, "[kn_i]") for unit in ("kn", "kt", "knots")),
        *(("speed", unit, "[mi_i]/h") for unit in ("mph", "mi/h", "miles per hour")),
        *(("altitude", unit, "[ft_i]") for unit in ("ft", "feet", "Ft")),
        *(("body_temperature", unit, "Cel") for unit in ("°C", "C", "degC", "Cel", "celsius", "℃")),
        *(("body_temperature", unit, "[degF]") for unit in ("°F", "F", "degF")),
        *(("rr_interval", unit, code) for unit, code in (("MS", "ms"), ("1/1024 s", "s/1024"), ("µs", "us"))),
        *(("latitude", unit, "deg") for unit in ("°", "degrees", "deg")),
        *(("energy_expended", unit, code) for unit, code in (("Cal", "kcal"), ("cal", "cal"), ("KCAL", "kcal"))),
    ],
)
def test_usual_notations(signal: str, unit: str, code: str) -> None:
    assert SIGNALS[signal].ucum(unit) == code


@pytest.mark.parametrize(
    ("signal", "unit"),
    [
        ("step_count", "%"),  # dimensionless like a count: 97 % must never become steps
        ("step_count", "1"),
        ("step_count", "/min"),
        ("oxygen_saturation", "count"),
        ("heart_rate", "rpm"),  # 1 Hz is 9.55 rpm to a units library
        ("heart_rate", "ms"),
        ("heart_rate", "%"),
        ("cadence", "bpm"),
        ("respiratory_rate", "rpm"),
        ("distance", "m/s"),
        ("latitude", "grad"),
        ("energy_expended", "calories"),  # the calorie of physics or of food
        ("energy_expended", "CAL"),
        ("speed", "min/km"),
        ("power", "hp"),
        ("heart_rate", ""),
        ("heart_rate", "  "),
    ],
)
def test_a_unit_that_is_not_the_signals_own_is_refused(signal: str, unit: str) -> None:
    with pytest.raises(Refused) as caught:
        conversion(unit, SIGNALS[signal])
    assert caught.value.code == "unknown-unit"
    message = str(caught.value)
    assert signal in message
    for accepted in (SIGNALS[signal].unit, *SIGNALS[signal].accepts):
        assert accepted in message


def test_whole_numbers_stay_exact_up_to_two_to_the_53() -> None:
    numbers = np.array([0, 1, 2**53 - 1, 2**53, -(2**53)])
    assert conversion("steps", SIGNALS["step_count"]).apply(numbers).tolist() == numbers.tolist()
    halves = np.array([2**52, 2**52 - 1])
    assert conversion("strides", SIGNALS["step_count"]).apply(halves).tolist() == (2 * halves).tolist()
    small = np.array([255, 0, 100], np.uint8)
    assert conversion("Hz", SIGNALS["heart_rate"]).apply(small).tolist() == [15300, 0, 6000]


def test_short_decimals_come_out_as_people_write_them() -> None:
    def apply(signal: str, unit: str, *values: float) -> list[float]:
        return conversion(unit, SIGNALS[signal]).apply(np.array(values)).tolist()

    assert apply("body_temperature", "°F", 98.6, 32, -40, 212, 100.4) == [37.0, 0.0, -40.0, 100.0, 38.0]
    assert apply("body_temperature", "K", 310.15, 273.15, 309.85) == [37.0, 0.0, 36.7]
    assert apply("rr_interval", "s", 0.8, 0.857, 1.001) == [800.0, 857.0, 1001.0]
    assert apply("rr_interval", "s/1024", 819, 1024) == [799.8046875, 1000.0]
    assert apply("speed", "km/h", 36, 18.0, 3.6) == [10.0, 5.0, 1.0]
    assert apply("altitude", "ft", 1000, 10, 0.5) == [304.8, 3.048, 0.1524]
    assert apply("energy_expended", "kJ", 4.184, 418.4) == [1.0, 100.0]


# An angle in radians has no exact value in degrees.
@pytest.mark.parametrize(("unit", "signal"), [(unit, signal) for unit, signal in PAIRS if unit != "rad"], ids=names)
@pytest.mark.parametrize("digits", [0, 1, 2, 3])
def test_a_decimal_becomes_the_double_nearest_to_what_it_means(unit: str, signal: Signal, digits: int) -> None:
    how = conversion(unit, signal)
    numbers = [Decimal(n) / 10**digits for n in range(-200, 4000, 7)]
    exact = [float((Fraction(each) * how.times + how.plus) / Fraction(how.over)) for each in numbers]
    assert how.apply(np.array([float(each) for each in numbers])).tolist() == exact


def test_values_that_are_no_numbers_or_too_great_pass_through() -> None:
    found = conversion("°F", SIGNALS["skin_temperature"]).apply(np.array([np.nan, np.inf, -np.inf, 1e308]))
    assert np.isnan(found[0])
    assert found[1:3].tolist() == [np.inf, -np.inf]
    assert found[3] == np.inf


def test_applying_leaves_the_source_alone() -> None:
    values = np.array([1.0, 2.0])
    for unit in ("Hz", "/min"):
        out = conversion(unit, SIGNALS["heart_rate"]).apply(values)
        out[:] = 0
        assert values.tolist() == [1.0, 2.0]


def test_no_units_library_is_needed() -> None:
    modules = "import sys, vambrace.units, vambrace.clock, vambrace.counters"
    heavy = "print(sorted({'pint', 'pandas', 'scipy', 'matplotlib'} & set(sys.modules)))"
    found = subprocess.run([sys.executable, "-c", f"{modules}; {heavy}"], capture_output=True, text=True, check=True)
    assert found.stdout == "[]\n"
