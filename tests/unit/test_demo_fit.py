"""The demo's FIT files, read by two decoders that owe nothing to this project: every value, and every planted flaw."""

from __future__ import annotations

import struct
from itertools import pairwise

import fitdecode
import fitparse
import numpy as np
import pytest

import demo_reading as demo
from demo_reading import BAND, DAY, STRAP, TRIAL, Message
from vambrace.demo import body, devices, generate
from vambrace.demo.plan import MAIN_VISIT, UTC_OFFSET_S

RECORD, LAP, EVENT, FILE_ID, SESSION, ACTIVITY = 20, 19, 21, 0, 18, 34
HRV, DEVICE, MONITORING, MONITORING_INFO, SPO2 = 78, 23, 55, 103, 269
FIT_UNIX = 631_065_600
AHEAD_S = 3600


@pytest.fixture(scope="module")
def truth() -> body.Body:
    return body.live(MAIN_VISIT, generate._noise(MAIN_VISIT))


def counts(messages: list[Message]) -> dict[int, int]:
    numbers = [m.number for m in messages]
    return {number: numbers.count(number) for number in sorted(set(numbers))}


@pytest.mark.parametrize("name", demo.READABLE_FIT)
def test_both_decoders_read_the_same(name: str) -> None:
    assert demo.by_fitdecode(name) == demo.by_fitparse(name)


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        (STRAP, {FILE_ID: 1, SESSION: 1, RECORD: 4200, EVENT: 2, DEVICE: 1, ACTIVITY: 1, HRV: 4107}),
        (BAND, {FILE_ID: 1, SESSION: 1, LAP: 11, RECORD: 3960, EVENT: 2, DEVICE: 1, ACTIVITY: 1}),
        (DAY, {FILE_ID: 1, DEVICE: 1, MONITORING: 258, MONITORING_INFO: 1, SPO2: 13}),
    ],
)
def test_messages(name: str, expected: dict[int, int]) -> None:
    assert counts(demo.by_fitdecode(name)) == expected


@pytest.mark.parametrize(("name", "serial"), [(STRAP, 20391), (BAND, 20744), (DAY, 20744)])
def test_files_name_coded_devices_only(name: str, serial: int) -> None:
    messages = demo.by_fitdecode(name)
    (made,) = [m.raw for m in messages if m.number == FILE_ID]
    (device,) = [m.raw for m in messages if m.number == DEVICE]
    assert (made[1], made[3]) == (255, serial)  # the manufacturer number for development
    assert (device[0], device[2], device[3]) == (0, 255, serial)  # index 0: the recorder itself
    assert device[27] == name.split("/", maxsplit=1)[0]


def test_strap_values_are_those_written(truth: body.Body) -> None:
    strap = devices.wear_strap(truth, MAIN_VISIT, generate._noise(MAIN_VISIT))
    messages = demo.by_fitdecode(STRAP)
    rates = demo.series(messages, RECORD, 3)
    assert list(rates) == (strap.time - FIT_UNIX).tolist()
    assert [rate or 0 for rate in rates.values()] == strap.heart_rate.tolist()
    beats = [rr for m in messages if m.number == HRV for rr in m.raw[0] if rr is not None]
    assert beats == strap.rr_ms.tolist()


def test_band_values_are_those_written(truth: body.Body) -> None:
    band = devices.wear_band(truth, MAIN_VISIT, generate._noise(MAIN_VISIT))
    messages = demo.by_fitdecode(BAND)
    rates = demo.series(messages, RECORD, 3)
    assert list(rates) == (band.time - FIT_UNIX).tolist()
    assert [rate or 0 for rate in rates.values()] == band.heart_rate.tolist()
    assert list(demo.series(messages, RECORD, 13).values()) == band.temperature.tolist()


def test_definitions_of_the_strap_are_big_endian() -> None:
    with fitdecode.FitReader(demo.DATA / STRAP) as reader:
        order = {f.global_mesg_num: f.endian for f in reader if f.frame_type == fitdecode.FIT_FRAME_DEFINITION}
    assert {order[number] for number in (FILE_ID, RECORD, HRV, DEVICE)} == {">"}
    assert {order[number] for number in (SESSION, ACTIVITY)} == {"<"}


def test_most_band_records_carry_five_bits_of_their_time() -> None:
    with fitdecode.FitReader(demo.DATA / BAND) as reader:
        records = [f for f in reader if f.frame_type == fitdecode.FIT_FRAME_DATA and f.global_mesg_num == RECORD]
    short = sum(f.time_offset is not None for f in records)
    assert 0.9 < short / len(records) < 1


def test_header_checksum_of_the_day_is_zero() -> None:
    assert struct.unpack("<H", demo.file_bytes(DAY)[12:14]) == (0,)
    assert struct.unpack("<H", demo.file_bytes(BAND)[12:14]) != (0,)


