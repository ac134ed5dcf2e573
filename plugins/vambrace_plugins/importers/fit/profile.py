"""The few messages and fields of the public FIT profile that are read, by number."""

from __future__ import annotations

from dataclasses import dataclass

FIT_EPOCH = 631_065_600
"""Unix seconds of 1989-12-31T00:00:00Z, from which FIT counts."""
SYSTEM_TIME = 0x1000_0000
"""Times below this count seconds since the device was switched on."""

FILE_ID, SPORT, SESSION, LAP, RECORD, EVENT, DEVICE_INFO = 0, 12, 18, 19, 20, 21, 23
ACTIVITY, MONITORING, HRV, MONITORING_INFO, HR, TIMESTAMP_CORRELATION = 34, 55, 78, 103, 132, 162
SPO2, SLEEP_LEVEL, RESPIRATION = 269, 275, 297
DEVELOPER_DATA_ID, FIELD_DESCRIPTION = 207, 206


@dataclass(frozen=True, slots=True)
class Scaled:
    """A number field: value = (raw - offset * scale) / scale, in the profile's unit; no scale leaves the integer."""

    number: int
    scale: int = 0
    offset: int = 0


@dataclass(frozen=True, slots=True)
class Fine:
    """A signal of a record message: its unit in the profile, and its fields, the finest first."""

    signal: str
    unit: str
    fields: tuple[Scaled, ...]


RECORD_SIGNALS = (
    Fine("heart_rate", "bpm", (Scaled(3),)),
    Fine("altitude", "m", (Scaled(78, 5, 500), Scaled(2, 5, 500))),
    Fine("distance", "m", (Scaled(5, 100),)),
    Fine("speed", "m/s", (Scaled(73, 1000), Scaled(6, 1000))),
    Fine("power", "W", (Scaled(7),)),
    Fine("respiratory_rate", "/min", (Scaled(108, 100), Scaled(99))),
    Fine("ambient_temperature", "Cel", (Scaled(13),)),
    Fine("body_temperature", "Cel", (Scaled(139, 100),)),
)
LATITUDE, LONGITUDE, CADENCE, FRACTIONAL_CADENCE, COMPRESSED_SPEED_DISTANCE = 0, 1, 4, 53, 8

WANTED = {
    FILE_ID: frozenset({1, 2, 3, 4, 8}),
    SPORT: frozenset({0}),
    SESSION: frozenset({2, 5}),
    LAP: frozenset({2, 7}),
    EVENT: frozenset({0, 1}),
    DEVICE_INFO: frozenset({0, 1, 2, 3, 4, 5, 25, 27}),
    RECORD: frozenset(
        {LATITUDE, LONGITUDE, CADENCE, FRACTIONAL_CADENCE, COMPRESSED_SPEED_DISTANCE}
        | {each.number for signal in RECORD_SIGNALS for each in signal.fields}
    ),
    ACTIVITY: frozenset({5}),
    MONITORING: frozenset({3, 5, 9, 24, 26, 27}),
    MONITORING_INFO: frozenset({0}),
    HRV: frozenset({0}),
    HR: frozenset({0, 1, 6, 9, 10}),
    TIMESTAMP_CORRELATION: frozenset({3}),
    SPO2: frozenset({0, 1, 2}),
    SLEEP_LEVEL: frozenset({0}),
    RESPIRATION: frozenset({0}),
}
"""The fields of each message that are read."""

RUNNING, CYCLING, WALKING_SPORT = 1, 2, 11
ACTIVITY_TYPES = {1: "running", 6: "walking"}
"""Activity types of monitoring messages whose cycles are steps."""
SPO2_MODES = {0: "off_wrist", 1: "spot_check", 2: "continuous_check", 3: "periodic"}
SLEEP_STAGES = {0: 9, 1: 0, 2: 12, 3: 3, 4: 4}
"""Sleep levels (unmeasurable, awake, light, deep, rem) as canonical codes."""
SOURCE_TYPES = {0: "ANT", 1: "ANT+", 2: "Bluetooth", 3: "Bluetooth Low Energy", 4: "WiFi", 5: "built in"}
