"""Times of every basis to UTC: what is read, what is faulted, what is refused."""

from __future__ import annotations

from datetime import datetime, timedelta
from decimal import Decimal
from typing import Any

import numpy as np
import pyarrow as pa
import pytest

from vambrace.batch import FAULTS, Times
from vambrace.clock import check_zone, implausible, time_texts, to_utc, zone_data_version
from vambrace.errors import NoTimeZone, PluginFault, Refused, VambraceError

NOON = "2024-03-01T12:00:00"
NOON_US = 1_709_294_400_000_000
MOST = 2**63 - 1


def read(texts: list[str | None], zone: str | None = None, **how: Any) -> list[int | str]:
    """Return each instant in microseconds after 2024-03-01T12:00Z, or the name of its fault."""
    found = to_utc(Times(texts, **how), zone)
    pairs = zip(found.us.tolist(), found.fault.tolist(), strict=True)
    return [FAULTS[fault - 1] if fault else us - NOON_US for us, fault in pairs]


def counted(values: Any, unit: Any, **how: Any) -> list[int | str]:
    found = to_utc(Times(values, unit=unit, **{"basis": "utc", **how}), None)
    pairs = zip(found.us.tolist(), found.fault.tolist(), strict=True)
    return [FAULTS[fault - 1] if fault else us for us, fault in pairs]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        (f"{NOON}Z", 0),
        (f" {NOON}Z\t", 0),
        ("2024-03-01 12:00Z", 0),
        ("2024-03-01  12:00:00  Z", "no-time"),
        ("2024-03-01t12:00:00z", 0),
        ("2024-03-01 12:00:00 UTC", 0),
        ("2024-03-01 12:00:00 GMT", 0),
        ("2024-03-01T13:00:00+01:00", 0),
        ("2024-03-01T13:00:00+0100", 0),
        ("2024-03-01T13:00:00+01", 0),
        ("2024-03-01T06:30:00-05:30", 0),
        ("2024-03-01T06:30:00−05:30", 0),
        ("2024-03-01T12:00:00.000001Z", 1),
        ("2024-03-01T12:00:00.1Z", 100_000),
        ("2024-03-01T12:00:00,25Z", 250_000),
        ("2024-03-01T12:00:00.9999999Z", 999_999),
        ("2024-03-01T12:00:00.123456789012345678901234567890Z", 123_456),
        ("2024-03-01T12:00:60Z", 60_000_000),
        ("2024-03-01T11:59:60.5Z", 500_000),
        ("2024-03-01T24:00:00Z", 12 * 3_600_000_000),
        ("2024-03-01T24:00:00.000Z", 12 * 3_600_000_000),
        ("2024-03-01T24:00:00.0000001Z", "no-time"),
        ("2024-03-01T24:00:01Z", "no-time"),
        ("2024-03-01T24:01:00Z", "no-time"),
        ("2024-03-01T25:00:00Z", "no-time"),
        ("2024-03-01T12:60:00Z", "no-time"),
        ("2024-03-01T12:00:61Z", "no-time"),
        ("2024-03-01T12:00:00+24:00", "no-time"),
        ("2024-03-01T12:00:00+01:60", "no-time"),
        ("2024-02-30T12:00:00Z", "no-time"),
        ("2023-02-29T12:00:00Z", "no-time"),
        ("2024-02-29T12:00:00Z", -86_400_000_000),
        ("2024-13-01T12:00:00Z", "no-time"),
        ("2024-00-01T12:00:00Z", "no-time"),
        ("2024-03-00T12:00:00Z", "no-time"),
        ("0000-03-01T12:00:00Z", -739_251 * 86_400_000_000),  # 2024 years of 365.2425 days
        ("0000-061T12:00:00Z", -739_251 * 86_400_000_000),
        ("20240301T120000Z", 0),
        ("20240301T1200Z", 0),
        ("20240301T120000.5+0100", 500_000 - 3_600_000_000),
        ("2024061T120000Z", 0),
        ("2024-061T12:00:00Z", 0),
        ("2024-366T12:00:00Z", 305 * 86_400_000_000),
        ("2023-366T12:00:00Z", "no-time"),
        ("2024-000T12:00:00Z", "no-time"),
        ("2024-W09-5T12:00:00Z", 0),
        ("2024W095T120000Z", 0),
        ("2020-W53-5T12:00:00Z", (datetime(2021, 1, 1) - datetime(2024, 3, 1)) // timedelta(microseconds=1)),
        ("2024-W53-1T12:00:00Z", "no-time"),
        ("2024-W00-1T12:00:00Z", "no-time"),
        ("2024-03-01", "no-time"),
        ("12:00:00Z", "no-time"),
        ("2024-03-01T12Z", "no-time"),
        ("2024-03-01T12:00:00.Z", "no-time"),
        ("2024-3-1T12:00:00Z", "no-time"),
        ("24-03-01T12:00:00Z", "no-time"),
        ("01.03.2024 12:00", "no-time"),
        ("2024-03-01T12:00:00Zx", "no-time"),
        ("1709294400", "no-time"),
        ("yesterday", "no-time"),
        ("", "no-time"),
        (None, "no-time"),
    ],
)
def test_what_a_text_means(text: str | None, expected: int | str) -> None:
    assert read([text]) == [expected]
    # Beside usual texts and among them it means the same.
    assert read([f"{NOON}Z", text, None, f"{NOON}+01:00"])[1] == expected