def test_rates_agree_with_the_beats() -> None:
    """Where five beats were heard without a break, the rate shown is 60000 over their mean interval."""
    beats: list[int] = []
    checked = 0
    rate: int | None = None
    for m in demo.by_fitdecode(STRAP):
        if m.number == RECORD:
            rate = m.raw.get(3)
        elif m.number == HRV:
            beats += [rr for rr in m.raw[0] if rr is not None]
            if len(beats) >= 5:
                assert rate == round(60000 / np.mean(beats[-5:]))
                checked += 1
    assert checked > 4000


def test_beats_fill_the_session_but_for_the_lost_contact() -> None:
    beats = [rr for m in demo.by_fitdecode(STRAP) if m.number == HRV for rr in m.raw[0] if rr is not None]
    assert 4200 - 92 <= sum(beats) / 1000 <= 4200 - 90


def test_strap_lost_contact_when_it_slipped() -> None:
    rates = demo.series(demo.by_fitdecode(STRAP), RECORD, 3)
    absent = [time for time, rate in rates.items() if rate is None]
    assert demo.instant(absent[0]).isoformat() == "2031-03-04T10:00:00+00:00"  # no beat yet in the first second
    slip = absent[1:]
    assert slip == list(range(slip[0], slip[-1] + 1))
    assert demo.instant(slip[0]).isoformat() == "2031-03-04T10:40:03+00:00"  # 09:40 on the wall, and three seconds
    assert len(slip) == 88


def test_dry_electrodes_missed_five_beats() -> None:
    beats = np.array([rr for m in demo.by_fitdecode(STRAP) if m.number == HRV for rr in m.raw[0] if rr is not None])
    before, beat, after = beats[:-2], beats[1:-1], beats[2:]
    doubled = np.flatnonzero((beat > 1.6 * before) & (beat > 1.6 * after))
    assert len(doubled) == 5
    assert np.cumsum(beats)[doubled + 1].max() < 125_000


def test_band_clock_is_an_hour_ahead() -> None:
    """Slide the band's heart rate over the strap's by up to two hours: it fits an hour and some seconds off."""
    band = demo.series(demo.by_fitdecode(BAND), RECORD, 3)
    assert 0 < demo.lag_s(band, range(-7200, 7201, 5)) - AHEAD_S < 20


@pytest.mark.parametrize(("name", "number", "field"), [(BAND, ACTIVITY, 5), (DAY, MONITORING_INFO, 0), (STRAP, 34, 5)])
def test_files_say_the_offset_of_the_wall_clock(name: str, number: int, field: int) -> None:
    (message,) = [m.raw for m in demo.by_fitdecode(name) if m.number == number]
    local = message[field]
    assert local - message[253] == UTC_OFFSET_S


def test_band_has_one_gap_of_four_minutes() -> None:
    times = np.array(list(demo.series(demo.by_fitdecode(BAND), RECORD, 3)))
    (at,) = np.flatnonzero(np.diff(times) != 1)
    assert times[at + 1] - times[at] - 1 == 240
    assert demo.instant(int(times[at]) + 1 - AHEAD_S).isoformat() == "2031-03-04T10:53:10+00:00"


def test_band_lost_the_skin_three_times_on_the_ladders() -> None:
    rates = demo.series(demo.by_fitdecode(BAND), RECORD, 3)
    absent = np.array([time for time, rate in rates.items() if rate is None])
    stretches = np.split(absent, np.flatnonzero(np.diff(absent) > 1) + 1)
    assert [len(stretch) for stretch in stretches] == [12, 12, 12]
    starts = [demo.instant(int(stretch[0]) - AHEAD_S).strftime("%H:%M:%S") for stretch in stretches]
    assert starts == ["10:40:35", "10:43:20", "10:46:11"]


def test_band_locked_on_to_the_steps(truth: body.Body) -> None:
    rates = demo.series(demo.by_fitdecode(BAND), RECORD, 3)
    values = np.array([rate or 0 for rate in rates.values()])
    times = np.array(list(rates))
    edges = np.flatnonzero(np.diff(values) != 0)
    runs = np.diff(edges)
    longest = int(np.argmax(runs))
    start, value = edges[longest] + 1, values[edges[longest] + 1]
    assert (int(runs[longest]), int(value)) == (90, 89)
    assert demo.instant(int(times[start]) - AHEAD_S).strftime("%H:%M:%S") == "10:31:00"
    clock = int(times[start]) - AHEAD_S + FIT_UNIX - int(MAIN_VISIT.midnight.timestamp())
    moving = truth.cut(truth.cadence, clock, clock + 90)
    assert abs(np.median(moving[moving > 0]) - value) < 5
    strap = demo.series(demo.by_fitdecode(STRAP), RECORD, 3)
    meanwhile = [strap[int(time) - AHEAD_S] for time in times[start : start + 90]]
    assert min(meanwhile) > value + 25


