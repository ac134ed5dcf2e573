"""Tables as they are handed on: long, narrow, wide, position; filters; every one with columns even without rows.

Expected values are computed here from the lists that the shards were written from, by plain Python.
"""

from __future__ import annotations

from pathlib import Path

import pandas as pd
import pyarrow as pa
import pytest

from small_dataset import GAPS, RATES, RR, write_dataset
from vambrace.dataset import DERIVED, Store
from vambrace.errors import VambraceError
from vambrace.output import Dataset, open_dataset
from vambrace.output.views import NAMES
from vambrace.schema import SIGNALS

WHO = ["participant", "device", "session", "activity"]


@pytest.fixture(scope="module")
def dataset(tmp_path_factory: pytest.TempPathFactory) -> Dataset:
    return open_dataset(write_dataset(tmp_path_factory.mktemp("in") / "ds"))


def test_samples_have_the_columns_of_the_contract_in_order(dataset: Dataset) -> None:
    stored = ["recording", "signal", "time", "time_end", "value", "unit", "quality", "source_flag", "record"]
    table = dataset.arrow()
    assert table.column_names == [*WHO, *stored]
    assert table.schema.field("time").type == pa.timestamp("us", "UTC")
    assert all(pa.types.is_dictionary(table.schema.field(name).type) for name in [*WHO, "recording", "signal"])
    rows = [tuple(row[name] for name in ("recording", "signal", "time", "record")) for row in table.to_pylist()]
    assert rows == sorted(rows)


def test_narrow_table_names_its_value_by_signal_and_unit(dataset: Dataset) -> None:
    frame = dataset.signal("heart_rate")
    assert frame["heart_rate_per_min"].tolist() == [rate for _, rate in RATES]
    assert not {"signal", "unit"} & set(frame.columns)
    assert frame["time"].astype("int64").tolist() == [us for us, _ in RATES]


def test_position_joins_altitude_by_record_and_leaves_gaps_null(dataset: Dataset) -> None:
    rows = dataset.arrow("position").to_pylist()
    assert [row["altitude_m"] for row in rows] == [None if n in GAPS else 100.0 + n for n in range(len(rows))]
    assert [row["latitude_deg"] for row in rows] == [37.0 + n / 8 for n in range(len(rows))]
    assert [row["longitude_deg"] for row in rows] == [-27.0 - n / 8 for n in range(len(rows))]


def test_wide_loses_no_sample_and_invents_none(dataset: Dataset) -> None:
    long, wide = dataset.samples(), dataset.wide()
    for name in long["signal"].unique():
        values = wide[SIGNALS[name].column].dropna().tolist()
        assert sorted(values) == sorted(long.loc[long["signal"] == name, "value"])
    assert wide[["recording", "time"]].notna().all().all()


def test_wide_gives_further_rows_to_samples_of_one_instant(dataset: Dataset) -> None:
    # Three beats end in the same microsecond of the list: three rows, of which the first also holds the rate.
    wide = dataset.wide(signal=["heart_rate", "rr_interval"])
    same = wide[wide["time"] == pd.Timestamp(RR[0][0], unit="us", tz="UTC")]
    assert same["rr_interval_ms"].tolist() == [800.0, 810.0, 820.0]
    assert same["heart_rate_per_min"].notna().tolist() == [True, False, False]


def test_since_is_inclusive_and_until_is_not(dataset: Dataset) -> None:
    since, until = "2024-03-01T08:00:01Z", "2024-03-01T09:00:03+01:00"
    frame = dataset.signal("heart_rate", since=since, until=until)
    assert frame["time"].dt.second.tolist() == [1, 2]


@pytest.mark.parametrize("name", NAMES)
def test_every_table_has_its_columns_and_types_without_rows(name: str, tmp_path: Path) -> None:
    Store.begin(tmp_path / "ds")
    empty = open_dataset(tmp_path / "ds").arrow(name)
    assert len(empty) == 0
    full = open_dataset(write_dataset(tmp_path / "full")).arrow(name)
    assert empty.schema.equals(full.schema)


@pytest.mark.parametrize("name", DERIVED)
def test_derived_tables_come_through_the_face_as_they_stand(name: str, dataset: Dataset) -> None:
    frame = getattr(dataset, name)
    assert isinstance(frame, pd.DataFrame)
    assert len(frame) == len(dataset.arrow(name))


@pytest.mark.parametrize(
    ("ask", "says"),
    [
        ({"table": "sample"}, "no table is named"),
        ({"table": "files", "wide": True}, "only samples have a wide form"),
        ({"table": "files", "since": "2024-03-01T08:00:00Z"}, "no column 'time'"),
        ({"table": "events", "signal": "heart_rate"}, "no column 'signal'"),
        ({"table": "heart_rate", "signal": "power"}, "holds one signal already"),
        ({"signal": "pulse"}, "no signal is named 'pulse'"),
        ({"since": "2024-03-01T08:00:00"}, "does not say in which zone"),
        ({"until": "yesterday"}, "is no instant"),
        ({"since": "2024-03-01T08:00:00\udcff"}, "is no instant"),
        ({"since": "2024-03-01T08:00:00Z", "until": "2024-03-01T09:00:00+01:00"}, "is not before until"),
    ],
)
def test_what_cannot_be_asked_is_refused_in_words(ask: dict[str, object], says: str, dataset: Dataset) -> None:
    with pytest.raises(VambraceError, match=says):
        dataset.arrow(**ask)  # type: ignore[arg-type]


@pytest.mark.parametrize("name", ["samples", "files", "pulse"])
def test_signal_gives_signals_and_nothing_else(name: str, dataset: Dataset) -> None:
    with pytest.raises(VambraceError, match=f"no signal is named '{name}'"):
        dataset.signal(name)


def test_a_folder_that_is_no_dataset_is_refused(tmp_path: Path) -> None:
    with pytest.raises(VambraceError, match="no dataset"):
        open_dataset(tmp_path)


def test_summary_counts_what_stands(dataset: Dataset) -> None:
    summary = dataset.summary()
    assert summary.samples_by_signal["heart_rate"] == len(RATES)
    assert summary.files_by_status == {"converted": 1}
    assert summary.to_dict()["first_time"] == "2024-03-01T08:00:00.000000Z"