def test_one_impossible_date_spoils_no_other() -> None:
    assert read([f"{NOON}Z", "2024-02-30T12:00:00Z", "2024-03-01T12:00:01Z"]) == [0, "no-time", 1_000_000]
    assert read([NOON, "2024-02-30T12:00:00"], "UTC") == [0, "no-time"]


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("2024-03-01T13:00:00+01:00[Europe/Paris]", 0),
        ("2024-03-01T13:00:00+01:00[!Europe/Paris]", 0),
        ("2024-03-01T12:00:00Z[Europe/Paris]", 0),
        ("2024-03-01T12:00:00-00:00[Europe/Paris]", 0),
        ("2024-03-01T12:00:00+00:00[Europe/Paris]", "time-ambiguous"),
        ("2024-03-01T13:00:00[Europe/Paris]", 0),
        ("2024-03-01T13:00:00+01:00[+01:00]", 0),
        ("2024-03-01T13:00:00+01:00[+02:00]", "time-ambiguous"),
        ("2024-03-01T13:00:00[+01:00]", 0),
        ("2024-03-01T13:00:00+01:00[Europe/Paris][u-ca=gregory]", 0),
        ("2024-03-01T13:00:00+01:00[u-ca=gregory]", 0),
        ("2024-03-01T13:00:00+01:00[!u-ca=gregory]", "no-time"),
        ("2024-03-01T13:00:00+01:00[Nowhere/Land]", 0),
        ("2024-03-01T13:00:00+01:00[!Nowhere/Land]", "no-time"),
        ("2024-03-01T13:00:00[Nowhere/Land]", "no-time"),
        ("2024-03-01T13:00:00+01:00[Europe/Paris][Europe/Berlin]", "no-time"),
        ("2024-03-31T02:30:00[Europe/Paris]", "time-nonexistent"),
        ("2024-10-27T02:30:00[Europe/Paris]", "time-ambiguous"),
    ],
)
def test_the_zone_in_brackets(text: str, expected: int | str) -> None:
    assert read([text]) == [expected]
    assert read([text, f"{NOON}Z"]) == [expected, 0]


