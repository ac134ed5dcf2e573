"""Readings of the demo's committed files that owe nothing to this project: other decoders, the standard library."""

from __future__ import annotations

import csv
import io
import warnings
import zipfile
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
from statistics import fmean
from typing import Any

import fitdecode
import fitparse

DATA = Path(__file__).resolve().parents[1] / "core" / "vambrace" / "demo" / "data"
FIT_EPOCH = datetime.fromisoformat("1989-12-31T00:00:00+00:00")
STRAP, BAND, DAY, TRIAL = "strap-R/session.fit", "band-A/session.fit", "band-A/day.zip!day.fit", "band-A/trial.fit"
READABLE_FIT = (STRAP, BAND, DAY)


@dataclass(frozen=True)
class Message:
    """One data message: its global number, and the raw values of its fields by number, as a decoder read them."""

    number: int
    raw: dict[int, Any]


def file_bytes(name: str) -> bytes:
    """Return the bytes of a file, or of an archive's member."""
    archive, bang, member = name.partition("!")
    if not bang:
        return (DATA / name).read_bytes()
    with zipfile.ZipFile(DATA / archive) as opened:
        return opened.read(member)


@cache
def by_fitdecode(name: str) -> list[Message]:
    """Read a FIT file with fitdecode, with checksums; what it derives itself (subfields, components) is left out."""
    return decode_with_fitdecode(file_bytes(name))


def decode_with_fitdecode(data: bytes) -> list[Message]:
    """Read FIT bytes with fitdecode; a wrong checksum raises."""
    with fitdecode.FitReader(io.BytesIO(data), check_crc=fitdecode.CrcCheck.RAISE) as reader:
        return [
            Message(frame.global_mesg_num, _raw((f.def_num, f.raw_value, f.field_def) for f in frame.fields))
            for frame in reader
            if frame.frame_type == fitdecode.FIT_FRAME_DATA
        ]


def before_the_break(data: bytes) -> list[Message]:
    """Read with fitdecode what stands before the place where the bytes end too early."""
    messages = []
    with suppress(fitdecode.FitEOFError), fitdecode.FitReader(io.BytesIO(data)) as reader:
        for frame in reader:
            if frame.frame_type == fitdecode.FIT_FRAME_DATA:
                fields = ((f.def_num, f.raw_value, f.field_def) for f in frame.fields)
                messages.append(Message(frame.global_mesg_num, _raw(fields)))
    return messages


@cache
def by_fitparse(name: str) -> list[Message]:
    """Read a FIT file with fitparse, with checksums."""
    return decode_with_fitparse(file_bytes(name))


def decode_with_fitparse(data: bytes) -> list[Message]:
    """Read FIT bytes with fitparse; a wrong checksum raises."""
    with warnings.catch_warnings():
        warnings.simplefilter(
            "ignore", DeprecationWarning
        )  # it asks for naive times, which newer Pythons advise against
        with fitparse.FitFile(io.BytesIO(data), check_crc=True) as opened:
            return [
                Message(message.mesg_num, _raw((f.def_num, f.raw_value, f.field_def) for f in message.fields))
                for message in opened.get_messages()
            ]


def _raw(fields: Any) -> dict[int, Any]:
    return {number: value for number, value, definition in fields if definition is not None or number == 253}


def series(messages: list[Message], number: int, field: int) -> dict[int, Any]:
    """Return a field of one kind of message by its time in FIT seconds."""
    return {m.raw[253]: m.raw.get(field) for m in messages if m.number == number}


def instant(fit_seconds: int) -> datetime:
    """Return the instant of a FIT time stamp."""
    return FIT_EPOCH + timedelta(seconds=fit_seconds)


def lag_s(rates: Mapping[int, float | None], shifts: range) -> int:
    """Return by how many seconds rates (by FIT time) must be late to fit the strap's best, over 200 pairs or more.

    Differences above 20 /min count as 20, so that artefacts do not decide.
    """
    strap = series(by_fitdecode(STRAP), 20, 3)
    known = [(time, rate) for time, rate in rates.items() if rate]
    errors = {}
    for shift in shifts:
        pairs = ((rate, strap.get(time - shift)) for time, rate in known[:: len(known) // 1000 + 1])
        apart = [min(abs(rate - other), 20.0) for rate, other in pairs if other]
        if len(apart) >= 200:
            errors[shift] = fmean(apart)
    return min(errors, key=lambda shift: errors[shift])


def rows(name: str, delimiter: str, encoding: str = "utf-8") -> list[dict[str, str]]:
    """Read a CSV file with the standard library."""
    return list(csv.DictReader(io.StringIO(file_bytes(name).decode(encoding), newline=""), delimiter=delimiter))
