"""Cells and options that a reader trips over: encodings that are none, units in two spellings, odd headers."""

from __future__ import annotations

import pytest

from csv_canonical import Canonical, canonical
from csv_reading import ok, read
from vambrace_plugins.importers.csv import Options

T = "2031-03-04T09:00:00Z"
U = "2031-03-04T09:00:01Z"
TABLE = f"time,heart_rate,power\n{T},70,200\n{U},71,201\n"


def numbers(result: Canonical) -> dict[str, list[list[float]]]:
    assert not result.code, result.said
    assert not result.rejected
    return {signal: [[value for _, value in rows] for rows in each] for signal, each in result.signals.items()}


def sentences(result: Canonical) -> list[str]:
    assert result.reading is not None
    return [sentence for said in result.reading.conversions.values() for sentence in said]


@pytest.mark.parametrize(
    "name",
    [
        *("punycode", "idna", "unicode_escape", "raw_unicode_escape", "undefined", "utf-7", "base64", "rot13", "zip"),
        *("mbcs", "no such thing", "nul\0nul", "x" * 500),
    ],
)
def test_what_is_no_encoding_of_a_file_is_no_option(name: str) -> None:
    error = read(TABLE, encoding=name).error
    assert error is not None
    assert error.code == "bad-option"
    assert "as in utf-8" in error.todo


@pytest.mark.parametrize("name", ["utf-16", "utf-32"])
def test_an_encoding_without_its_order_of_bytes_needs_a_mark_or_zeros(name: str) -> None:
    error = read(TABLE, encoding=name).error
    assert error is not None
    assert error.code == "encoding-not-said"
    assert f"csv.encoding={name}-le" in error.todo
    assert ok(TABLE.encode(name), encoding=name).values("power") == ["200", "201"]
    for order in ("-le", "-be"):
        assert ok(TABLE.encode(name + order), encoding=name + order).values("power") == ["200", "201"]


@pytest.mark.parametrize("order", ["-le", "-be"])
def test_zeros_show_the_order_of_bytes_of_utf_16(order: str) -> None:
    assert ok(TABLE.encode("utf-16" + order), encoding="utf-16").values("power") == ["200", "201"]


@pytest.mark.parametrize("name", ["hz", "iso2022_jp", "gb18030", "shift_jis", "cp500", "utf_16_be", "big5hkscs"])
@pytest.mark.parametrize("sizes", [[1 << 20], [1, 3]])
def test_bytes_that_are_no_text_of_what_is_said_are_refused_and_never_a_fault(name: str, sizes: list[int]) -> None:
    error = read(TABLE.encode() + b"\xff\xfe~{\x81\xed\xa0\x80\n", sizes, encoding=name).error
    assert error is not None
    assert error.todo


def test_spellings_of_one_unit_are_one_unit() -> None:
    rows = [f"{T},72 bpm,10 KM/H", f"{U},73 BPM,20 km/h", f"{U},74bpm ,30 kmh"]
    result = canonical(("time,heart_rate,speed\n" + "\n".join(rows) + "\n").encode())
    assert numbers(result)["heart_rate"] == [[72, 73, 74]]
    assert [round(value * 3.6) for value in numbers(result)["speed"][0]] == [10, 20, 30]
    assert 'heart_rate: unit "bpm" taken from the cells' in sentences(result)


def test_another_spelling_behind_the_first_rows_is_the_same_unit() -> None:
    rows = "".join(f"{T},{72 + n % 9} bpm\n" for n in range(11_000))
    text = f"time,heart_rate\n{rows}{U},99 BPM\n".encode()
    for pieces in ([len(text)], [4099]):
        (found,) = numbers(canonical(text, None, None, pieces))["heart_rate"]
        assert found[-1] == 99
        assert len(found) == 11_001


def test_two_units_in_a_column_are_still_two() -> None:
    assert canonical(f"time,heart_rate\n{T},72 bpm\n{U},1.2 Hz\n".encode()).code == "unit-two-readings"


def test_a_semicolon_in_a_header_can_be_written_in_options() -> None:
    text = f'time,"speed; wheel",heart_rate\n{T},36,70\n'
    result = canonical(text.encode(), Options(columns=r"speed\; wheel=speed", units=r"speed\; wheel=km/h"))
    assert numbers(result) == {"heart_rate": [[70]], "speed": [[10]]}


@pytest.mark.parametrize(
    ("header", "cell"), [('"altitude (ft;in)"', "5"), ('"total steps;distance"', "5"), ('"energy;total"', "5")]
)
def test_what_a_refusal_suggests_for_a_header_with_a_semicolon_is_understood(header: str, cell: str) -> None:
    name = header.strip('"').replace(";", r"\;")
    text = f"time,{header},heart_rate\n{T},{cell},70\n"
    error = read(text).error
    if error is not None:
        assert f"={name}=" in error.todo or f".{name}=" in error.todo
    assert ok(text, columns=f"{name}=-").values("heart_rate") == ["70"]


def test_a_suggestion_for_a_unit_escapes_the_header() -> None:
    text = f'time,"speed (x;y)"\n{T},36\n'
    error = read(text).error
    assert error is not None
    assert r"csv.units=speed (x\;y)=m/s" in error.todo
    assert ok(text, units=r"speed (x\;y)=km/h").values("speed") == ["36"]