def test_what_zone_was_used() -> None:
    def used(texts: list[str | None], zone: str | None = None, **how: Any) -> tuple[str, str]:
        found = to_utc(Times(texts, **how), zone)
        return found.zone, found.known_by

    assert used([f"{NOON}Z", None, f"{NOON}+00:00"]) == ("UTC", "in file")
    assert used([f"{NOON}+01:00", f"{NOON}+0100"], "Europe/Berlin") == ("+01:00", "in file")
    assert used([f"{NOON}-05:30"]) == ("-05:30", "in file")
    assert used([f"{NOON}+01:00", f"{NOON}+02:00"]) == ("several", "in file")
    assert used([f"{NOON}+01:00[Europe/Paris]"]) == ("Europe/Paris", "in file")
    assert used([f"{NOON}[+01:00]"]) == ("+01:00", "in file")
    assert used([NOON], "Europe/Berlin") == ("Europe/Berlin", "")
    assert used([NOON, f"{NOON}Z"], "Europe/Berlin") == ("several", "")
    assert used([NOON], basis="utc") == ("UTC", "in file")
    assert used([None, "x"], "Europe/Berlin") == ("", "")


def test_digits_cut_off_and_second_sixty_are_counted_where_they_matter() -> None:
    texts = ["00.1234567Z", "00.1234560Z", "00.123456Z", "00,1234567Z", "60Z", "60.5Z", "61Z"]
    found = to_utc(Times([f"2024-03-01T12:00:{text}" for text in texts]), None)
    assert (found.cut, found.leap) == (2, 2)
    assert to_utc(Times([f"{NOON}.123456000{digit}Z" for digit in "01"]), None).cut == 1
    present = np.array([False, True, True, True, False, True, True])
    found = to_utc(Times([f"2024-03-01T12:00:{text}" for text in texts], present=present), None)
    assert (found.cut, found.leap) == (1, 1)
    assert FAULTS[found.fault[0] - 1] == "no-time"


def test_local_times_need_a_zone() -> None:
    for times in (
        Times([None, f"{NOON}Z", NOON]),
        Times(np.array([0]), unit="s", basis="local"),
        Times(np.array([0]), unit="s", basis="text"),
    ):
        with pytest.raises(NoTimeZone) as caught:
            to_utc(times, None)
        assert "--zone" in caught.value.todo
    with pytest.raises(NoTimeZone, match=f"the first is {NOON}"):
        to_utc(Times([None, f"{NOON}Z", NOON]), None)


def test_only_rows_with_a_time_ask_for_a_zone() -> None:
    absent = np.array([False])
    assert to_utc(Times([NOON], present=absent), None).fault.tolist() == [1]
    assert to_utc(Times(np.array([5]), unit="s", basis="local", present=absent), None).fault.tolist() == [1]
    assert to_utc(Times(["2024-03-01"]), None).fault.tolist() == [1]


def test_a_local_count_is_a_wall_clock() -> None:
    wall = np.array([1_711_852_200, 1_711_848_600, 1_729_996_200])  # 2024-03-31 02:30, 01:30, 2024-10-27 02:30
    found = to_utc(Times(wall, unit="s", basis="local"), "Europe/Berlin")
    assert [FAULTS[each - 1] if each else "" for each in found.fault] == ["time-nonexistent", "", "time-ambiguous"]
    assert found.us[1] == (1_711_848_600 - 3600) * 1_000_000


def test_local_dates_that_no_zone_can_place() -> None:
    assert read(["1799-12-31T23:59:59", "9999-12-31T23:59:59"], "Europe/Berlin") == ["time-implausible"] * 2
    assert to_utc(Times(["2400-07-01T12:00:00", "1800-01-01T00:00:00"]), "Europe/Berlin").fault.tolist() == [0, 0]


@pytest.mark.parametrize("kind", [list, np.array, pa.array, lambda texts: pa.chunked_array([texts[:1], texts[1:]])])
def test_whatever_holds_the_texts(kind: Any) -> None:
    texts = [f"{NOON}Z", "2024-03-01T12:00:01Z"]
    times = Times(kind(texts))
    assert to_utc(times, None).us.tolist() == [NOON_US, NOON_US + 1_000_000]
    assert time_texts(times, np.array([1])) == texts[1:]


def test_no_rows_at_all() -> None:
    for times in (Times([]), Times(np.array([], np.int64), unit="s", basis="utc"), Times([], unit="ms", basis="local")):
        found = to_utc(times, None)
        assert (len(found.us), len(found.fault), found.zone) == (0, 0, "")


