"""What stands around the rows of a table: lines before the header, a row of units; and how rows are read in blocks."""

from __future__ import annotations

import csv
import io

import pandas as pd
import pytest

from csv_canonical import canonical
from csv_reading import cells_of, ok, read, texts
from vambrace_plugins.importers.csv import Options

T = "2031-03-04T09:00:00Z"


def test_lines_before_the_header_are_passed_over_and_said() -> None:
    result = read(f"# strap-R\nclock: new\n\ntime;heart_rate\n{T};71\n")
    assert result.error is None
    assert (result.record(), result.values("heart_rate")) == ([1], ["71"])
    assert [key for key in result.notes if key[0] == "lines-before-header"] == [
        ("lines-before-header", "note", '3 lines before the header are passed over: "# strap-R"; "clock: new"')
    ]


def test_a_table_before_the_header_is_passed_over_with_a_warning() -> None:
    result = read(f"lap,duration\n1,300\n\ntime,heart_rate\n{T},71\n")
    assert result.rules() == [("lines-before-header", "warning")]


def test_a_fault_behind_lines_before_the_header_has_the_line_of_the_file() -> None:
    result = read(f"# strap-R\ntime,heart_rate\n{T},71\n{T},71,9\n{T},72\n")
    assert "line 4" in str(result.error)


def test_a_row_of_units_is_read_as_units_and_keeps_its_record_number() -> None:
    result = ok(f"time,heart rate,altitude\nUTC,(bpm),ft\n{T[:-1]},71,1000\n")
    assert result.record() == [2]
    assert [(each.signal, each.unit) for each in result.of()[0].columns] == [("heart_rate", "bpm"), ("altitude", "ft")]
    assert "units taken from the row behind the header" in result.conversions()
    # One foot is 0.3048 m exactly (international yard and pound agreement, 1959).
    rows = canonical(f"time,altitude\n,ft\n{T},1000\n".encode()).signals["altitude"]
    assert [value for _, value in rows[0]] == [pytest.approx(304.8, abs=1e-12)]


def test_units_that_contradict_the_header_are_refused() -> None:
    result = read(f"time,altitude (m)\n,ft\n{T},1000\n")
    assert result.error is not None
    assert result.error.code == "unit-two-readings"


@pytest.mark.parametrize(
    ("counts", "unit"),
    [(["1709280930"], "s"), (["1709280930250"], "ms"), (["1709280930250000"], "us"), (["1709280930250000000"], "ns")],
)
def test_counts_without_a_unit_are_read_where_only_one_unit_gives_a_date(counts: list[str], unit: str) -> None:
    # The counts are those of the published vectors of date-time texts (fixtures/published).
    result = ok(f"timestamp,heart_rate\n{counts[0]},71\n")
    assert result.of()[0].time.unit == unit
    assert any("names no unit" in sentence for sentence in result.conversions())


@pytest.mark.parametrize("odd", ["", f'"{T}",7,\n', f"\n{T},8,\n", f"time,heart_rate,power\n{T},9,1\n"])
@pytest.mark.parametrize("end", ["\n", "\r\n", "\r"])
def test_rows_read_by_columns_equal_those_of_pandas(odd: str, end: str) -> None:
    """The rows behind the first block are read by columns up to the first odd line; pandas is the other reader."""
    rows = "".join(f"{T}, {60 + n % 90},{n % 7 or ''}\n" for n in range(25_000))
    text = f"time,heart_rate,power\n{rows}{odd}{rows}"
    ours = ok(text.replace("\n", end))
    frame = pd.read_csv(io.StringIO(text), dtype=str, keep_default_na=False, skip_blank_lines=False)
    frame.index += 1
    frame = frame[(frame["time"] != "") & (frame["time"] != "time")]
    assert ours.record() == frame.index.tolist()
    assert ours.times() == frame["time"].tolist()
    assert [text.strip() for text in ours.values("heart_rate")] == frame["heart_rate"].str.strip().tolist()


def test_months_by_name_are_read_in_both_orders() -> None:
    for cell in ("1 Mar 2024 08:15:30", "01-March-2024 08:15:30", '"Mar 1, 2024 8:15:30 AM"'):
        result = canonical(f"time,heart_rate\n{cell},71\n".encode(), zone="UTC")
        stamp = pd.Timestamp(cell.strip('"')).value // 1000
        assert result.signals == {"heart_rate": [[(stamp, 71.0)]]}, (cell, result.said)


def test_spreadsheet_days_of_both_systems_give_the_published_instant() -> None:
    # 45352.3440972222 and 43890.3440972222 are 2024-03-01T08:15:30 (published vectors of date-time texts).
    for cell, system in (("45352.3440972222", "serial-1900"), ("43890.3440972222", "serial-1904")):
        table = f"time,heart_rate\n{cell},71\n".encode()
        result = canonical(table, Options(time=system), zone="UTC")
        assert result.signals["heart_rate"][0] == [(1_709_280_930_000_000, 71.0)]


LONG = (
    "time,signal,value,unit,device\n"
    f"{T},heart rate,71,bpm,band-A\n{T},altitude,1000,ft,ring-B\n{T},heart rate,72,bpm,ring-B\n{T},mood,4,,band-A\n"
)


def test_rows_that_name_their_signal_are_read_device_by_device() -> None:
    result = ok(LONG)
    held: dict[tuple[int, str, str], list[str]] = {}
    for batch in result.batches:
        for each in batch.columns:
            held.setdefault((batch.recording, each.signal, each.unit), []).extend(texts(cells_of(each)))
    # Python's csv module is the other reader: the same cells, parted by hand.
    rows = list(csv.DictReader(io.StringIO(LONG)))
    names = {result.recordings[number].product: number for number in result.recordings if number}
    wanted: dict[tuple[int, str, str], list[str]] = {}
    for row in rows:
        if row["signal"] != "mood":
            key = (names[row["device"]], row["signal"].replace(" ", "_"), row["unit"])
            wanted.setdefault(key, []).append(row["value"])
    assert held == wanted
    assert result.recordings[1].not_carried == {"mood": 1}


@pytest.mark.parametrize(
    ("rows", "code"),
    [
        ("heart rate,71,bpm\n{T},heart rate,1.2,Hz\n", "unit-two-readings"),
        ("heart rate,71,bpm\n{T},HR,72,bpm\n", "header-twice"),
        ("heart rate,71,moons\n", "unit-unknown"),
        ("mood,4,\n", "no-known-column"),
        ("altitude,1000,\n", "unit-not-said"),
    ],
)
def test_uncertain_rows_that_name_their_signal_are_refused(rows: str, code: str) -> None:
    result = read(f"time,signal,value,unit\n{T}," + rows.replace("{T}", T))
    assert result.error is not None
    assert (result.error.code, bool(result.error.todo)) == (code, True)


def test_a_cut_last_row_that_names_its_signal_is_set_aside() -> None:
    result = read(f"time,signal,value,unit\n{T},heart rate,71,bpm\n{T},heart rate,7")
    assert [each.found for each in result.rejected] == ["7 (cut)"]
    assert ("possibly-cut", "warning") in result.rules()
