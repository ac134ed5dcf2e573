"""Real FIT files that nobody here wrote, every value against two independent decoders of the same bytes.

fitdecode (unchanged, its own decoding of values) and fitparse are two code bases. Where they differ from us, the test
says why.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from fractions import Fraction
from functools import cache
from pathlib import Path
from typing import Any

import fitdecode
import fitparse
import numpy as np
import pytest

from fit_reading import Read, Row, read, samples
from vambrace_plugins.importers.fit import decode

FILES = samples()
SYSTEM_TIME = 0x10000000
RAW_FIELDS = {"heart_rate": 3, "latitude": 0, "longitude": 1, "power": 7, "ambient_temperature": 13, "cadence": 4}
NAMES = {
    "heart_rate": "heart_rate",
    "latitude": "position_lat",
    "longitude": "position_long",
    "power": "power",
    "ambient_temperature": "temperature",
    "cadence": "cadence",
    "altitude": "enhanced_altitude",
    "distance": "distance",
    "speed": "enhanced_speed",
    "respiratory_rate": "enhanced_respiration_rate",
}


def metres(value: float) -> float:
    """Return an altitude as the double nearest to (raw - 2500) / 5; raw / 5 - 500 in doubles is off by an ulp."""
    return float(Fraction(round((value + 500) * 5) - 2500, 5))


@cache
def ours(path: Path) -> Read:
    return read(path.read_bytes())


@cache
def by_fitdecode(path: Path) -> list[Any]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with fitdecode.FitReader(io.BytesIO(path.read_bytes()), processor=None) as reader:
            return [frame for frame in reader if frame.frame_type == fitdecode.FIT_FRAME_DATA]


def parts(data: bytes) -> Iterator[bytes]:
    """Yield the chained files of a source, cut by the lengths in their headers."""
    while data:
        end = data[0] + int.from_bytes(data[4:8], "little") + 2
        yield data[:end]
        data = data[end:]


@cache
def by_fitparse(path: Path) -> list[Any]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        return [message for part in parts(path.read_bytes()) for message in fitparse.FitFile(part).get_messages()]


def told(read_: Read, signal: str) -> dict[int, Row]:
    """Return a record signal's rows by record number; heart rates of beat events have recordings of their own."""
    found = [
        row
        for (recording, name), rows in read_.rows.items()
        if name == signal and read_.described[recording, name][0][0].startswith("record.")
        for row in rows
    ]
    return {row.record: row for row in found}


def instant(raw: int | None) -> int | None:
    return raw if raw is not None and raw >= SYSTEM_TIME else None


@pytest.mark.parametrize("path", FILES)
def test_raw_values_equal_those_of_fitdecode(path: Path) -> None:
    """Heart rates, positions, powers, temperatures and cadences, with their record numbers, times and absences."""
    for signal, number in RAW_FIELDS.items():
        expected: dict[int, tuple[int | None, float | None]] = {}
        for at, frame in enumerate(by_fitdecode(path), 1):
            if frame.global_mesg_num != 20:
                continue
            fields = {each.def_num: each.raw_value for each in frame.fields if each.field_type != "devfield"}
            defined = {each.field_def.def_num for each in frame.fields if each.field_def and not each.field_def.is_dev}
            if number not in defined and not (signal in {"latitude", "longitude"} and {0, 1} & defined):
                continue
            value = fields.get(number)
            if signal == "cadence" and value is not None:
                value += (fields.get(53) or 0) / 128
            expected[at] = (instant(fields.get(253)), value)
        found = {record: (row.time, row.value) for record, row in told(ours(path), signal).items()}
        assert found == expected, signal


