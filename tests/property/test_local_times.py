"""Local times of twenty zones against Python's datetime and zoneinfo, hour by hour around every change."""

from __future__ import annotations

import zoneinfo
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from functools import cache

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vambrace.batch import FAULTS, Times
from vambrace.clock import to_utc

ZONES = (
    *("Africa/Cairo", "Africa/Casablanca", "America/Caracas", "America/New_York", "America/Sao_Paulo"),
    *("America/St_Johns", "Antarctica/Troll", "Asia/Gaza", "Asia/Kathmandu", "Asia/Pyongyang", "Asia/Tehran"),
    *("Atlantic/Azores", "Australia/Lord_Howe", "Europe/Berlin", "Europe/Dublin", "Europe/Istanbul"),
    *("Pacific/Apia", "Pacific/Chatham", "Pacific/Kwajalein", "UTC"),
)
EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
FIRST, LAST = datetime(1988, 1, 1, tzinfo=UTC), datetime(2028, 1, 1, tzinfo=UTC)


@pytest.fixture(autouse=True)
def packaged_zone_data() -> Iterator[None]:
    """Let the reference read the zone data of the same package, whatever the system has."""
    before = zoneinfo.TZPATH
    zoneinfo.reset_tzpath(to=[])
    yield
    zoneinfo.reset_tzpath(to=before)


@cache
def reference(name: str) -> zoneinfo.ZoneInfo:
    return zoneinfo.ZoneInfo.no_cache(name)


def expected(wall: datetime, zone: zoneinfo.ZoneInfo) -> int | str:
    """Return the one instant of a wall time in microseconds, or why there is none or more than one."""
    instants = set()
    for fold in (0, 1):
        instant = wall.replace(tzinfo=zone, fold=fold).astimezone(UTC)
        if instant.astimezone(zone).replace(tzinfo=None) == wall:
            instants.add(instant)
    if len(instants) == 1:
        return (instants.pop() - EPOCH) // timedelta(microseconds=1)
    return "time-ambiguous" if instants else "time-nonexistent"


def found(walls: list[datetime], name: str) -> list[int | str]:
    got = to_utc(Times([wall.isoformat(timespec="microseconds") for wall in walls]), name)
    pairs = zip(got.us.tolist(), got.fault.tolist(), strict=True)
    return [FAULTS[fault - 1] if fault else us for us, fault in pairs]


def changes(zone: zoneinfo.ZoneInfo) -> list[datetime]:
    """Return the days on which a zone's offset changes, as the reference tells."""
    days = [FIRST + timedelta(days=day) for day in range((LAST - FIRST).days)]
    offsets = [day.astimezone(zone).utcoffset() for day in days]
    return [day for day, now, then in zip(days, offsets, offsets[1:], strict=False) if now != then]


@pytest.mark.parametrize("name", ZONES)
def test_every_change_of_forty_years(name: str) -> None:
    zone = reference(name)
    days = changes(zone)
    assert bool(days) == (name not in ("Asia/Kathmandu", "UTC"))
    walls = [
        day.replace(tzinfo=None) + timedelta(minutes=15 * step, microseconds=step)
        for day in days
        for step in range(-4 * 13, 4 * 40)
    ]
    wanted = [expected(wall, zone) for wall in walls]
    assert found(walls, name) == wanted
    assert ("time-nonexistent" in wanted) == bool(days)


@given(
    st.sampled_from(ZONES),
    st.lists(st.datetimes(datetime(1901, 1, 1), datetime(2099, 12, 31)), min_size=1, max_size=30),
)
@settings(max_examples=150, deadline=None, derandomize=True)
def test_an_instant_comes_back_from_its_wall_clock(name: str, instants: list[datetime]) -> None:
    zone = reference(name)
    aware = [instant.replace(tzinfo=UTC).astimezone(zone) for instant in instants]
    walls = [each.replace(tzinfo=None, fold=0) for each in aware]
    got = found(walls, name)
    assert got == [expected(wall, zone) for wall in walls]
    for each, instant in zip(got, instants, strict=True):
        assert each in ((instant.replace(tzinfo=UTC) - EPOCH) // timedelta(microseconds=1), "time-ambiguous")


@given(
    st.sampled_from(ZONES),
    st.lists(st.datetimes(datetime(1972, 1, 1), datetime(2099, 12, 31)), min_size=1, max_size=30),
)
@settings(max_examples=100, deadline=None, derandomize=True)
def test_a_written_offset_always_gives_the_instant_back(name: str, instants: list[datetime]) -> None:
    # From 1972 on the offsets of these zones are whole minutes, as the texts can say them.
    texts = [each.replace(tzinfo=UTC).astimezone(reference(name)).isoformat() for each in instants]
    got = to_utc(Times([f"{text}[{name}]" for text in texts]), None)
    assert not got.fault.any()
    assert got.us.tolist() == [(each.replace(tzinfo=UTC) - EPOCH) // timedelta(microseconds=1) for each in instants]
