"""Tables with a column for each device: each device's columns are a recording of their own."""

from __future__ import annotations

import pytest

from csv_canonical import canonical
from csv_reading import ok, read
from vambrace_plugins.importers.csv import Options

T = "2031-03-04T09:00:00Z"


def products(text: str, **options: str) -> list[str | None]:
    result = canonical(text.encode(), Options(**options))
    assert not result.code, result.said
    assert result.reading is not None
    return [about.product for _, about in sorted(result.reading.about.items())]


def test_each_device_is_a_recording_named_by_its_words() -> None:
    text = f"time,band-A heart rate (bpm),ring-B heart rate (bpm),band-A steps (total)\n{T},71,72,5\n"
    result = canonical(text.encode())
    assert {key: [value for _, value in rows] for key, rows in result.channels.items()} == {
        (1, "heart_rate"): [71],
        (1, "step_count"): [5],
        (2, "heart_rate"): [72],
    }
    assert products(text) == ["band-A", "ring-B"]


@pytest.mark.parametrize(
    ("headers", "devices"),
    [
        ("heart_rate,ring-B HR", [None, "ring-B"]),
        ("heart rate ring-B,heart rate strap-R", ["ring-B", "strap-R"]),
        ("HeartRate_A,HeartRate_B", ["A", "B"]),
        ("Band A heart rate,band-a power [W],ring heart rate", ["Band A", "ring"]),
    ],
)
def test_words_beside_the_signal_name_devices(headers: str, devices: list[str | None]) -> None:
    cells = ",".join("71" for _ in headers.split(","))
    assert products(f"time,{headers}\n{T},{cells}\n") == devices


@pytest.mark.parametrize("other", ["resting heart rate", "target heart rate", "heart rate quality"])
def test_another_quantity_is_no_device(other: str) -> None:
    result = ok(f"time,heart_rate,{other}\n{T},71,55\n")
    assert [each.signal for batch in result.of() for each in batch.columns] == ["heart_rate"]
    assert result.recordings[1].not_carried == {other: 1}


def test_words_in_one_column_alone_are_not_taken_for_a_device_and_the_refusal_names_the_column() -> None:
    result = read(f"time,strap-R heart rate\n{T},71\n")
    assert result.error is not None
    assert result.error.code == "no-known-column"
    assert '"csv.columns=strap-R heart rate=heart_rate"' in str(result.error)


def test_what_the_user_says_of_a_column_stands_above_its_words() -> None:
    text = f"time,band-A pulse wave,ring-B heart rate,heart rate\n{T},71,72,73\n"
    assert products(text) == ["ring-B", None]
    assert products(text, columns="ring-B heart rate=-") == [None]
    said = f"time,band-A heart rate,ring-B heart rate\n{T},71,72\n"
    assert products(said, columns="band-A heart rate=heart_rate") == ["band-A", "ring-B"]


def test_a_device_in_the_header_and_one_in_the_row_are_both_named() -> None:
    text = f"time,device,left wrist heart rate,right wrist heart rate\n{T},band-A,71,72\n"
    assert products(text) == ["band-A, left wrist", "band-A, right wrist"]
