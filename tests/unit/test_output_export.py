"""Exports as files: what stands at the target before, where they may stand, and datasets of several shards."""

from __future__ import annotations

import csv
import hashlib
from pathlib import Path

import pyarrow as pa
import pytest

from datasets import Made
from vambrace.dataset import Store
from vambrace.errors import VambraceError
from vambrace.output import Dataset, open_dataset

SOURCES = [Made(f"source {n}", rows=n, places=((f"exports{n}", f"{n}.csv"),)) for n in range(1, 8)]


@pytest.fixture(scope="module")
def dataset(tmp_path_factory: pytest.TempPathFactory) -> Dataset:
    folder = tmp_path_factory.mktemp("several") / "ds"
    store = Store.begin(folder)
    with store.writing():
        for source in SOURCES:
            source.commit(store)
        store.rebuild()
    return open_dataset(folder)


def expected() -> list[tuple[str, int, float]]:
    rows = []
    for one in SOURCES:
        rows += [(one.recording, n + 1, value) for n, value in enumerate(one.values())]
    return sorted(rows)


@pytest.mark.parametrize("suffix", [".csv", ".parquet", ".arrow"])
def test_several_shards_make_one_sorted_table(suffix: str, dataset: Dataset, tmp_path: Path) -> None:
    target = tmp_path / f"x{suffix}"
    assert dataset.export(target) == len(expected())
    if suffix == ".csv":
        with target.open(newline="", encoding="utf-8") as stream:
            found = [(row["recording"], int(row["record"]), float(row["value"])) for row in csv.DictReader(stream)]
    else:
        table = pa.parquet.read_table(target) if suffix == ".parquet" else pa.ipc.open_file(target).read_all()
        words = table["recording"].cast(pa.string()).to_pylist()
        found = list(zip(words, table["record"].to_pylist(), table["value"].to_pylist(), strict=True))
    assert found == expected()


def test_same_export_gives_the_same_bytes(dataset: Dataset, tmp_path: Path) -> None:
    for suffix in (".csv", ".parquet", ".arrow"):
        paths = [tmp_path / f"{n}{suffix}" for n in range(2)]
        for path in paths:
            dataset.export(path)
        assert paths[0].read_bytes() == paths[1].read_bytes()


def test_an_earlier_export_is_replaced(dataset: Dataset, tmp_path: Path) -> None:
    target = tmp_path / "x.csv"
    target.write_text("an earlier export")
    dataset.export(target, table="files")
    assert target.read_text().startswith("path,root,sha256")
    assert [path.name for path in tmp_path.iterdir()] == ["x.csv"]


def test_a_source_of_the_dataset_is_never_written_over(dataset: Dataset, tmp_path: Path) -> None:
    one = SOURCES[2]
    target = tmp_path / "raw.csv"
    target.write_text(one.text)
    assert hashlib.sha256(target.read_bytes()).hexdigest() == one.sha256
    with pytest.raises(VambraceError, match=r"is a source of this dataset \(3\.csv\)"):
        dataset.export(target)
    assert target.read_text() == one.text


def test_nothing_is_written_into_the_dataset_whatever_way_leads_there(tmp_path: Path) -> None:
    folder = tmp_path / "ds"
    Store.begin(folder)
    (folder / "samples").mkdir()
    (tmp_path / "way").symlink_to(folder / "samples")
    for target in (folder / "x.csv", folder / "samples" / "x.parquet", tmp_path / "way" / "x.csv"):
        with pytest.raises(VambraceError, match="inside the dataset"):
            open_dataset(folder).export(target)
    (tmp_path / "x.csv").symlink_to(folder / "vambrace.json")
    with pytest.raises(VambraceError, match="inside the dataset"):
        open_dataset(folder).export(tmp_path / "x.csv")


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("x.xlsx", "no writer is installed for '.xlsx'.*.arrow, .csv, .parquet"),
        ("x", "no suffix"),
        (".csv", "no suffix"),
        ("none/x.csv", "folder does not exist"),
        ("folder.csv", "a folder stands there"),
        ("file/x.csv", "folder does not exist"),
    ],
)
def test_a_place_that_cannot_be_is_refused_in_words(name: str, says: str, dataset: Dataset, tmp_path: Path) -> None:
    (tmp_path / "folder.csv").mkdir()
    (tmp_path / "file").touch()
    with pytest.raises(VambraceError, match=says):
        dataset.export(tmp_path / name)
    assert sorted(path.name for path in tmp_path.iterdir()) == ["file", "folder.csv"]


def test_a_suffix_in_capitals_is_the_same_suffix(dataset: Dataset, tmp_path: Path) -> None:
    assert dataset.export(tmp_path / "X.CSV", table="files") == len(SOURCES)
    assert (tmp_path / "X.CSV").read_text().count("\n") == len(SOURCES) + 1


def test_a_refused_table_leaves_what_stood_there(dataset: Dataset, tmp_path: Path) -> None:
    target = tmp_path / "x.csv"
    target.write_text("an earlier export")
    with pytest.raises(VambraceError):
        dataset.export(target, table="files", since="2031-03-04T09:00:00Z")
    assert target.read_text() == "an earlier export"


def test_a_damaged_shard_gives_no_half_export(tmp_path: Path) -> None:
    store = Store.begin(tmp_path / "ds")
    with store.writing():
        for source in SOURCES:
            source.commit(store)
        store.rebuild()
    last = store.shards()[-1]
    whole = bytearray(last.read_bytes())
    whole[len(whole) // 2] ^= 1
    last.write_bytes(whole)
    (tmp_path / "x.csv").write_text("an earlier export")
    with pytest.raises(VambraceError, match=last.name):
        open_dataset(tmp_path / "ds").export(tmp_path / "x.csv")
    assert (tmp_path / "x.csv").read_text() == "an earlier export"
    assert sorted(path.name for path in tmp_path.iterdir()) == ["ds", "x.csv"]


def test_an_open_dataset_sees_what_is_added(tmp_path: Path) -> None:
    store = Store.begin(tmp_path / "ds")
    opened = open_dataset(tmp_path / "ds")
    assert len(opened.arrow()) == 0
    with store.writing():
        SOURCES[4].commit(store)
        store.rebuild()
    assert len(opened.arrow()) == 5
    assert opened.summary().samples_by_signal == {"heart_rate": 5}