@pytest.mark.parametrize("path", FILES)
def test_scaled_values_equal_those_of_fitdecode(path: Path) -> None:
    """Distance and speed to the last bit; altitude too, once its offset is taken off before the division."""
    for signal, names in {
        "altitude": ("enhanced_altitude", "altitude"),
        "distance": ("distance",),
        "speed": ("enhanced_speed", "speed"),
    }.items():
        expected: dict[int, float] = {}
        for at, frame in enumerate(by_fitdecode(path), 1):
            if frame.global_mesg_num != 20:
                continue
            values = [frame.get_value(name, fallback=None) for name in names]
            value = next((each for each in values if each is not None), None)
            if value is not None:
                expected[at] = metres(value) if signal == "altitude" else value
        found = {record: row.value for record, row in told(ours(path), signal).items() if row.value is not None}
        assert found == expected, signal


@pytest.mark.parametrize("path", FILES)
def test_values_equal_those_of_fitparse(path: Path) -> None:
    messages = by_fitparse(path)
    for signal, name in NAMES.items():
        expected: dict[int, float] = {}
        for at, message in enumerate(messages, 1):
            if message.mesg_num != 20:
                continue
            value = message.get_value(name)
            if value is None:
                value = message.get_value(name.removeprefix("enhanced_"))
            if value is not None and signal == "altitude":
                expected[at] = metres(value)
            elif value is not None:
                expected[at] = value + (message.get_value("fractional_cadence") or 0) if signal == "cadence" else value
        found = {record: row.value for record, row in told(ours(path), signal).items() if row.value is not None}
        assert found.keys() == expected.keys(), signal
        np.testing.assert_array_equal(list(found.values()), [expected[record] for record in found], err_msg=signal)


@pytest.mark.parametrize("path", FILES)
def test_intervals_equal_both_decoders(path: Path) -> None:
    found = [row.value for rows in _of(ours(path), "rr_interval", "hrv.") for row in rows]
    raw = [frame.get_raw_value("time") for frame in by_fitdecode(path) if frame.global_mesg_num == 78]
    expected = [value for values in raw for value in (values if isinstance(values, tuple) else (values,))]
    assert found == [value for value in expected if value is not None]
    scaled = [message.get_value("time") for message in by_fitparse(path) if message.mesg_num == 78]
    seconds = [value for values in scaled for value in (values if isinstance(values, tuple) else (values,))]
    assert found == [round(value * 1000) for value in seconds if value is not None]


@pytest.mark.parametrize("path", FILES)
def test_beat_events_equal_the_bytes_unpacked_by_hand(path: Path) -> None:
    """Fitdecode's raw bytes, unpacked here bit by bit: its own expansion counts from 0, not from the anchor."""
    rates: list[int | None] = []
    instants: list[float] = []
    event = 0
    zero = 0.0
    for frame in by_fitdecode(path):
        if frame.global_mesg_num != 132:
            continue
        raw = {each.field_def.def_num: each.raw_value for each in frame.fields if each.field_def}
        bits = "".join(f"{byte:08b}"[::-1] for byte in raw.get(10) or ())
        beats = [int(bits[at : at + 12][::-1], 2) for at in range(0, len(bits) - 11, 12)]
        if raw.get(9) is not None:
            event = raw[9]
            zero = raw[253] + (raw.get(0) or 0) / 32768 - event / 1024
            instants.append(zero + event / 1024)
        for low in beats:
            event += (low - event) % 4096
            instants.append(zero + event / 1024)
        rates += raw[6] if isinstance(raw[6], tuple) else [raw[6]]
    found = [row for rows in _of(ours(path), "heart_rate", "hr.") for row in rows]
    assert [row.value for row in found] == rates
    assert len(found) == len(instants)
    for row, seconds in zip(found, instants, strict=True):
        assert row.time is not None
        assert abs(row.time / 1e9 - seconds) < 1e-6
    for rows, intervals in zip(
        _of(ours(path), "heart_rate", "hr."), _of(ours(path), "rr_interval", "hr."), strict=True
    ):
        steps = np.diff(np.array([row.time for row in rows], np.int64)) * 1024 / 1e9
        told_steps = [row.value or 0 for row in intervals[1:]]
        np.testing.assert_allclose(told_steps, steps, atol=1e-4)