@pytest.mark.parametrize(
    ("values", "unit", "expected"),
    [
        ([0, -1, 1_709_294_400], "s", [0, -1_000_000, NOON_US]),
        ([1_709_294_400_123], "ms", [NOON_US + 123_000]),
        ([1_709_294_400_000_001], "us", [NOON_US + 1]),
        ([1_709_294_400_000_001_999, -1], "ns", [NOON_US + 1, -1]),
        ([MOST, -MOST, MOST // 1_000_000], "s", ["time-implausible"] * 2 + [MOST // 1_000_000 * 1_000_000]),
        ([MOST], "us", [MOST]),
    ],
)
def test_whole_counts_are_exact(values: list[int], unit: str, expected: list[int | str]) -> None:
    assert counted(np.array(values), unit) == expected
    assert counted([str(each) for each in values], unit) == expected


def test_narrow_and_unsigned_integers() -> None:
    assert counted(np.array([255], np.uint8), "s") == [255_000_000]
    assert counted(np.array([2**32 - 1], np.uint32), "s", epoch_s=631_065_600) == [
        (2**32 - 1 + 631_065_600) * 1_000_000
    ]
    assert counted(np.array([2**64 - 1, 7], np.uint64), "us") == ["time-implausible", 7]


@pytest.mark.parametrize(
    ("text", "unit", "expected"),
    [
        ("1709294400.123456", "s", NOON_US + 123_456),
        ("1709294400,5", "s", NOON_US + 500_000),
        ("1709294400.1234569", "s", NOON_US + 123_456),
        ("1709294400.99999999999999999999999999999999999999", "s", NOON_US + 999_999),
        ("1709294400123.4567", "ms", NOON_US + 123_456),
        ("1709294400000001.9", "us", NOON_US + 1),
        ("1709294400000001999.5", "ns", NOON_US + 1),
        ("-0.0000001", "s", -1),
        ("-0.5", "s", -500_000),
        ("+12", "s", 12_000_000),
        ("+0.5", "s", 500_000),
        ("1.7092944e9", "s", NOON_US),
        ("1.7092944001234567E9", "s", NOON_US + 123_456),
        ("12.", "s", 12_000_000),
        (".5", "s", 500_000),
        (" 12 ", "s", 12_000_000),
        ("1e300", "s", "time-implausible"),
        ("1e999", "s", "time-implausible"),
        ("1e-999", "s", 0),
        ("99999999999999999999", "s", "time-implausible"),
        ("9999999999999999999", "ns", "time-implausible"),
        ("8999999999999999999", "ns", 8_999_999_999_999_999),
        ("1.70929440099999999999999999999999e9", "s", NOON_US + 999_999),
        ("12 s", "s", "no-time"),
        ("0x10", "s", "no-time"),
        ("1,234.5", "s", "no-time"),
        ("nan", "s", "no-time"),
        ("inf", "s", "no-time"),
        ("", "s", "no-time"),
        (None, "s", "no-time"),
        ("25569", "d", 0),
        ("25569.5", "d", 43_200_000_000),
        ("25569,5", "d", 43_200_000_000),
        ("+25569", "d", 0),
        ("45351.9999884", "d", (45351 - 25569) * 86_400_000_000 + 86_399_000_000 - 2_000),
        ("x", "d", "no-time"),
        ("1e30", "d", "time-implausible"),
    ],
)
def test_decimal_counts_are_exact(text: str | None, unit: str, expected: int | str) -> None:
    epoch = -25569 * 86400 if unit == "d" else 0
    assert counted([text], unit, epoch_s=epoch) == [expected]
    assert counted([text, "7", None], unit, epoch_s=epoch)[0] == expected
    assert counted(["7", text], unit, epoch_s=epoch)[1] == expected


def test_every_decimal_second_of_a_day_is_exact() -> None:
    texts = [f"{1_709_294_400 + n}.{n * 7919 % 1_000_000:06d}" for n in range(0, 86_400, 17)]
    assert counted(texts, "s") == [int(Decimal(text) * 1_000_000) for text in texts]


def test_cut_digits_of_counts_are_counted() -> None:
    times = Times(["1.0000001", "1.0000000", "1.5e0", "1.00000001e0", "x", "-1"], unit="s", basis="utc")
    assert to_utc(times, None).cut == 2
    assert to_utc(Times(np.array([1001, 2000]), unit="ns", basis="utc"), None).cut == 1


def test_floating_point_counts_are_taken_only_where_they_are_whole() -> None:
    assert counted(np.array([1.0, np.nan, np.inf]), "s") == [1_000_000, "no-time", "no-time"]
    assert counted(np.array([25569.25, np.nan, 1e300]), "d") == [
        (25569 * 4 + 1) * 21_600_000_000,
        "no-time",
        "time-implausible",
    ]
    with pytest.raises(PluginFault, match="floating-point"):
        counted(np.array([1.5]), "s")
    with pytest.raises(PluginFault, match="datetime64"):
        counted(np.array(["2024-03-01"], "datetime64[s]"), "s")


def test_an_epoch_moves_the_counts() -> None:
    assert counted(np.array([1_000_000_000]), "s", epoch_s=631_065_600) == [1_631_065_600_000_000]
    assert counted(np.array([MOST]), "us", epoch_s=1) == ["time-implausible"]


def test_elapsed_times_need_a_start() -> None:
    times = Times(np.array([0, 1500]), unit="ms", basis="elapsed")
    with pytest.raises(Refused) as caught:
        to_utc(times, "UTC")
    assert caught.value.code == "no-start"
    found = to_utc(times, None, NOON_US)
    assert found.us.tolist() == [NOON_US, NOON_US + 1_500_000]
    assert (found.zone, found.known_by) == ("", "")
    with pytest.raises(Refused):
        to_utc(Times([NOON], basis="elapsed"), None, NOON_US)


def test_texts_of_times_as_the_source_writes_them() -> None:
    present = np.array([True, False, True, True])
    times = Times([" 2024 ", "b", None, "12"], unit="s", present=present)
    assert time_texts(times, np.array([0, 1, 2, 3])) == [" 2024 ", "", "", "12"]
    assert time_texts(Times(np.array([5, 2**62]), unit="ns"), np.array([1])) == [str(2**62)]
    assert time_texts(times, np.array([], np.int64)) == []


def test_plausible_dates_include_both_ends() -> None:
    texts = [
        "1989-12-31T23:59:59.999999Z",
        "1990-01-01T00:00:00Z",
        "2100-01-01T00:00:00Z",
        "2100-01-01T00:00:00.000001Z",
    ]
    assert implausible(to_utc(Times(texts), None).us).tolist() == [True, False, False, True]


@pytest.mark.parametrize(
    ("name", "near"),
    [("Europe/Berln", "Europe/Berlin"), ("berlin", "Europe/Berlin"), ("utc", "UTC"), ("New York", "America/New_York")],
)
def test_a_name_that_is_no_zone_shows_what_comes_near(name: str, near: str) -> None:
    for ask in (lambda: check_zone(name), lambda: to_utc(Times([f"{NOON}Z"]), name)):
        with pytest.raises(VambraceError) as caught:
            ask()
        assert near in str(caught.value)


@pytest.mark.parametrize("name", ["", "+02:00", "../../etc/passwd", "CEST", "Europe", "tzdata"])
def test_names_that_are_no_zones(name: str) -> None:
    with pytest.raises(VambraceError, match="is no time zone"):
        check_zone(name)


def test_the_version_of_the_zone_data_is_named() -> None:
    assert zone_data_version().startswith("tzdata 20")


def test_the_system_has_no_say(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TZ", "Pacific/Apia")
    monkeypatch.setenv("PYTHONTZPATH", "/nowhere")
    assert read(["2024-03-01T13:00:00"], "Europe/Rome") == [0]
