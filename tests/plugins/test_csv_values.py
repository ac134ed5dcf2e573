"""Every value and every record number against Python's csv module and pandas on the same bytes."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pandas as pd
import pytest

from csv_canonical import canonical
from csv_reading import column_of, ok, read

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures" / "csv"
T = "2031-03-04T09:00:00Z"


def dicts(name: str, encoding: str = "utf-8-sig", delimiter: str = ",") -> list[dict[str, str]]:
    text = (FIXTURES / name).read_bytes().decode(encoding)
    return list(csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter))


def test_semicolons_and_decimal_commas() -> None:
    data = (FIXTURES / "semicolon-decimal-comma.csv").read_bytes()
    result = ok(data)
    rows = dicts("semicolon-decimal-comma.csv", delimiter=";")
    assert result.times() == [row["time"] for row in rows]
    assert result.values("heart_rate") == [row["heart rate (Hz)"].replace(",", ".") for row in rows]
    assert result.record() == [1, 2, 3]
    assert result.recordings[1].not_carried == {"note": 1}
    assert result.conversions() == ("decimal commas read as decimal points",)
    frame = pd.read_csv(io.BytesIO(data), sep=";", decimal=",")
    for signal, header in (("heart_rate", "heart rate (Hz)"), ("oxygen_saturation", "SpO2 [%]")):
        ours = [float(text or "nan") for text in result.values(signal)]
        assert pd.Series(ours).equals(frame[header])


def test_a_spreadsheet_in_utf_16() -> None:
    result = ok((FIXTURES / "spreadsheet-utf-16.tsv").read_bytes())
    rows = dicts("spreadsheet-utf-16.tsv", "utf-16", "\t")
    assert result.times() == ["2031-03-04 09:00:00", rows[1]["Time (UTC)"]]
    assert result.batches[0].time.basis == "utc"
    assert result.values("altitude") == [row["Altitude (ft)"].replace(",", ".") for row in rows]
    assert result.values("speed") == [row["Speed (km/h)"].replace(",", ".") for row in rows]
    assert [column.unit for column in result.batches[0].columns] == ["ft", "km/h"]


def test_an_epoch_and_a_running_total() -> None:
    result = ok((FIXTURES / "epoch-and-total.csv").read_bytes())
    rows = dicts("epoch-and-total.csv")
    assert result.times() == [row["timestamp_ms"] for row in rows]
    assert result.values("step_count") == [row["Steps, cumulative"] for row in rows]
    assert column_of(result.batches[0], "step_count").counting == "total"
    assert "times: ms since 1970-01-01T00:00:00Z" in result.conversions()


def test_date_and_time_of_day_in_two_columns() -> None:
    result = ok((FIXTURES / "date-and-time.csv").read_bytes())
    assert result.times() == ["2031-03-04 09:00:00", "2031-03-04 09:00:01.5"]
    assert result.values("oxygen_saturation") == [
        row["Oxygen saturation (fraction)"] for row in dicts("date-and-time.csv")
    ]
    assert result.values("heart_rate") == ["71", ""]


def test_steps_per_interval_with_start_and_end() -> None:
    result = ok((FIXTURES / "steps-per-interval.csv").read_bytes())
    rows = dicts("steps-per-interval.csv")
    assert (result.times(), result.ends()) == ([r["start time"] for r in rows], [r["end time"] for r in rows])
    steps, rate = result.batches[0].columns
    assert (steps.signal, steps.counting) == ("step_count", "increment")
    assert (rate.signal, rate.statistic, rate.unit) == ("heart_rate", "mean", "bpm")


def test_two_columns_of_one_signal_are_two_recordings_that_name_their_sensors() -> None:
    result = ok((FIXTURES / "two-sensors.csv").read_bytes())
    rows = dicts("two-sensors.csv")
    found = {column_of(b, "heart_rate").sensor: result.values("heart_rate", b.recording) for b in result.batches[:2]}
    assert found == {s: [row[f"HR ({s}) [bpm]"] for row in rows] for s in ("strap-R", "band-A")}
    assert [column.signal for column in result.of(3)[0].columns] == ["latitude", "longitude"]
    assert all("heart_rate: in several columns" in result.conversions(n)[-1] for n in (1, 2, 3))
    # What was decided about a column stands with its own recording.
    assert [sum("gives no unit" in one for one in result.conversions(n)) for n in (1, 2, 3)] == [0, 0, 2]


def test_rows_of_two_devices_are_two_recordings() -> None:
    result = ok((FIXTURES / "two-devices.csv").read_bytes())
    rows = dicts("two-devices.csv")
    for number, device, serial in ((1, "band-A", "0391"), (2, "ring-B", "0392")):
        about = result.recordings[number]
        assert (about.product, about.serial) == (device, serial)
        own = [(at, row) for at, row in enumerate(rows, 1) if row["device"] == device]
        assert result.record(number) == [at for at, _ in own]
        assert result.values("heart_rate", number) == [row["hr (bpm)"] for _, row in own]


def test_a_cut_last_cell_is_set_aside_and_the_rest_kept() -> None:
    result = ok((FIXTURES / "cut-last-row.csv").read_bytes())
    assert [text for batch in result.batches[:1] for text in batch.columns[0].written.to_pylist()] == ["71"]
    assert [column.signal for column in result.batches[1].columns] == ["power"]
    (aside,) = result.rejected
    assert (aside.signal, aside.record, aside.found, aside.time_text) == (
        "heart_rate",
        2,
        "7 (cut)",
        "2031-03-04T09:00:01Z",
    )
    assert result.rules() == [("possibly-cut", "warning")]
    assert result.recordings[1].complete is False


def test_a_last_row_without_a_line_end_is_kept_and_noted() -> None:
    result = ok(f"time,heart_rate\n{T},71")
    assert result.values("heart_rate") == ["71"]
    assert result.rules() == [("possibly-cut", "note")]
    assert ok(f"time,heart_rate\n{T},71\n").notes == {}


def test_a_short_last_row_before_blank_lines_is_still_the_last() -> None:
    result = ok(f"time,heart_rate,power\n{T},71,1\n{T},72\n\n\n")
    assert result.rules() == [("possibly-cut", "warning")]


def test_a_header_alone_is_a_table_without_rows() -> None:
    result = ok("time,heart_rate\n")
    assert (result.batches, result.rejected) == ([], [])
    assert list(result.recordings) == [1]


def test_record_numbers_are_the_places_of_rows_in_the_file_with_blank_ones_counted() -> None:
    table = f"time,heart_rate\n{T},71\n\n{T},72\ntime,heart_rate\n,\n{T},73\n"
    result = ok(table)
    rows = list(csv.reader(io.StringIO(table)))
    for number, text in zip(result.record(), result.values("heart_rate"), strict=True):
        assert rows[number] == [T if text else "", text]
    assert result.record() == [1, 3, 6]
    assert result.rules() == [("header-again", "note")]


def test_empty_cells_at_the_end_of_a_row_say_nothing() -> None:
    result = ok(f"time,heart_rate\n{T},71,,\n{T},72\n")
    assert result.values("heart_rate") == ["71", "72"]
    assert ok(f"time,heart_rate,\n{T},71,\n").recordings[1].not_carried == {}


def test_what_is_not_carried_is_counted_by_its_cells() -> None:
    result = ok(f"time,heart_rate,mood,\n{T},71,good,x\n{T},72, ,\n")
    assert result.recordings[1].not_carried == {"mood": 1, "column 4": 1}


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_cells_with_line_ends_inside_quotation_marks(end: str) -> None:
    table = f'time,note,heart_rate{end}{T},"two{end}lines",71{end}{T},"a ""word""",72{end}'
    result = ok(table)
    rows = list(csv.reader(io.StringIO(table, newline="")))
    assert result.values("heart_rate") == [row[2] for row in rows[1:]]
    assert result.recordings[1].not_carried == {"note": 2}


