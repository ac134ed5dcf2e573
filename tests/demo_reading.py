"""Readings of the demo's committed files that owe nothing to this project: other decoders, the standard library."""

from __future__ import annotations

import csv
import io
import warnings
import zipfile
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache
from pathlib import Path
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


def rows(name: str, delimiter: str, encoding: str = "utf-8") -> list[dict[str, str]]:
    """Read a CSV file with the standard library."""
    return list(csv.DictReader(io.StringIO(file_bytes(name).decode(encoding), newline=""), delimiter=delimiter))
