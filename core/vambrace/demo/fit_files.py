"""The demo's FIT files: the strap's beats, the band's session, the band's day."""

from __future__ import annotations

from vambrace.demo.devices import Band, BandDay, Strap
from vambrace.demo.fit_encoder import FIT_EPOCH, Field, FitEncoder
from vambrace.demo.plan import UTC_OFFSET_S

_DEVELOPMENT = 255
"""The manufacturer number that the protocol keeps for development."""
_ACTIVITY_FILE, _DAY_FILE = 4, 32
_STRAP_SERIAL, _BAND_SERIAL = 20391, 20744
_TIME = (253, "uint32")


def strap_fit(strap: Strap) -> bytes:
    """Write records with big-endian definitions, and after each the RR intervals of the beats in its second."""
    fit = FitEncoder()
    start = int(strap.time[0]) - FIT_EPOCH
    _introduce(fit, _ACTIVITY_FILE, "strap-R", _STRAP_SERIAL, start, firmware=510, big_endian=True)
    fit.define(1, 20, [_TIME, (3, "uint8")], big_endian=True)
    fit.define(2, 78, [(0, "uint16", 3)], big_endian=True)
    heard: dict[int, list[int]] = {}
    for row, rr in zip(strap.rr_row.tolist(), strap.rr_ms.tolist(), strict=True):
        heard.setdefault(row, []).append(rr)
    for row, rate in enumerate(strap.heart_rate.tolist()):
        fit.write(1, start + row, rate or None)
        if row in heard:
            fit.write(2, heard[row])
    _close_activity(fit, start, start + len(strap.time) - 1, laps=1)
    return fit.to_bytes()


def band_fit(band: Band) -> bytes:
    """Write records of which most carry only five bits of their time, with laps where the button was pressed."""
    fit = FitEncoder()
    start, stop = int(band.time[0]) - FIT_EPOCH, int(band.time[-1]) - FIT_EPOCH
    _introduce(fit, _ACTIVITY_FILE, "band-A", _BAND_SERIAL, start, firmware=204)
    fit.define(1, 20, [_TIME, (3, "uint8"), (13, "sint8")])
    fit.define(2, 20, [(3, "uint8"), (13, "sint8")])
    fit.define(3, 19, [_TIME, (2, "uint32"), (7, "uint32"), (0, "enum"), (1, "enum"), (254, "uint16")])
    laps = [(first - FIT_EPOCH, last - FIT_EPOCH) for first, last in band.laps]
    last_full, done = -1000, 0
    rows = zip((band.time - FIT_EPOCH).tolist(), band.heart_rate.tolist(), band.temperature.tolist(), strict=True)
    for time, rate, warmth in rows:
        if done < len(laps) and time >= laps[done][1]:
            first, last = laps[done]
            fit.write(3, last, first, (last - first) * 1000, 9, 1, done)
            done, last_full = done + 1, -1000
        if time - last_full < 30:
            fit.write_compressed(2, time, rate or None, warmth)
        else:
            fit.write(1, time, rate or None, warmth)
            last_full = time
    for number, (first, last) in enumerate(laps[done:], done):
        fit.write(3, last, first, (last - first) * 1000, 9, 1, number)
    _close_activity(fit, start, stop, laps=len(laps))
    return fit.to_bytes()


def band_day_fit(day: BandDay) -> bytes:
    """Write the day's messages by time: full time stamps each hour, the lower 16 bits in between.

    The header's checksum is left at 0, as the protocol allows.
    """
    fit = FitEncoder()
    start = int(day.steps[0, 0]) - FIT_EPOCH
    _introduce(fit, _DAY_FILE, "band-A", _BAND_SERIAL, start, firmware=204)
    fit.define(1, 103, [_TIME, (0, "uint32")])
    fit.write(1, start, start + UTC_OFFSET_S)
    fit.define(2, 55, [_TIME, (3, "uint32"), (5, "enum")])
    fit.define(3, 55, [(26, "uint16"), (3, "uint32"), (24, "byte")])
    fit.define(4, 55, [(26, "uint16"), (27, "uint8")])
    fit.define(5, 269, [_TIME, (0, "uint8"), (1, "uint8"), (2, "enum")])
    rows = [(time, 0, rest) for time, *rest in day.steps.tolist()]
    rows += [(time, 1, rest) for time, *rest in day.heart_rate.tolist()]
    rows += [(time, 2, rest) for time, *rest in day.oxygen.tolist()]
    last_full: int | None = None
    for unix, kind, rest in sorted(rows):
        time = unix - FIT_EPOCH
        if kind == 2:
            fit.write(5, time, *rest)
        elif kind == 1:
            fit.write(4, time & 0xFFFF, rest[0])
        elif last_full is None or time - last_full >= 3600:
            fit.write(2, time, rest[1], rest[0])
            last_full = time
        else:
            fit.write(3, time & 0xFFFF, rest[1], 3 << 5 | rest[0])
    return fit.to_bytes(header_crc=0)


def _introduce(
    fit: FitEncoder, kind: int, name: str, serial: int, start: int, *, firmware: int, big_endian: bool = False
) -> None:
    """Write who made the file (file_id) and with which device (device_info of index 0, the recorder itself)."""
    fit.define(0, 0, [(0, "enum"), (1, "uint16"), (2, "uint16"), (3, "uint32z"), (4, "uint32")], big_endian=big_endian)
    fit.write(0, kind, _DEVELOPMENT, 1, serial, start)
    who: list[Field] = [(0, "uint8"), (2, "uint16"), (3, "uint32z"), (4, "uint16"), (5, "uint16"), (27, "string", 8)]
    fit.define(0, 23, [_TIME, *who], big_endian=big_endian)
    fit.write(0, start, 0, _DEVELOPMENT, serial, 1, firmware, name)
    if kind == _ACTIVITY_FILE:
        fit.define(0, 21, [_TIME, (0, "enum"), (1, "enum")], big_endian=big_endian)
        fit.write(0, start, 0, 0)


def _close_activity(fit: FitEncoder, start: int, stop: int, *, laps: int) -> None:
    """Write the timer's stop, the summary of the session, and the closing activity message with its wall clock."""
    spent = (stop - start) * 1000
    fit.define(0, 21, [_TIME, (0, "enum"), (1, "enum")])
    fit.write(0, stop, 0, 4)
    fit.define(0, 18, [_TIME, (2, "uint32"), (7, "uint32"), (8, "uint32"), (26, "uint16"), (0, "enum"), (1, "enum")])
    fit.write(0, stop, start, spent, spent, laps, 8, 1)
    fit.define(0, 34, [_TIME, (0, "uint32"), (1, "uint16"), (2, "enum"), (3, "enum"), (4, "enum"), (5, "uint32")])
    fit.write(0, stop, spent, 1, 0, 26, 1, stop + UTC_OFFSET_S)
