"""The canonical signals: the one place that says what they are.

Names follow IEEE 1752.1 / Open mHealth where it has one, units are UCUM, codes are LOINC where one fits.
Checks, accepted units, Parquet metadata, `docs/signals.md` and the header words of tables derive from here.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

from vambrace.notations import ucum

SCHEMA_VERSION = "1"


class Kind(StrEnum):
    """How a signal counts and covers time."""

    INSTANT = "instant"
    RUNNING_TOTAL = "running_total"
    BEAT = "beat"
    CODED_EPOCH = "coded_epoch"
    POSITION = "position"


@dataclass(frozen=True, slots=True)
class Signal:
    """One canonical quantity with one unit and one counting convention.

    `domain` holds what the value can mean at all, `plausible` what a person's device would show; both are
    inclusive and in the canonical unit. `accepts` lists the source units besides `unit`, `words` the header words
    by which a table names the signal, `codes` the meaning of each coded value. `zero_is_absent` says that a 0
    stands for no value in every format.
    """

    name: str
    title: str
    unit: str
    kind: Kind
    domain: tuple[float, float]
    plausible: tuple[float, float] | None = None
    shown_unit: str = ""
    accepts: tuple[str, ...] = ()
    words: tuple[str, ...] = ()
    loinc: tuple[str, ...] = ()
    open_mhealth: str = ""
    codes: Mapping[int, str] = field(default_factory=lambda: MappingProxyType({}))
    zero_is_absent: bool = False
    notes: str = ""

    @property
    def column(self) -> str:
        """Return the name of the value column in the signal's narrow table: name and unit in letters."""
        unit = _UNIT_IN_LETTERS[self.unit]
        return self.name if self.name.endswith(f"_{unit}") or not unit else f"{self.name}_{unit}"

    @property
    def units(self) -> tuple[str, ...]:
        """Return the UCUM codes of the units in which a source may give the signal, its own first."""
        return (self.unit, *self.accepts)

    def ucum(self, unit: str) -> str | None:
        """Return the UCUM code of a unit as it is written (`bpm`), or None where the signal does not accept it."""
        return ucum(unit, self.name, self.units)


_UNIT_IN_LETTERS = {
    "/min": "per_min",
    "ms": "ms",
    "%": "percent",
    "{steps}": "steps",
    "deg": "deg",
    "m": "m",
    "m/s": "m_per_s",
    "W": "w",
    "Cel": "cel",
    "kcal": "kcal",
    "{stage}": "",
}
_INFINITE = float("inf")
_RATE_UNITS = ("Hz",)
_TEMPERATURE_UNITS = ("[degF]", "K")
_LENGTH_UNITS = ("km", "cm", "mm", "[ft_i]", "[mi_i]")

