"""What the FIT importer makes of each kind of message; files written by the demo's encoder, read value by value."""

from __future__ import annotations

import pytest

from fit_reading import T0, TIME, Row, begin, read, small
from vambrace.demo.fit_encoder import FitEncoder
from vambrace.plugin import Claim, Head
from vambrace_plugins.importers.fit import FitImporter, late
from vambrace_plugins.importers.fit.importer import FitOptions


@pytest.mark.parametrize(
    ("name", "data", "claim"),
    [
        ("a.fit", small()[:4096], Claim.SIGNATURE),
        ("a.dat", small()[:14], Claim.SIGNATURE),
        ("A.FIT", b"\x89PNG\r\n\x1a\n", Claim.NAME),
        ("a.fit", b"", Claim.NAME),
        ("a.csv", b"time,heart_rate\n", Claim.NONE),
        ("fit", b".FIT", Claim.NONE),
    ],
)
def test_recognise(name: str, data: bytes, claim: Claim) -> None:
    assert FitImporter().recognise(Head(name, data, len(data))) == claim


def test_options_have_a_default() -> None:
    assert FitOptions().developer_fields == "ignore"
    assert FitImporter.Options is FitOptions


def test_a_finer_twin_wins_row_by_row_and_the_coarser_is_counted() -> None:
    fit = begin()
    fit.define(1, 20, [TIME, (2, "uint16"), (78, "uint32"), (6, "uint16"), (73, "uint32")])
    fit.write(1, T0, 3000, 3001, 2500, 2501)
    fit.write(1, T0 + 1, 3005, None, 2600, None)
    fit.write(1, T0 + 2, None, 3010, None, None)
    result = read(fit.to_bytes())
    assert result.values("altitude") == [100.2, 101.0, 102.0]
    assert result.values("speed") == [2.501, 2.6, None]
    assert result.about[1].not_carried["record.altitude"] == 1
    assert result.about[1].not_carried["record.speed"] == 1
    assert {words[0] for words in result.described[1, "altitude"]} == {
        "record.enhanced_altitude",
        "record.altitude",
    }


def test_respiration_in_both_fields() -> None:
    fit = begin()
    fit.define(1, 20, [TIME, (99, "uint8"), (108, "uint16")])
    fit.write(1, T0, 15, 1525)
    fit.write(1, T0 + 1, 16, None)
    assert read(fit.to_bytes()).values("respiratory_rate") == [15.25, 16.0]


def test_a_field_that_a_definition_lacks_is_not_absent() -> None:
    """Only what a message holds counts: the second definition has no heart rate, so its record is no row."""
    fit = begin()
    fit.define(1, 20, [TIME, (3, "uint8")])
    fit.define(2, 20, [TIME, (13, "sint8")])
    fit.write(1, T0, 70)
    fit.write(2, T0 + 1, -5)
    fit.write(1, T0 + 2, None)
    result = read(fit.to_bytes())
    assert result.rows[1, "heart_rate"] == [Row(2, T0, 70), Row(4, T0 + 2, None)]
    assert result.rows[1, "ambient_temperature"] == [Row(3, T0 + 1, -5)]


def test_half_a_fix_keeps_its_place_beside_the_missing_half() -> None:
    fit = begin()
    fit.define(1, 20, [TIME, (0, "sint32"), (1, "sint32")])
    fit.write(1, T0, 5, None)
    result = read(fit.to_bytes())
    assert (result.values("latitude"), result.values("longitude")) == ([5], [None])


def test_zero_is_handed_over_as_the_file_says_it() -> None:
    fit = begin()
    fit.define(1, 20, [TIME, (3, "uint8"), (7, "uint16")])
    fit.write(1, T0, 0, 0)
    assert read(fit.to_bytes()).values("heart_rate") == [0]


def test_local_types_may_be_redefined_with_another_byte_order() -> None:
    fit = begin()
    fit.define(1, 20, [TIME, (7, "uint16")])
    fit.write(1, T0, 258)
    fit.define(1, 20, [(7, "uint16"), TIME], big_endian=True)
    fit.write(1, 259, T0 + 1)
    assert read(fit.to_bytes()).rows[1, "power"] == [Row(2, T0, 258), Row(3, T0 + 1, 259)]