def test_laps_follow_one_another() -> None:
    laps = [(m.raw[2], m.raw[253]) for m in demo.by_fitdecode(BAND) if m.number == LAP]
    assert [end for _, end in laps[:-1]] == [start for start, _ in laps[1:]]
    walls = [demo.instant(start - AHEAD_S + UTC_OFFSET_S).strftime("%H:%M") for start, _ in laps]
    assert walls == ["09:00", "09:05", "09:15", "09:16", "09:25", "09:27", "09:37", "09:39", "09:49", "09:51", "10:05"]
    assert demo.instant(laps[-1][1] - AHEAD_S + UTC_OFFSET_S).strftime("%H:%M") == "10:10"


def monitored() -> list[tuple[int, Message]]:
    """Return the day's monitoring messages with their times, resolved by the rule for 16-bit times."""
    out = []
    last = 0
    for m in demo.by_fitdecode(DAY):
        if 253 in m.raw:
            last = m.raw[253]
        elif 26 in m.raw:
            last += (m.raw[26] - (last & 0xFFFF)) & 0xFFFF
        if m.number == MONITORING:
            out.append((last, m))
    return out


def steps_by_type() -> dict[int, list[tuple[int, int]]]:
    """Return each step counter's readings: its type stands in field 5, or in the low five bits of field 24."""
    out: dict[int, list[tuple[int, int]]] = {}
    for time, m in monitored():
        if 3 in m.raw:
            packed = m.raw.get(24)
            kind = m.raw[5] if packed is None else (packed[0] if isinstance(packed, tuple) else packed) & 31
            out.setdefault(kind, []).append((time, m.raw[3]))
    return out


def test_day_values_are_those_written(truth: body.Body) -> None:
    day = devices.wear_band_all_day(truth, MAIN_VISIT, generate._noise(MAIN_VISIT))
    steps = [[time + FIT_UNIX, kind, n] for kind, rows in steps_by_type().items() for time, n in rows]
    assert sorted(steps) == day.steps.tolist()
    rates = [[time + FIT_UNIX, m.raw[27]] for time, m in monitored() if 27 in m.raw]
    assert rates == day.heart_rate.tolist()
    oxygen = [m.raw for m in demo.by_fitdecode(DAY) if m.number == SPO2]
    assert [[m[253] + FIT_UNIX, m[0], m[1], m[2]] for m in oxygen] == day.oxygen.tolist()


def test_most_step_readings_have_their_type_packed_with_the_intensity() -> None:
    readings = [m.raw for _, m in monitored() if 3 in m.raw]
    packed = [m[24][0] for m in readings if 24 in m]
    assert len(packed) > 0.9 * len(readings)
    assert {value >> 5 for value in packed} == {3}


def test_day_times_cross_the_16_bit_rollover() -> None:
    times = [time for time, _ in monitored()]
    assert times == sorted(times)
    assert times[0] & 0xFFFF > times[-1] & 0xFFFF
    assert sum(26 in m.raw for _, m in monitored()) > 240


def test_step_counters_run_side_by_side() -> None:
    steps = steps_by_type()
    assert {kind: rows[-1][1] for kind, rows in steps.items()} == {6: 6766, 1: 325}
    assert {rows[0][1] for rows in steps.values()} == {0}
    assert all(b[1] > a[1] for rows in steps.values() for a, b in pairwise(rows))


def test_band_counts_three_percent_too_few(truth: body.Body) -> None:
    assert steps_by_type()[6][-1][1] / truth.walked[-1] == pytest.approx(0.97, abs=0.001)


def test_one_oxygen_reading_was_off_the_wrist() -> None:
    oxygen = [m.raw for m in demo.by_fitdecode(DAY) if m.number == SPO2]
    modes = [m[2] for m in oxygen]
    assert [modes.count(mode) for mode in (0, 1, 2, 3)] == [1, 6, 0, 6]
    (off,) = [m for m in oxygen if m[2] == 0]
    assert (off[0], off[1]) == (71, 0)
    assert all(95 <= m[0] <= 99 and 2 <= m[1] <= 4 for m in oxygen if m[2] != 0)


def test_trial_breaks_off_in_the_middle_of_a_message() -> None:
    data = demo.file_bytes(TRIAL)
    said = struct.unpack("<I", data[4:8])[0] + 16
    assert (len(data), said) == (1207, 1811)
    with pytest.raises(fitdecode.FitEOFError):
        demo.decode_with_fitdecode(data)
    with pytest.raises(fitparse.utils.FitEOFError):
        demo.decode_with_fitparse(data)


def test_trial_holds_330_records_before_the_break() -> None:
    assert counts(demo.before_the_break(demo.file_bytes(TRIAL))) == {FILE_ID: 1, RECORD: 330, EVENT: 1, DEVICE: 1}
