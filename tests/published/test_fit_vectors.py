"""The twelve published byte vectors of FIT, value by value.

Source: fixtures/published/fit_vectors.csv; the expected values are those of the public profile and protocol, computed
by hand from the bytes and listed beside each test.
"""

from __future__ import annotations

import csv

import pytest

from fit_reading import EPOCH, PUBLISHED, T0, TIME, begin, read, vectors
from vambrace.demo.fit_encoder import crc16
from vambrace.errors import DamagedFile

VECTORS = vectors()
FIX = (566697074, -1458499311)


def test_there_are_twelve_and_their_lengths_and_checksums_are_as_stated() -> None:
    with PUBLISHED.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert len(rows) == 12
    for row in rows:
        data = bytes.fromhex(row["hex"])
        assert len(data) == int(row["bytes"])
        assert data[-2:][::-1].hex().upper() == row["file_crc_hex"]
        assert (crc16(data[-73:] if row["name"] == "chained" else data) == 0) == (row["name"] != "crc_bad")


@pytest.mark.parametrize("name", ["le_basic", "hdr12", "hdr14_crc0"])
def test_a_record_and_one_without_values(name: str) -> None:
    """Raw 3000 is 3000/5 - 500 = 100 m; 12345 is 123.45 m; the second record holds invalid marks only."""
    result = read(VECTORS[name])
    assert result.error is None
    assert result.values("heart_rate") == [120, None]
    assert result.values("latitude") == [FIX[0], None]
    assert result.values("longitude") == [FIX[1], None]
    assert result.values("altitude") == [100.0, None]
    assert result.values("distance") == [123.45, None]
    assert result.times("heart_rate") == [T0, T0 + 1]
    assert [row.record for row in result.rows[1, "heart_rate"]] == [2, 3]
    assert result.described[1, "latitude"] == [("record.position_lat", "{fit_semicircle}", "", "", "s")]
    assert T0 + EPOCH == 1_631_065_600  # 2021-09-08T01:46:40Z


def test_big_endian_definition() -> None:
    result = read(VECTORS["be_record"])
    assert (result.values("latitude"), result.values("longitude")) == ([FIX[0]], [FIX[1]])
    assert result.values("heart_rate") == [120]
    assert result.values("altitude") == [100.0]
    assert result.values("distance") == [123.45]
    assert result.times("distance") == [T0]


def test_compressed_time_stamps() -> None:
    """From ...27 with low bits 27: 30 gives +3, 2 gives +7, 2 gives +0, 1 gives +31."""
    result = read(VECTORS["compressed_ts"])
    assert result.values("heart_rate") == [100, 101, 102, 103, 104]
    assert result.times("heart_rate") == [T0 + offset for offset in (27, 30, 34, 34, 65)]


def test_monitoring_steps_and_heart_rates() -> None:
    """Raw cycles of walking (6) and running (1) are steps, of cycling (2) strokes; the last type is packed (0x66)."""
    result = read(VECTORS["monitoring"])
    steps = [(row.time, row.value, row.counter) for row in result.rows[1, "step_count"]]
    assert steps == [
        (T0 + 60, 90, "walking"),
        (T0 + 60, 50, "running"),
        (T0 + 120, 180, "walking"),
        (T0 + 14000, 240, "walking"),
    ]
    assert result.about[1].not_carried["monitoring.cycles of activity type 2"] == 1
    # timestamp_16: 0xCAB4, 0xFF80 and 0xFFBC after 0x3B9ACA78.
    assert result.values("heart_rate") == [62, 64, 65]
    assert result.times("heart_rate") == [0x3B9ACAB4, 0x3B9AFF80, 0x3B9AFFBC]
    assert ("local-time", "note", "the device's wall clock stood at UTC+02:00") in result.notes


@pytest.mark.parametrize(("low", "ahead"), [(0xCA01, 1), (0xC9FF, 65535), (0xCA00, 0)])
def test_sixteen_bit_times_after_1000000000(low: int, ahead: int) -> None:
    """t = last + ((t16 - (last & 0xFFFF)) & 0xFFFF); the low word of 1000000000 is 0xCA00."""
    fit = begin(32)
    fit.define(1, 55, [TIME, (27, "uint8")])
    fit.write(1, T0, 60)
    fit.define(2, 55, [(26, "uint16"), (27, "uint8")])
    fit.write(2, low, 61)
    result = read(fit.to_bytes())
    assert result.times("heart_rate") == [T0, T0 + ahead]
    assert ("long-step" in result.rules()) == (ahead > 40_000)


def test_spo2_with_mode_and_confidence() -> None:
    result = read(VECTORS["spo2"])
    first, second = result.rows[1, "oxygen_saturation"]
    assert (first.time, first.value, first.flag) == (T0, 97, "mode=periodic; confidence=80")
    assert (second.time, second.value) == (T0 + 60, None)
    assert not result.rejected


def test_beat_events_with_twelve_bit_times() -> None:
    """Anchor at 0.5 s (0x4000/32768) with event 4000; then eight beats a second apart: 4.90625 ... 11.90625 s."""
    result = read(VECTORS["hr_event12"])
    assert result.values("heart_rate") == [60, 60, 61, 62, 63, 64, 65, 66, 67]
    assert result.times("heart_rate") == [(2 * T0 + 1 + 2 * beat) * 500_000_000 for beat in range(9)]
    assert result.values("rr_interval") == [None, *[1024] * 8]
    assert result.described[1, "rr_interval"] == [("hr.event_timestamp", "s/1024", "", "", "ns")]
    assert [row.record for row in result.rows[1, "heart_rate"]] == [2] + [3] * 8


def test_developer_field_is_not_carried_unless_asked_for() -> None:
    result = read(VECTORS["devfield"])
    assert not result.rows
    assert result.about[1].not_carried["record.developer_0_0 (ref_hr)"] == 1
    asked = read(VECTORS["devfield"], developer_fields="native")
    assert asked.values("heart_rate") == [133]
    assert asked.described[1, "heart_rate"][0][:2] == ("record.developer_0_0 (ref_hr)", "bpm")
    assert "record.developer_0_0 (ref_hr)" not in asked.about[1].not_carried


def test_chained_files_are_recordings_of_their_own_and_records_run_on() -> None:
    result = read(VECTORS["chained"])
    assert result.values("heart_rate", 1) == [120, None]
    assert result.values("oxygen_saturation", 2) == [97, None]
    assert [row.record for row in result.rows[2, "oxygen_saturation"]] == [5, 6]


def test_intervals_without_any_time_stamp_count_from_the_file_s_creation() -> None:
    result = read(VECTORS["hrv_rr"])
    assert result.values("rr_interval") == [812, 799, 830]
    assert result.times("rr_interval") == [T0 * 1000 + 812, T0 * 1000 + 1611, T0 * 1000 + 2441]
    assert "beats-from-creation" in result.rules()


def test_a_wrong_checksum_is_damage_after_the_rows() -> None:
    result = read(VECTORS["crc_bad"])
    assert isinstance(result.error, DamagedFile)
    assert result.error.where == "byte 113"
    assert result.values("heart_rate") == [120, None]
    assert result.about[1].complete is False