@pytest.mark.parametrize(("base", "value"), [("uint16", 300), ("uint32", 70_000), ("float32", 71.5), ("sint16", -3)])
def test_another_type_than_the_profile_s_is_read_by_the_file_s_own(base: str, value: float) -> None:
    fit = begin()
    fit.define(1, 20, [TIME, (3, base)])
    fit.write(1, T0, value)
    fit.write(1, T0 + 1, None)
    assert read(fit.to_bytes()).values("heart_rate") == [value, None]


def test_several_values_where_one_belongs_are_not_carried() -> None:
    fit = begin()
    fit.define(1, 20, [TIME, (3, "uint8", 2)])
    fit.write(1, T0, [70, 71])
    result = read(fit.to_bytes())
    assert not result.rows
    assert result.about[1].not_carried["record.heart_rate"] == 2
    assert "several-values" in result.rules()


def test_times_since_power_up_are_no_instants() -> None:
    fit = begin()
    fit.define(1, 20, [TIME, (3, "uint8")])
    fit.write(1, 100, 70)
    fit.write(1, 0x0FFFFFFF, 71)
    fit.write(1, 0x10000000, 72)
    fit.write(1, None, 73)
    assert read(fit.to_bytes()).times("heart_rate") == [None, None, 0x10000000, None]


def test_a_file_without_any_instant_is_refused_after_its_rows() -> None:
    fit = begin()
    fit.define(1, 20, [TIME, (3, "uint8")])
    fit.write(1, 100, 70)
    result = read(fit.to_bytes())
    assert result.error is not None
    assert getattr(result.error, "code", "") == "no-start"
    assert result.rows[1, "heart_rate"] == [Row(2, None, 70)]


def test_a_record_without_time_stamp_has_no_time() -> None:
    fit = begin()
    fit.define(1, 20, [(3, "uint8")])
    fit.write(1, 70)
    fit.write_compressed(1, 5, 71)  # nothing to count on from
    fit.define(2, 20, [TIME])
    fit.write(2, T0)
    fit.write_compressed(1, T0 + 1, 72)
    fit.write(1, 73)
    assert read(fit.to_bytes()).times("heart_rate") == [None, None, T0 + 1, None]


def test_compressed_speed_and_distance_count_on_where_twelve_bits_roll_over() -> None:
    """12 bits of 1/100 m/s, 12 bits of 1/16 m: 0x120 -> 2.88 m/s; 0xFF0 then 0x010 is 32/16 = 2 m further."""
    fit = begin()
    fit.define(1, 20, [TIME, (8, "byte", 3)])
    fit.write(1, T0, [0x20, 0x01, 0xFF])
    fit.write(1, T0 + 1, [0xFF, 0x0F, 0x01])
    fit.write(1, T0 + 2, [0xFF, 0xFF, 0xFF])
    result = read(fit.to_bytes())
    assert result.values("speed") == [2.88, None, None]
    assert result.values("distance") == [0xFF0 / 16, 0x1010 / 16, None]
    assert any("12-bit" in sentence for sentence in result.about[1].conversions)


def cadence_file(*session: int, announced: int | None = None) -> FitEncoder:
    fit = begin()
    if announced is not None:
        fit.define(0, 12, [(0, "enum")])
        fit.write(0, announced)
    fit.define(1, 20, [TIME, (4, "uint8"), (53, "uint8")])
    for second in range(4):
        fit.write(1, T0 + second, 80, 64)
    fit.define(2, 18, [TIME, (2, "uint32"), (5, "enum")])
    for number, sport in enumerate(session):
        fit.write(2, T0 + 2 * number + 1, T0 + 2 * number, sport)
    return fit


def test_cadence_of_running_counts_one_foot_though_the_sport_stands_at_the_end() -> None:
    result = read(cadence_file(1).to_bytes())
    assert result.values("cadence") == [80.5] * 4
    assert result.described[1, "cadence"] == [("record.cadence", "{strides}/min", "steps", "", "s")]


@pytest.mark.parametrize(
    ("announced", "unit", "counts"),
    [(11, "{strides}/min", "steps"), (2, "/min", "revolutions"), (15, "/min", "unknown"), (None, "/min", "unknown")],
)
def test_what_cadence_counts_by_the_announced_sport(announced: int | None, unit: str, counts: str) -> None:
    result = read(cadence_file(announced=announced).to_bytes())
    assert result.described[1, "cadence"][0][1:3] == (unit, counts)


def test_sessions_of_two_sports_each_say_what_cadence_counts() -> None:
    result = read(cadence_file(1, 2).to_bytes())
    assert [words[1:3] for words in result.described[1, "cadence"]] == [
        ("{strides}/min", "steps"),
        ("/min", "revolutions"),
    ]