def _of(read_: Read, signal: str, prefix: str) -> list[list[Row]]:
    return [
        rows
        for (recording, name), rows in sorted(read_.rows.items())
        if name == signal and read_.described[recording, name][0][0].startswith(prefix)
    ]


@pytest.mark.parametrize("path", FILES)
def test_every_message_is_carried_or_counted(path: Path) -> None:
    """Each record field that fitdecode finds a value in is a row of ours, or counted as not carried by its name."""
    counted: dict[str, int] = {}
    for frame in by_fitdecode(path):
        for each in frame.fields if frame.global_mesg_num == 20 else ():
            if each.field_def and not each.field_def.is_dev and each.raw_value is not None and each.def_num != 253:
                counted[each.field_def.def_num] = counted.get(each.field_def.def_num, 0) + 1
    carried: dict[str, int] = {}
    for (recording, signal), words in ours(path).described.items():
        for row in ours(path).rows[recording, signal]:
            name = words[0][0].split(".")[1]
            if len(words) == 1 and row.value is not None and words[0][0].startswith("record."):
                carried[name] = carried.get(name, 0) + 1
    left: dict[str, int] = {}
    for about in ours(path).about.values():
        for name, count in about.not_carried.items():
            left[name] = left.get(name, 0) + count
    for number, count in counted.items():
        name = decode.field_name(20, number).removeprefix("record.")
        if name not in {"compressed_speed_distance", "fractional_cadence"}:
            assert carried.get(name, 0) + left.get(f"record.{name}", 0) == count, name


@pytest.mark.parametrize("path", FILES)
def test_any_block_size_and_a_second_reading_give_the_same(path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(decode, "BLOCK_MESSAGES", 97)
    assert read(path.read_bytes()).comparable == ours(path).comparable


def test_what_each_real_file_exercises() -> None:
    """The files' flaws, one line each, so that a file that no longer shows its flaw is noticed."""
    paths = {param.values[0].stem: param.values[0] for param in FILES}
    if len(paths) < 14:
        pytest.skip("VAMBRACE_SAMPLES does not name a folder of real files")
    assert ours(paths["compressed-timestamps-speed-distance"]).error.code == "no-start"  # type: ignore[union-attr]
    assert all(ours(path).error is None for name, path in paths.items() if "speed-distance" not in name)
    assert len(ours(paths["chained-heart-rate-events"]).about) == 5
    sensors = {words[3] for words in ours(paths["rr-intervals-a"]).described[1, "heart_rate"]}
    assert [sensor.split(" (")[0] for sensor in sensors] == ["paired heart rate sensor"]
    assert ours(paths["rr-intervals-b"]).described[1, "heart_rate"][0][3] == "built-in heart rate sensor"
    assert ours(paths["run-small"]).described[1, "cadence"][0][1:3] == ("{strides}/min", "steps")
    assert ours(paths["ride-long"]).described[1, "cadence"][0][1:3] == ("/min", "revolutions")
    notes = ours(paths["compressed-field-invalid"]).notes
    assert any("more than 15 hours" in message for _, _, message in notes)
    many = ours(paths["big-endian-many-definitions-developer-fields"]).about[1].not_carried
    assert many["message_65280"] == 10125


def test_developer_fields_that_only_seem_to_stand_for_a_native_one_are_counted() -> None:
    """That file's writer put the field's number where the message's belongs: it declares no native field."""
    paths = [param.values[0] for param in FILES if param.values[0].stem == "developer-types"]
    if not paths:
        pytest.skip("VAMBRACE_SAMPLES does not name a folder of real files")
    said = [frame for frame in by_fitdecode(paths[0]) if frame.global_mesg_num == 206]
    assert {frame.get_raw_value("native_field_num", fallback=None) for frame in said} == {None}
    asked = read(paths[0].read_bytes(), developer_fields="native")
    assert asked.comparable == ours(paths[0]).comparable
    assert asked.about[1].not_carried["record.developer_0_5 (Speed)"] == 3424