def test_a_large_table_equals_pandas_and_keeps_its_record_numbers() -> None:
    n = 125_001
    lines = [f"{1_930_381_200_000 + 250 * at},{60 + at % 90},{at / 7!r}" for at in range(n)]
    data = ("\n".join(["time_ms,heart_rate,altitude (ft)", *lines]) + "\n").encode()
    result = ok(data)
    frame = pd.read_csv(io.BytesIO(data), dtype=str)
    assert result.record() == list(range(1, n + 1))
    assert result.times() == frame["time_ms"].tolist()
    assert result.values("altitude") == frame["altitude (ft)"].tolist()
    assert result.values("heart_rate") == frame["heart_rate"].tolist()
    assert max(len(batch) for batch in result.batches) <= 50_000


def test_a_decision_holds_for_the_whole_table_and_what_contradicts_it_later_is_refused() -> None:
    n = 10_000
    first = f"{T};120\n" * n
    later = read(f"time;power (W)\n{first}{T};120,5\n")
    assert later.error is not None
    assert later.error.code == "decimal-not-said"
    assert ok(f"time;power (W)\n{first}{T};120,5\n", decimal="comma").values("power")[-1] == "120.5"
    commas = read(f"time;power (W)\n{T};120,5\n{first}{T};120.5\n")
    assert commas.error is not None
    assert commas.error.code == "decimal-two-marks"


def test_the_demo_s_tables_are_read_cell_by_cell() -> None:
    from demo_reading import file_bytes

    for name, delimiter, signal in (
        ("ring-B/heart_rate.csv", ";", "heart_rate"),
        ("ring-B/oxygen.csv", ";", "oxygen_saturation"),
        ("observer/steps.csv", ",", "step_count"),
    ):
        data = file_bytes(name)
        rows = list(csv.reader(io.StringIO(data.decode("utf-8-sig"), newline=""), delimiter=delimiter))[1:]
        result = ok(data)
        assert result.times() == [row[0] for row in rows]
        assert result.values(signal) == [row[1].replace(",", ".") for row in rows]


@pytest.mark.parametrize(
    "table", ["time;SpO2 (fraction)\n{};0,29\n{};0,57\n", "time,SpO2 (fraction)\n{},0.29\n{},0.57\n"]
)
def test_fractions_become_the_nearest_percentages_whatever_the_decimal_mark(table: str) -> None:
    # 100 * 0.29 is 28.999999999999996 and 100 * 0.57 is 56.99999999999999 in double precision (IEEE 754, Python).
    result = canonical(table.format("2031-03-04T09:00:00Z", "2031-03-04T09:00:01Z").encode())
    assert [value for _, value in result.channels[1, "oxygen_saturation"]] == [29.0, 57.0]


def test_what_is_set_aside_stands_there_as_the_file_writes_it() -> None:
    result = canonical(b"date;time (UTC);SpO2 (fraction)\n04.03.2031;9:05;-0,29\n14.03.2031;9:06;0,57\n")
    (one,) = result.rejected
    assert (one.reason, one.found, one.time_text) == ("outside-domain", "-0,29", "04.03.2031 9:05")