def sensor_file(*devices: tuple[int, int | None, int | None, int | None]) -> FitEncoder:
    fit = begin()
    fit.define(1, 20, [TIME, (3, "uint8")])
    fit.write(1, T0, 70)
    fit.define(2, 23, [TIME, (0, "uint8"), (1, "uint8"), (25, "enum"), (3, "uint32z"), (5, "uint16")])
    for index, type_, source, serial in devices:
        fit.write(2, T0 + 5, index, type_, source, serial, 510)
    return fit


@pytest.mark.parametrize(
    ("devices", "sensor"),
    [
        ([(1, 120, 1, 77)], "paired heart rate sensor (ANT+, serial 77)"),
        ([(1, 120, None, None)], "paired heart rate sensor"),
        ([(1, 1, 3, None)], "paired heart rate sensor (Bluetooth Low Energy)"),
        ([(1, 10, 5, None)], "built-in heart rate sensor"),
        (
            [(1, 10, 5, None), (2, 120, 1, None)],
            "paired heart rate sensor (ANT+) or built-in heart rate sensor",
        ),
        ([(1, 121, 1, 5)], ""),
        ([(1, 120, 5, 5)], ""),
    ],
)
def test_which_sensor_gave_the_heart_rate(devices: list[tuple[int, int, int, int]], sensor: str) -> None:
    """The file says so only after the records: a paired chest sensor makes a wrist device's file hold the reference."""
    result = read(sensor_file(*devices).to_bytes())
    assert result.described[1, "heart_rate"] == [("record.heart_rate", "bpm", "", sensor, "s")]


def test_the_recording_device_speaks_for_itself() -> None:
    fit = sensor_file((0, None, None, 4711), (1, 120, 1, 99))
    result = read(fit.to_bytes())
    about = result.about[1]
    assert (about.manufacturer, about.product, about.serial, about.firmware) == ("255", "1", "4711", "5.10")
    assert about.complete is True