_ALL = (
    Signal(
        "heart_rate",
        "Heart rate",
        "/min",
        Kind.INSTANT,
        (1, 350),
        (20, 250),
        shown_unit="bpm",
        accepts=_RATE_UNITS,
        words=("heart rate", "heartrate", "hr", "pulse", "pulse rate", "bpm"),
        loinc=("8867-4",),
        open_mhealth="heart-rate",
        zero_is_absent=True,
        notes="shown to people as bpm",
    ),
    Signal(
        "rr_interval",
        "RR interval",
        "ms",
        Kind.BEAT,
        (100, 10000),
        (240, 3000),
        accepts=("s", "us", "s/1024"),
        words=("rr interval", "rr", "rri", "ibi", "inter beat interval", "beat interval"),
        open_mhealth="rr-interval",
        notes="one sample a beat, at the beat that ends the interval",
    ),
    Signal(
        "oxygen_saturation",
        "Oxygen saturation (SpO2)",
        "%",
        Kind.INSTANT,
        (1, 100),
        (70, 100),
        accepts=("1",),
        words=("oxygen saturation", "spo2", "sp o2", "blood oxygen", "blood oxygen saturation"),
        loinc=("59408-5", "2708-6"),
        open_mhealth="oxygen-saturation",
        zero_is_absent=True,
        notes="by pulse oximetry (SpO2)",
    ),
    Signal(
        "step_count",
        "Step count",
        "{steps}",
        Kind.RUNNING_TOTAL,
        (0, _INFINITE),
        accepts=("{strides}",),
        words=("step count", "steps", "step", "stepcount"),
        loinc=("55423-8",),
        open_mhealth="step-count",
        notes="the counter's running total as the source gives it, made monotonic: resets and roll-overs are "
        "joined, and recorded",
    ),
    Signal(
        "latitude",
        "Latitude",
        "deg",
        Kind.POSITION,
        (-90, 90),
        accepts=("rad", "{fit_semicircle}"),
        words=("latitude", "lat", "position lat"),
        open_mhealth="geoposition",
        notes="WGS 84; comes together with longitude",
    ),
    Signal(
        "longitude",
        "Longitude",
        "deg",
        Kind.POSITION,
        (-180, 180),
        accepts=("rad", "{fit_semicircle}"),
        words=("longitude", "lng", "lon", "long", "position long", "position lon"),
        open_mhealth="geoposition",
        notes="WGS 84; comes together with latitude",
    ),
    Signal(
        "altitude",
        "Altitude",
        "m",
        Kind.INSTANT,
        (-1000, 20000),
        (-430, 9000),
        accepts=_LENGTH_UNITS,
        words=("altitude", "alt", "elevation", "ele"),
        notes="as the source says, usually above mean sea level; may stand alone",
    ),
    Signal(
        "distance",
        "Distance",
        "m",
        Kind.RUNNING_TOTAL,
        (0, _INFINITE),
        accepts=_LENGTH_UNITS,
        words=("distance", "dist", "cumulative distance", "total distance"),
    ),
    Signal(
        "speed",
        "Speed",
        "m/s",
        Kind.INSTANT,
        (0, 350),
        (0, 60),
        accepts=("km/h", "[mi_i]/h", "[kn_i]", "mm/s"),
        words=("speed", "velocity"),
    ),
    Signal(
        "cadence",
        "Cadence",
        "/min",
        Kind.INSTANT,
        (0, 500),
        (0, 300),
        accepts=("{strides}/min",),
        words=("cadence", "step rate", "step cadence"),
        notes="`channels.counts` says what is counted: steps, revolutions or unknown; a source that counts one foot "
        "is doubled, and that is recorded",
    ),
    Signal("power", "Power", "W", Kind.INSTANT, (0, 10000), (0, 3000), accepts=("kW",), words=("power", "watts")),
    Signal(
        "respiratory_rate",
        "Respiratory rate",
        "/min",
        Kind.INSTANT,
        (0, 200),
        (2, 80),
        accepts=_RATE_UNITS,
        words=("respiratory rate", "respiration rate", "respiration", "breathing rate"),
        loinc=("9279-1",),
        open_mhealth="respiratory-rate",
    ),
    Signal(
        "body_temperature",
        "Body temperature",
        "Cel",
        Kind.INSTANT,
        (-90, 100),
        (30, 43),
        accepts=_TEMPERATURE_UNITS,
        words=("body temperature", "core temperature"),
        loinc=("8310-5",),
        open_mhealth="body-temperature",
    ),
    Signal(
        "skin_temperature",
        "Skin temperature",
        "Cel",
        Kind.INSTANT,
        (-90, 100),
        (15, 42),
        accepts=_TEMPERATURE_UNITS,
        words=("skin temperature", "wrist temperature"),
    ),
    Signal(
        "ambient_temperature",
        "Ambient temperature",
        "Cel",
        Kind.INSTANT,
        (-90, 100),
        (-50, 60),
        accepts=_TEMPERATURE_UNITS,
        words=("ambient temperature", "air temperature"),
        open_mhealth="ambient-temperature",
    ),
    Signal(
        "energy_expended",
        "Energy expended",
        "kcal",
        Kind.RUNNING_TOTAL,
        (0, _INFINITE),
        accepts=("kJ", "J", "cal"),
        words=("energy expended", "energy", "calories", "active energy"),
        open_mhealth="calories-burned",
    ),
    Signal(
        "sleep_stage",
        "Sleep stage",
        "{stage}",
        Kind.CODED_EPOCH,
        (0, 12),
        words=("sleep stage", "sleep level", "hypnogram"),
        codes=MappingProxyType({0: "wake", 1: "N1", 2: "N2", 3: "N3 or deep", 4: "REM", 9: "unknown", 12: "light"}),
        notes="12 light and 3 deep as devices report them",
    ),
)

SIGNALS: Mapping[str, Signal] = MappingProxyType({signal.name: signal for signal in _ALL})
"""Every canonical signal by its name; the set is closed and grows by a release."""
