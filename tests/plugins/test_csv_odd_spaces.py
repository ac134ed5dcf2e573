"""Unbreakable and narrow spaces, as programs write them before AM, units and percent signs: they are spaces."""

from __future__ import annotations

import unicodedata

import pytest

from csv_canonical import Canonical, canonical
from csv_reading import ok
from vambrace_plugins.importers.csv import Options

# The category Zs of the Unicode Character Database, as Python has it, without the usual space.
ALL = [chr(code) for code in range(0x21, 0x3001) if unicodedata.category(chr(code)) == "Zs"]
NBSP, NARROW = "\u00a0", "\u202f"


def rows(result: Canonical, signal: str) -> list[tuple[int, float]]:
    assert not result.code, result.said
    assert not result.rejected, result.rejected
    (found,) = result.signals[signal]
    return found


def sentences(result: Canonical) -> list[str]:
    assert result.reading is not None
    return [sentence for said in result.reading.conversions.values() for sentence in said]


@pytest.mark.parametrize("space", [NBSP, NARROW, *ALL[1::4]])
@pytest.mark.parametrize(
    "text",
    [
        "time (UTC),heart_rate\n3/14/2031 9:00:00_AM,70\n3/14/2031 9:00:10_PM,71\n",
        "time (UTC),heart_rate\n14.03.2031_09:00:00,70\n14.03.2031_09:00:10,71\n",
        "time (UTC),heart_rate\n2031-03-14_09:00:00,70\n2031-03-14_09:00:10,71_\n",
        "time,heart_rate\n2031-03-14T09:00:00Z,70_bpm\n_2031-03-14T09:00:10Z_,71_bpm\n",
        "time,spo2\n2031-03-14T09:00:00Z,70_%\n2031-03-14T09:00:10Z,71_%\n",
        "time;power\n2031-03-14T09:00:00Z;_70,5\n2031-03-14T09:00:10Z;71,5_\n",
        "time,signal,value,unit\n2031-03-14T09:00:00Z,speed,_70.5,m/s_\n2031-03-14T09:00:10Z,speed_,_71,m/s\n",
    ],
)
def test_odd_spaces_are_read_as_spaces_and_said(text: str, space: str) -> None:
    plain, odd = canonical(text.replace("_", " ").encode()), canonical(text.replace("_", space).encode())
    (signal,) = plain.signals
    assert rows(odd, signal) == rows(plain, signal)
    assert len(rows(plain, signal)) == 2
    assert any("narrow spaces read as spaces" in sentence for sentence in sentences(odd))
    assert not any("narrow spaces read as spaces" in sentence for sentence in sentences(plain))


@pytest.mark.parametrize("space", [NBSP, NARROW, "\u2009", "\u2007"])
def test_between_three_digits_they_part_thousands(space: str) -> None:
    text = f"time;power (W)\n2031-03-04T09:00:00Z;1{space}234,5\n2031-03-04T09:00:10Z;{space}2{space}345,5{space}\n"
    result = ok(text)
    assert [float(value) for value in result.values("power")] == [1234.5, 2345.5]
    assert any("thousands separators left out" in sentence for sentence in result.conversions())


def test_times_of_day_with_a_date_that_is_said_have_them_too() -> None:
    text = f"time (UTC),heart_rate\n9:00:00{NARROW}AM,70\n9:00:10{NARROW}PM,71\n".encode()
    found = rows(canonical(text, Options(date="2031-03-14")), "heart_rate")
    assert [second - found[0][0] for second, _ in found] == [0, (12 * 3600 + 10) * 1_000_000]


def test_they_are_read_in_every_block_wherever_the_text_is_cut() -> None:
    late = "".join(f"3/14/2031 9:{n // 60:02}:{n % 60:02} AM,70\n" for n in range(3_000)) * 4
    text = f"time (UTC),heart_rate\n{late}3/14/2031 9:00:10{NARROW}PM,71{NBSP}\n".encode()
    for sizes in ([len(text)], [4_099]):
        assert rows(canonical(text, None, None, sizes), "heart_rate")[-1][1] == 71


def test_the_last_row_that_is_cut_has_them_too() -> None:
    text = f"time (UTC),heart_rate,power\n3/14/2031 9:00:00 AM,70,100\n3/14/2031 9:00:10{NARROW}PM,{NBSP}71,1"
    found = canonical(text[:-2].encode())
    assert [each.found for each in found.rejected] == ["71 (cut)"]
    assert found.rejected[0].reason == "not-a-number"


def test_words_keep_them() -> None:
    result = ok(f"time,device,heart_rate\n2031-03-04T09:00:00Z,band{NBSP}A,70\n")
    assert result.recordings[1].product == f"band{NBSP}A"
