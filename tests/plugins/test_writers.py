"""Writers against general-purpose readers: what is written reads back the same in pandas, pyarrow and Python's csv."""

from __future__ import annotations

import csv
import io
from pathlib import Path

import pandas as pd
import pyarrow as pa
import pyarrow.feather as feather
import pyarrow.parquet as pq
import pytest

from small_dataset import write_dataset
from vambrace import registry
from vambrace.errors import VambraceError
from vambrace.output import open_dataset

SCHEMA = pa.schema(
    [
        ("word", pa.dictionary(pa.int32(), pa.string())),
        ("time", pa.timestamp("us", "UTC")),
        ("value", pa.float64()),
        ("n", pa.int64()),
        ("flag", pa.bool_()),
        ("list", pa.list_(pa.string())),
    ]
)
ROWS = [
    {"word": "a", "time": 0, "value": 0.1, "n": 1, "flag": True, "list": ["x", 'say "y"']},
    {"word": 'b,"quoted"', "time": 1_709_280_000_123_456, "value": 1e300, "n": -5, "flag": None, "list": []},
    {"word": None, "time": None, "value": None, "n": None, "flag": False, "list": None},
    {"word": "line\nbreak", "time": -1, "value": -0.0, "n": 2**62, "flag": True, "list": ["ü"]},
    {"word": "", "time": 5, "value": 72.0, "n": 0, "flag": True, "list": [""]},
]


def batches() -> list[pa.RecordBatch]:
    """Return the rows in two batches with dictionaries of their own."""
    return [pa.RecordBatch.from_pylist(part, SCHEMA) for part in (ROWS[:2], ROWS[2:])]


def write(name: str, rows: list[pa.RecordBatch]) -> bytes:
    target = io.BytesIO()
    registry.load().writers[name].write(target, SCHEMA, iter(rows))
    return target.getvalue()


def plain(table: pa.Table) -> pa.Table:
    return table.set_column(0, "word", table["word"].cast(pa.string()))


@pytest.mark.parametrize("name", ["parquet", "arrow"])
def test_reads_back_identical(name: str) -> None:
    data = io.BytesIO(write(name, batches()))
    table = pq.read_table(data) if name == "parquet" else feather.read_table(data, memory_map=False)
    assert table.schema.remove_metadata().equals(SCHEMA)
    assert plain(table).equals(plain(pa.Table.from_batches(batches(), SCHEMA).unify_dictionaries()))


@pytest.mark.parametrize("name", ["parquet", "arrow", "csv"])
def test_no_rows_still_give_columns(name: str) -> None:
    data = write(name, [])
    if name == "csv":
        assert data == b"word,time,value,n,flag,list\n"
        return
    table = pq.read_table(io.BytesIO(data)) if name == "parquet" else feather.read_table(io.BytesIO(data))
    assert table.schema.remove_metadata().equals(SCHEMA)


def test_csv_cells_are_those_of_the_contract() -> None:
    # contract, samples: "times ISO 8601 with Z and six decimals, null empty, lists as JSON"
    rows = list(csv.reader(io.StringIO(write("csv", batches()).decode(), newline="")))
    assert rows[1] == ["a", "1970-01-01T00:00:00.000000Z", "0.1", "1", "true", '["x", "say \\"y\\""]']
    assert rows[2] == ['b,"quoted"', "2024-03-01T08:00:00.123456Z", "1e+300", "-5", "", "[]"]
    assert rows[3] == ["", "", "", "", "false", ""]
    assert rows[4][:3] == ["line\nbreak", "1969-12-31T23:59:59.999999Z", "-0.0"]


def test_csv_floats_read_back_to_the_last_bit() -> None:
    rows = csv.DictReader(io.StringIO(write("csv", batches()).decode(), newline=""))
    assert [float(row["value"]) for row in rows if row["value"]] == [0.1, 1e300, -0.0, 72.0]
    frame = pd.read_csv(io.BytesIO(write("csv", batches())))
    assert frame["n"].dropna().astype("int64").tolist() == [1, -5, 2**62, 0]


@pytest.mark.parametrize("name", ["parquet", "csv"])
def test_the_cut_of_batches_leaves_no_trace(name: str) -> None:
    # A dictionary column keeps its words in the order of use, however the rows are cut.
    whole = [pa.Table.from_batches(batches(), SCHEMA).unify_dictionaries().combine_chunks().to_batches()[0]]
    assert write(name, whole) == write(name, batches())


def test_export_takes_the_writer_from_the_suffix_and_leaves_nothing_half_done(tmp_path: Path) -> None:
    dataset = open_dataset(write_dataset(tmp_path / "ds"))
    rows = dataset.export(tmp_path / "x.parquet")
    assert rows == pq.read_metadata(tmp_path / "x.parquet").num_rows == len(dataset.arrow())
    for target, says in (("x.docx", "no writer is installed"), ("x", "no suffix"), ("no/x.csv", "does not exist")):
        with pytest.raises(VambraceError, match=says):
            dataset.export(tmp_path / target)
    with pytest.raises(VambraceError, match="inside the dataset"):
        dataset.export(tmp_path / "ds" / "samples" / "x.parquet")
    assert sorted(path.name for path in tmp_path.iterdir()) == ["ds", "x.parquet"]