def test_rows_beyond_the_most_that_wait_are_handed_over_early(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(late, "MOST_ROWS", 1)
    result = read(cadence_file(1).to_bytes())
    assert result.values("cadence") == [80.5] * 4
    assert result.described[1, "cadence"][0][2] == "unknown"


def test_monitoring_of_a_day_with_the_type_packed_and_sixteen_bit_times() -> None:
    fit = begin(32)
    fit.define(1, 103, [TIME, (0, "uint32")])
    fit.write(1, T0, T0 - 5400)
    fit.define(2, 55, [(26, "uint16"), (3, "uint32"), (24, "byte")])
    fit.define(3, 55, [(26, "uint16"), (27, "uint8")])
    for minute in range(1, 2000):
        time = T0 + 60 * minute
        fit.write(2, time & 0xFFFF, minute * 10, 3 << 5 | (1 if minute % 3 == 0 else 6))
        fit.write(3, time & 0xFFFF, 60 + minute % 40)
    result = read(fit.to_bytes())
    assert result.times("step_count") == [T0 + 60 * minute for minute in range(1, 2000)]
    assert result.times("heart_rate") == result.times("step_count")
    assert result.values("step_count") == [minute * 10 for minute in range(1, 2000)]
    assert {row.counter for row in result.rows[1, "step_count"]} == {"running", "walking"}
    assert ("local-time", "note", "the device's wall clock stood at UTC-01:30") in result.notes
    assert "long-step" not in result.rules()


def test_sixteen_bit_times_follow_other_messages_over_a_long_gap() -> None:
    """A day unused: the last monitoring time is too old for 16 bits, the message before tells the day."""
    fit = begin(32)
    fit.define(1, 55, [TIME, (27, "uint8")])
    fit.write(1, T0, 60)
    fit.define(2, 103, [TIME, (0, "uint32")])
    fit.write(2, T0 + 100_000, None)
    fit.define(3, 55, [(26, "uint16"), (27, "uint8")])
    fit.write(3, (T0 + 100_060) & 0xFFFF, 61)
    assert read(fit.to_bytes()).times("heart_rate") == [T0, T0 + 100_060]


def test_a_16_bit_time_is_not_led_astray_by_a_reading_of_the_next_minute() -> None:
    fit = begin(32)
    fit.define(1, 55, [TIME, (27, "uint8")])
    fit.write(1, T0, 60)
    fit.define(2, 269, [TIME, (0, "uint8"), (1, "uint8"), (2, "enum")])
    fit.write(2, T0 + 90, 97, 3, 3)
    fit.define(3, 55, [(26, "uint16"), (27, "uint8")])
    fit.write(3, (T0 + 60) & 0xFFFF, 61)
    assert read(fit.to_bytes()).times("heart_rate") == [T0, T0 + 60]


def test_cycles_without_a_type_are_no_steps() -> None:
    fit = begin(32)
    fit.define(1, 55, [TIME, (3, "uint32"), (5, "enum"), (24, "byte")])
    fit.write(1, T0, 10, None, None)
    fit.write(1, T0 + 60, 20, 8, None)
    fit.write(1, T0 + 120, 30, 6, None)
    fit.write(1, T0 + 180, None, 6, None)
    result = read(fit.to_bytes())
    assert result.rows[1, "step_count"] == [
        Row(4, T0 + 120, 30, counter="walking"),
        Row(5, T0 + 180, None, counter="walking"),
    ]
    assert result.about[1].not_carried["monitoring.cycles without activity type"] == 1
    assert result.about[1].not_carried["monitoring.cycles of activity type 8"] == 1


def test_spo2_off_the_wrist_is_set_aside_as_not_worn() -> None:
    fit = begin(32)
    fit.define(1, 269, [TIME, (0, "uint8"), (1, "uint8"), (2, "enum")])
    fit.write(1, T0, 97, 3, 1)
    fit.write(1, T0 + 60, 88, None, 0)
    fit.write(1, T0 + 120, 96, None, None)
    fit.write(1, T0 + 180, 95, 2, 77)
    result = read(fit.to_bytes())
    assert [(row.record, row.value, row.flag) for row in result.rows[1, "oxygen_saturation"]] == [
        (2, 97, "mode=spot_check; confidence=3"),
        (4, 96, None),
        (5, 95, "mode=77; confidence=2"),
    ]
    (aside,) = result.rejected
    assert (aside.signal, aside.record, aside.reason, aside.found) == ("oxygen_saturation", 3, "not-worn", "88")
    assert (aside.recording, aside.time_text) == (1, "2021-09-08T01:47:40Z")


def test_sleep_levels_become_canonical_codes_and_unknown_ones_are_set_aside() -> None:
    fit = begin(49)
    fit.define(1, 275, [TIME, (0, "enum")])
    for minute, level in enumerate([0, 1, 2, 3, 4, None, 9, 12]):
        fit.write(1, T0 + 60 * minute, level)
    result = read(fit.to_bytes())
    assert result.values("sleep_stage") == [9, 0, 12, 3, 4, None]
    assert [(each.reason, each.found) for each in result.rejected] == [("unknown-code", "9"), ("unknown-code", "12")]
    assert len(result.about[1].conversions) == 2


def test_respiration_readings() -> None:
    fit = begin(32)
    fit.define(1, 297, [TIME, (0, "sint16")])
    fit.write(1, T0, 1450)
    fit.write(1, T0 + 60, -100)
    assert read(fit.to_bytes()).values("respiratory_rate") == [14.5, -1.0]


def beats_file(rows: list[tuple[int, list[int | None]]]) -> FitEncoder:
    fit = begin()
    fit.define(1, 20, [TIME, (3, "uint8")])
    fit.define(2, 78, [(0, "uint16", 3)])
    for second, intervals in rows:
        fit.write(1, T0 + second, 70)
        fit.write(2, intervals)
    return fit


def test_beats_are_chained_from_the_time_stamp_before_the_first() -> None:
    result = read(beats_file([(0, [800, 810, None]), (2, [820]), (3, [None, None, None]), (4, [830])]).to_bytes())
    assert result.values("rr_interval") == [800, 810, 820, 830]
    assert result.times("rr_interval") == [T0 * 1000 + ms for ms in (800, 1610, 2430, 3260)]
    assert [row.record for row in result.rows[1, "rr_interval"]] == [3, 3, 5, 9]
    assert "beats-anew" not in result.rules()


def test_the_chain_starts_anew_after_lost_beats() -> None:
    result = read(beats_file([(0, [800]), (60, [810, 820])]).to_bytes())
    assert result.times("rr_interval") == [T0 * 1000 + ms for ms in (800, 60_810, 61_630)]
    assert "beats-anew" in result.rules()
    assert any("anew" in sentence for sentence in result.about[1].conversions)


def test_the_chain_holds_while_records_are_rare() -> None:
    """Nine seconds of beats behind one record: the chain runs ahead of a stale time stamp, and is right."""
    fit = begin()
    fit.define(1, 20, [TIME, (3, "uint8")])
    fit.define(2, 78, [(0, "uint16")])
    fit.write(1, T0, 60)
    for _ in range(9):
        fit.write(2, 1000)
    fit.write(1, T0 + 9, 60)
    fit.write(2, 1000)
    result = read(fit.to_bytes())
    assert result.times("rr_interval") == [(T0 + second) * 1000 for second in range(1, 11)]


def test_beats_without_any_time_have_none() -> None:
    fit = begin(created=None)
    fit.define(2, 78, [(0, "uint16", 2)])
    fit.write(2, [800, 810])
    assert read(fit.to_bytes()).times("rr_interval") == [None, None]


def test_beat_events_wrap_their_32_bits_and_are_a_recording_of_their_own() -> None:
    fit = begin()
    fit.define(1, 20, [TIME, (3, "uint8")])
    fit.write(1, T0, 70)
    fit.define(2, 132, [TIME, (0, "uint16"), (9, "uint32"), (6, "uint8")])
    fit.write(2, T0, 0, 0xFFFFFC00, 71)
    fit.define(3, 132, [(9, "uint32"), (6, "uint8")])
    fit.write(3, 0x00000001, 72)  # 1025/1024 s later
    result = read(fit.to_bytes())
    assert result.values("heart_rate", 2) == [71, 72]
    assert result.values("rr_interval", 2) == [None, 1025]
    # 1/1024 s is 976,562.5 ns; the half is cut off.
    assert result.times("heart_rate", 2) == [T0 * 10**9, T0 * 10**9 + 1_000_976_562]


def test_beat_events_without_an_anchor_have_no_time_and_spoil_nothing() -> None:
    fit = begin()
    fit.define(1, 132, [(10, "byte", 3), (6, "uint8", 2)])
    fit.write(1, [0x00, 0x04, 0x80], [70, 71])
    fit.define(2, 20, [TIME, (3, "uint8")])
    fit.write(2, T0, 72)
    result = read(fit.to_bytes())
    assert result.error is None
    assert result.times("heart_rate", 1) == [None, None]
    assert result.values("heart_rate", 2) == [72]


def test_an_event_that_repeats_the_time_before_fills_up_and_has_no_interval() -> None:
    fit = begin()
    fit.define(1, 132, [TIME, (9, "uint32"), (6, "uint8")])
    fit.write(1, T0, 0, 70)
    fit.define(2, 132, [(10, "byte", 3), (6, "uint8", 2)])
    fit.write(2, [0x00, 0x04, 0x40], [71, 71])
    assert read(fit.to_bytes()).values("rr_interval") == [None, 1024, None]


def test_laps_and_pauses() -> None:
    fit = begin()
    fit.define(1, 21, [TIME, (0, "enum"), (1, "enum")])
    fit.define(2, 20, [TIME, (3, "uint8")])
    fit.define(3, 19, [TIME, (2, "uint32"), (7, "uint32")])
    fit.write(1, T0, 0, 0)
    fit.write(2, T0, 70)
    fit.write(1, T0 + 10, 0, 4)
    fit.write(1, T0 + 11, 0, 1)
    fit.write(1, T0 + 30, 0, 0)
    fit.write(1, T0 + 40, 36, 3)
    fit.write(1, T0 + 50, 0, 4)
    fit.write(3, T0 + 50, T0, 30_500)
    fit.write(3, None, None, None)
    result = read(fit.to_bytes())
    assert sorted(result.events, key=str) == sorted(
        [
            (1, "lap", T0, "lap 1, 30.500 s"),
            (1, "lap", None, "lap 2"),
            (1, "pause", T0 + 10, "timer stopped"),
            (1, "resume", T0 + 30, "timer started"),
        ],
        key=str,
    )
    assert result.about[1].not_carried["event 36"] == 1


def developer_file(unit: str, native: int | None, message: int | None = None, base: str = "float32") -> FitEncoder:
    codes = {"float32": 0x88, "uint8": 0x02}
    fit = begin()
    fit.define(1, 207, [(3, "uint8")])
    fit.write(1, 2)
    fields = [
        (0, "uint8"),
        (1, "uint8"),
        (2, "uint8"),
        (3, "string", 8),
        (8, "string", 8),
        (14, "uint16"),
        (15, "uint8"),
    ]
    fit.define(1, 206, fields)
    fit.write(1, 2, 5, codes[base], "mine", unit, message, native)
    fit.define(2, 20, [TIME, (3, "uint8")], developer=[(5, base, 2)])
    fit.write(2, T0, 70, 5.5 if base == "float32" else 71)
    fit.write(2, T0 + 1, 72, None)
    return fit


@pytest.mark.parametrize(
    ("unit", "native", "message", "signal", "used"),
    [
        ("m/s", 6, 20, "speed", "m/s"),
        ("M/S", 73, None, "speed", "m/s"),
        ("km/h", 6, None, "speed", "km/h"),
        ("mph", 6, None, "speed", "[mi_i]/h"),
        ("", 5, 20, "distance", "m"),
        ("BPM", 3, 20, "heart_rate", "bpm"),
    ],
)
def test_native_developer_fields(unit: str, native: int, message: int | None, signal: str, used: str) -> None:
    """They never replace the native field: the heart rate of the record stays in its own recording."""
    result = read(developer_file(unit, native, message).to_bytes(), developer_fields="native")
    assert result.values("heart_rate", 1) == [70, 72]
    assert result.values(signal, 2) == [5.5, None]
    assert result.described[2, signal][0][:2] == ("record.developer_2_5 (mine)", used)
    assert any("in place of a native one" in sentence for sentence in result.about[2].conversions)


@pytest.mark.parametrize(("native", "message"), [(None, 20), (6, 18), (0, 20), (30, 20)])
def test_other_developer_fields_are_counted(native: int | None, message: int) -> None:
    result = read(developer_file("x", native, message).to_bytes(), developer_fields="native")
    assert {recording for recording, _ in result.rows} == {1}
    assert result.about[1].not_carried["record.developer_2_5 (mine)"] == 1


def test_a_developer_field_without_its_developer_spoils_nothing() -> None:
    fit = begin()
    fit.define(2, 20, [TIME, (3, "uint8")], developer=[(5, "uint16", 2)])
    fit.write(2, T0, 70, 71)
    result = read(fit.to_bytes())
    assert result.error is None
    assert result.values("heart_rate") == [70]
    assert result.about[1].not_carried["record.developer_2_5"] == 1


def test_unknown_messages_and_fields_are_counted_by_their_numbers() -> None:
    fit = begin()
    fit.define(1, 20, [TIME, (3, "uint8"), (200, "uint8"), (9, "sint16")])
    fit.define(2, 0xFF00, [(0, "uint8"), (1, "uint8")])
    fit.write(1, T0, 70, 1, 5)
    fit.write(1, T0 + 1, 70, None, None)
    fit.write(2, 1, 2)
    left = read(fit.to_bytes()).about[1].not_carried
    assert (left["record.field_200"], left["record.grade"], left["message_65280"]) == (1, 1, 1)


def test_a_file_without_any_carried_signal_says_what_it_held() -> None:
    fit = begin(2)
    fit.define(1, 0xFF00, [(0, "uint8")])
    fit.write(1, 1)
    result = read(fit.to_bytes())
    assert not result.rows
    assert result.error is None
    assert result.about[1].not_carried["message_65280"] == 1


def test_what_a_chained_file_without_rows_held_is_counted_with_the_recording_before() -> None:
    with_rows = begin()
    with_rows.define(1, 20, [TIME, (3, "uint8")])
    with_rows.write(1, T0, 70)
    without = begin()
    without.define(1, 0xFF00, [(0, "uint8")])
    without.write(1, 1)
    result = read(with_rows.to_bytes() + without.to_bytes() + with_rows.to_bytes())
    assert sorted(result.about) == [1, 2]
    assert result.about[1].not_carried["message_65280"] == 1
    assert result.values("heart_rate", 2) == [70]
    assert [row.record for row in result.rows[2, "heart_rate"]] == [6]


def test_a_local_time_only_tells_an_offset_and_an_impossible_one_nothing() -> None:
    fit = begin()
    fit.define(1, 34, [TIME, (5, "uint32")])
    fit.write(1, T0, T0 + 20_700)
    fit.write(1, T0, 1000)
    fit.write(1, 1000, T0)
    rules = sorted(message for rule, _, message in read(fit.to_bytes()).notes if rule == "local-time")
    assert rules == [
        "a local time in it is more than 15 hours from its time stamp: ignored",
        "the device's wall clock stood at UTC+05:45",
    ]
