"""Files written by fit-tool, an encoder that owes nothing to this project: what it was given must come out."""

from __future__ import annotations

import random
from typing import Any

from fit_tool.fit_file_builder import FitFileBuilder
from fit_tool.profile.messages.device_info_message import DeviceInfoMessage
from fit_tool.profile.messages.event_message import EventMessage
from fit_tool.profile.messages.file_id_message import FileIdMessage
from fit_tool.profile.messages.hrv_message import HrvMessage
from fit_tool.profile.messages.lap_message import LapMessage
from fit_tool.profile.messages.monitoring_message import MonitoringMessage
from fit_tool.profile.messages.record_message import RecordMessage
from fit_tool.profile.messages.session_message import SessionMessage
from fit_tool.profile.messages.sleep_level_message import SleepLevelMessage
from fit_tool.profile.messages.spo2_data_message import Spo2DataMessage
from fit_tool.profile.profile_type import ActivityType, Event, EventType, Sport

from fit_reading import EPOCH, T0, read

MS0 = (T0 + EPOCH) * 1000


def message(kind: Any, second: int | None = None, **fields: Any) -> Any:
    made = kind()
    if second is not None:
        made.timestamp = MS0 + second * 1000
    for name, value in fields.items():
        setattr(made, name, value)
    return made


def written(*messages: Any) -> bytes:
    builder = FitFileBuilder(auto_define=True, min_string_size=16)
    builder.add_all([message(FileIdMessage, manufacturer=255, product=1, serial_number=391), *messages])
    return bytes(builder.build().to_bytes())


def test_an_activity() -> None:
    chance = random.Random(7)
    rows = [
        {
            "heart_rate": chance.randrange(40, 200),
            "position_lat": chance.uniform(-89, 89),
            "position_long": chance.uniform(-179, 179),
            "altitude": chance.randrange(-400, 4000) / 5,
            "distance": second * 257 / 100,
            "speed": chance.randrange(0, 6000) / 1000,
            "power": chance.randrange(0, 900),
            "temperature": chance.randrange(-20, 40),
            "cadence": chance.randrange(0, 120),
        }
        for second in range(500)
    ]
    result = read(
        written(
            message(EventMessage, 0, event=Event.TIMER, event_type=EventType.START),
            message(DeviceInfoMessage, 0, device_index=0, manufacturer=255, serial_number=4711, software_version=2.04),
            *(message(RecordMessage, second, **row) for second, row in enumerate(rows)),
            message(LapMessage, 499, start_time=MS0, total_elapsed_time=499.0),
            message(SessionMessage, 499, start_time=MS0, sport=Sport.WALKING),
        )
    )
    assert result.error is None
    for ours, theirs in {
        "heart_rate": "heart_rate",
        "altitude": "altitude",
        "distance": "distance",
        "speed": "speed",
        "power": "power",
        "ambient_temperature": "temperature",
        "cadence": "cadence",
    }.items():
        assert result.values(ours) == [row[theirs] for row in rows], ours
        assert result.times(ours) == [T0 + second for second in range(500)]
    for ours, theirs in {"latitude": "position_lat", "longitude": "position_long"}.items():
        codes = [round(row[theirs] * 2**31 / 180) for row in rows]
        for code, value in zip(codes, result.values(ours), strict=True):
            assert value is not None
            assert abs(code - value) <= 1, "fit-tool may round to the other neighbour"
    assert result.described[1, "cadence"][0][1:3] == ("{strides}/min", "steps")
    assert (result.about[1].serial, result.about[1].firmware) == ("4711", "2.04")
    assert result.events == [(1, "lap", T0, "lap 1, 499.000 s")]


def test_a_day() -> None:
    result = read(
        written(
            message(MonitoringMessage, 60, activity_type=ActivityType.WALKING, steps=90),
            message(MonitoringMessage, 60, activity_type=ActivityType.RUNNING, steps=51),
            message(MonitoringMessage, 120, activity_type=ActivityType.WALKING, steps=181),
            message(Spo2DataMessage, 130, reading_spo2=97, reading_confidence=3, mode=1),
            message(SleepLevelMessage, 140, sleep_level=3),
        )
    )
    assert [(row.value, row.counter) for row in result.rows[1, "step_count"]] == [
        (90, "walking"),
        (51, "running"),
        (181, "walking"),
    ]
    assert result.values("oxygen_saturation") == [97]
    assert result.rows[1, "oxygen_saturation"][0].flag == "mode=spot_check; confidence=3"
    assert result.values("sleep_stage") == [3]


def test_beats() -> None:
    result = read(
        written(
            message(RecordMessage, 0, heart_rate=74),
            message(HrvMessage, time=[0.812, 0.799]),
            message(RecordMessage, 1, heart_rate=75),
            message(HrvMessage, time=[0.830]),
        )
    )
    assert result.values("rr_interval") == [812, 799, 830]
    assert result.times("rr_interval") == [T0 * 1000 + ms for ms in (812, 1611, 2441)]
