"""Wounded FIT files: whatever byte is changed, only the project's own errors come out, and no warning leaks."""

from __future__ import annotations

import random
import warnings

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fit_reading import Read, read, small, vectors
from vambrace.demo.fit_encoder import crc16
from vambrace.errors import DamagedFile, Refused
from vambrace_plugins.importers.fit import decode

SEEDS = [small(), *vectors().values()]


def quietly(data: bytes, developer_fields: str = "ignore") -> Read:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return read(data, developer_fields)


def resealed(data: bytes) -> bytes:
    """Return the bytes with a checksum that holds, so that the wound itself is looked at."""
    return data[:-2] + crc16(data[:-2]).to_bytes(2, "little")


@settings(max_examples=150, deadline=None, derandomize=True, suppress_health_check=[HealthCheck.too_slow])
@given(seed=st.sampled_from(SEEDS), wounds=st.lists(st.tuples(st.integers(0, 400), st.integers(0, 255)), max_size=4))
def test_changed_bytes_raise_only_our_errors(seed: bytes, wounds: list[tuple[int, int]]) -> None:
    data = bytearray(seed)
    for at, value in wounds:
        data[at % len(data)] = value
    for variant in (bytes(data), resealed(bytes(data))):
        result = quietly(variant, "native")
        assert result.error is None or isinstance(result.error, (DamagedFile, Refused))
        assert quietly(variant, "native").comparable == result.comparable


def test_every_single_byte_changed() -> None:
    whole = small()
    for at in range(12, len(whole) - 2):
        data = whole[:at] + bytes((whole[at] ^ 0xFF,)) + whole[at + 1 :]
        assert isinstance(quietly(data).error, DamagedFile), "the checksum holds over a changed byte"
        result = quietly(resealed(data), "native")
        assert result.error is None or isinstance(result.error, (DamagedFile, Refused))


def test_random_bytes_behind_a_good_header() -> None:
    chance = random.Random(20310304)
    for _ in range(200):
        body = chance.randbytes(chance.randrange(200))
        header = b"\x0e\x20\x34\x08" + len(body).to_bytes(4, "little") + b".FIT\0\0"
        result = quietly(resealed(header + body + b"\0\0"))
        assert result.error is None or isinstance(result.error, (DamagedFile, Refused))


@pytest.mark.parametrize("most", [1, 2, 3, 7])
@pytest.mark.parametrize("seed", range(len(SEEDS)))
def test_any_block_size_gives_the_same(seed: int, most: int, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = quietly(SEEDS[seed], "native")
    monkeypatch.setattr(decode, "BLOCK_MESSAGES", most)
    assert quietly(SEEDS[seed], "native").comparable == whole.comparable
