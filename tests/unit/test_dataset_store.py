"""The dataset folder: who may open and write it, what the ledger says, and what other tools find in it."""

from __future__ import annotations

import contextlib
import dataclasses
import datetime as dt
import itertools
import json
import os
import subprocess
import sys
import threading
from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from converted import digest
from datasets import START_US, FaultyFiles, Made, entry, rows_of, sha
from vambrace.dataset import DERIVED, TABLES, FindingRow, Occurrence, Record, Store
from vambrace.errors import VambraceError
from vambrace.schema import SCHEMA_VERSION, SIGNALS


@contextlib.contextmanager
def dataset(folder: Path) -> Iterator[Store]:
    """Give a store that is being written; its tables are rebuilt at the end. Nothing waits for the disk."""
    store = Store.begin(folder, FaultyFiles())
    with store.writing():
        yield store
        store.rebuild()


def ledger(store: Store) -> list[tuple[str, str, str | None]]:
    return [(row["path"], row["status"], row["reason"]) for row in store.read_table("files").to_pylist()]


# -- opening ---------------------------------------------------------------------------------------------------------


def test_a_folder_that_was_begun_is_an_empty_dataset_with_all_columns(tmp_path: Path) -> None:
    Store.begin(tmp_path / "a/b")
    store = Store.open(tmp_path / "a/b")
    assert list(store.records()) == []
    assert store.shards() == []
    for name in DERIVED:
        table = store.read_table(name)
        assert table.schema == TABLES[name]
        assert table.num_rows == 0


def test_every_table_has_its_columns_and_types_even_without_rows(tmp_path: Path) -> None:
    with dataset(tmp_path / "ds"):
        pass
    for name in DERIVED:
        table = pq.read_table(tmp_path / "ds/tables" / f"{name}.parquet")
        assert table.schema.remove_metadata().equals(TABLES[name])
        assert table.num_rows == 0
    # The contract's columns, copied from its table.
    assert TABLES["files"].names == [
        *("path", "root", "sha256", "bytes", "status", "reason", "recordings"),
        *("rows_read", "rows_kept", "rows_set_aside", "rows_outside", "rows_absent"),
    ]
    assert TABLES["set_aside"].names == ["recording", "record", "signal", "reason", "found", "time_text"]
    assert TABLES["events"].names == ["recording", "time", "kind", "text"]


def test_what_is_no_dataset_is_not_opened(tmp_path: Path) -> None:
    (tmp_path / "file").write_bytes(b"")
    for place in (tmp_path, tmp_path / "gone", tmp_path / "file"):
        with pytest.raises(VambraceError, match=r"this folder is no dataset\. Give the folder that"):
            Store.open(place)
    assert not (tmp_path / "gone").exists()


def test_a_folder_with_other_things_in_it_is_refused_and_left_as_it_is(tmp_path: Path) -> None:
    (tmp_path / "thesis.txt").write_bytes(b"words")
    with pytest.raises(VambraceError, match=r"not empty and is no dataset; it holds 'thesis\.txt'"):
        Store.begin(tmp_path)
    assert [path.name for path in tmp_path.iterdir()] == ["thesis.txt"]
    with pytest.raises(VambraceError, match="a file stands where the dataset should be"):
        Store.begin(tmp_path / "thesis.txt")


def test_a_newer_schema_is_refused_for_reading_and_writing(tmp_path: Path) -> None:
    Store.begin(tmp_path)
    path = tmp_path / "vambrace.json"
    said = json.loads(path.read_text("utf-8"))
    path.write_text(json.dumps({**said, "schema_version": str(int(SCHEMA_VERSION) + 1), "needs": "9.2.0", "new": 1}))
    before = path.read_bytes()
    for begin in (Store.open, Store.begin):
        with pytest.raises(VambraceError, match=r"needs vambrace >= 9\.2\.0\. Install that version"):
            begin(tmp_path)
    assert path.read_bytes() == before


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{",
        "[]",
        '{"schema_version": "one", "needs": "1"}',
        '{"needs": "1"}',
        '{"schema_version": "1", "needs": "x", "y": 1}',
    ],
)
def test_a_damaged_mark_is_told(tmp_path: Path, text: str) -> None:
    (tmp_path / "vambrace.json").write_text(text)
    with pytest.raises(VambraceError, match=r"vambrace\.json: the file that marks a dataset is damaged"):
        Store.open(tmp_path)


@pytest.mark.parametrize(
    ("name", "value"), [("generation", "3"), ("tables_current", "no"), ("state", 1), ("settings", [])]
)
def test_a_mark_with_wrong_types_is_damaged(tmp_path: Path, name: str, value: object) -> None:
    Store.begin(tmp_path)
    path = tmp_path / "vambrace.json"
    path.write_text(json.dumps({**json.loads(path.read_text("utf-8")), name: value}))
    with pytest.raises(VambraceError, match=f"{name} should be"):
        Store.open(tmp_path)


# -- writers and readers ---------------------------------------------------------------------------------------------


def test_nothing_is_written_outside_writing(tmp_path: Path) -> None:
    store = Store.begin(tmp_path)
    with pytest.raises(RuntimeError, match="only inside"):
        store.commit(entry("a", "b"), None)
    with pytest.raises(RuntimeError, match="only inside"):
        store.rebuild()


def test_a_second_writer_is_told_who_writes_and_waits_no_longer_than_asked(tmp_path: Path) -> None:
    store = Store.begin(tmp_path)
    program = (
        "import sys; from vambrace.dataset import Store; from vambrace.errors import VambraceError\n"
        "try:\n"
        "    with Store.begin(sys.argv[1]).writing(0.2): print('written')\n"
        "except VambraceError as error: print(error)"
    )
    command = [sys.executable, "-c", program, str(tmp_path)]
    with store.writing():
        told = subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout
        # A reader never waits.
        assert Store.open(tmp_path).read_table("files").num_rows == 0
        with pytest.raises(VambraceError, match="being written"), Store.open(tmp_path).writing(0):
            pass
    assert f"the dataset is being written by process {os.getpid()} on " in told
    assert "Wait until it has finished" in told
    assert subprocess.run(command, capture_output=True, text=True, timeout=60, check=True).stdout == "written\n"


def test_a_second_writer_that_waits_long_enough_goes_on(tmp_path: Path) -> None:
    store = Store.begin(tmp_path, FaultyFiles())
    inside, leave = threading.Event(), threading.Event()

    def first() -> None:
        with store.writing():
            inside.set()
            leave.wait(20)
            Made("a").commit(store)

    thread = threading.Thread(target=first)
    thread.start()
    assert inside.wait(20)
    threading.Timer(0.2, leave.set).start()
    second = Store.open(tmp_path)
    with second.writing(20):
        # It reads anew what the first has written.
        assert len(second.find(sha("a"))) == 1
        Made("b").commit(second)
    thread.join()
    assert len(list(Store.open(tmp_path).records())) == 2


def test_a_writer_that_was_killed_blocks_nobody(tmp_path: Path) -> None:
    Store.begin(tmp_path)
    program = (
        "import os, sys; from vambrace.dataset import Store\n"
        "with Store.open(sys.argv[1]).writing():\n"
        "    open(sys.argv[1] + '/samples/.part-1-1', 'w').close(); os._exit(9)"
    )
    done = subprocess.run([sys.executable, "-c", program, str(tmp_path)], timeout=60, check=False)
    assert done.returncode == 9
    assert (tmp_path / ".writer").exists()
    assert Store.open(tmp_path).read_table("files").num_rows == 0
    with Store.open(tmp_path).writing(0):
        assert not (tmp_path / "samples/.part-1-1").exists()
    assert not (tmp_path / ".writer").exists()


def test_readers_see_whole_sources_while_a_writer_replaces_them(tmp_path: Path) -> None:
    versions = [Made("a", settings={"zone": zone}) for zone in ("UTC", "Europe/Berlin")]
    with dataset(tmp_path / "ds") as store:
        versions[0].commit(store)
    done = threading.Event()
    errors: list[BaseException] = []

    def write() -> None:
        try:
            for turn in range(1, 25):
                with dataset(tmp_path / "ds") as store:
                    versions[turn % 2].commit(store)
        except BaseException as error:
            errors.append(error)
        finally:
            done.set()

    thread = threading.Thread(target=write)
    thread.start()
    seen = set()
    expected = {tuple((made.recording, k + 1, v) for k, v in enumerate(made.values())) for made in versions}
    while not done.is_set():
        reader = Store.open(tmp_path / "ds")
        found = tuple(rows_of(reader))
        assert found in expected
        seen.add(found)
        assert [row["status"] for row in reader.read_table("files").to_pylist()] == ["converted"]
        assert reader.read_table("set_aside").num_rows == 2
    thread.join()
    assert errors == []
    assert seen == expected


# -- what is kept ----------------------------------------------------------------------------------------------------


def test_a_committed_source_is_found_by_content_place_and_key(tmp_path: Path) -> None:
    made = Made("a", places=(("exports", "x.csv"), ("exports", "b/y.csv")))
    with dataset(tmp_path) as store:
        record = made.commit(store)
    store = Store.open(tmp_path)
    assert list(store.records()) == store.find(made.sha256) == store.find_entry("exports", "x.csv") == [record]
    assert record.occurrences == (Occurrence("exports", "b/y.csv"), Occurrence("exports", "x.csv"))
    assert store.find("0" * 64) == store.find_entry("exports", "other") == []
    assert rows_of(store) == [(made.recording, k + 1, v) for k, v in enumerate(made.values())]


def test_orphans_of_a_dead_run_are_swept_and_nothing_else(tmp_path: Path) -> None:
    with dataset(tmp_path) as store:
        Made("a").commit(store)
        Made("b").commit(store)
        Made("b", settings={"zone": "UTC"}).commit(store)
    before = digest(tmp_path)
    orphans = (
        "samples/.part-9-9",
        "samples/ffff.parquet",
        "aside/ffff.parquet",
        "superseded/ffff.parquet",
        ".part-1-2",
    )
    for name in (*orphans, "sources/.part-3-3", "superseded/ffff.aside.parquet", "tables/.part-4-4"):
        (tmp_path / name).write_bytes(b"half")
    (tmp_path / "samples/notes.txt").write_bytes(b"a person's own")
    with Store.open(tmp_path).writing():
        pass
    (tmp_path / "samples/notes.txt").unlink()
    assert digest(tmp_path) == before


def test_a_file_that_is_no_longer_what_was_committed_is_named(tmp_path: Path) -> None:
    with dataset(tmp_path) as store:
        record = Made("a").commit(store)
    aside = tmp_path / "aside" / f"{record.key}.parquet"
    aside.write_bytes(aside.read_bytes() + b"x")
    assert list(Store.open(tmp_path).verify()) == [(aside, "its bytes are not those that were committed")]
    (tmp_path / "tables/set_aside.parquet").unlink()
    with pytest.raises(VambraceError, match="not those that were committed"):
        Store.open(tmp_path).read_table("set_aside")


def test_stamps_that_do_not_fit_are_a_fault_of_the_caller(tmp_path: Path) -> None:
    with dataset(tmp_path) as store:
        made = Made("a")
        finished = made.written(tmp_path)
        with pytest.raises(ValueError, match="wait for the commit"):
            store.commit(made.record(finished), None)


def test_two_contents_whose_recordings_would_share_names_are_refused(tmp_path: Path) -> None:
    twin = Made("twin")
    with dataset(tmp_path) as store:
        record = twin.commit(store)
        empty = {"shard": None, "aside": None, "rows_read": 0, "rows_kept": 0, "rows_set_aside": 0}
        other = dataclasses.replace(record, key="0" * 64, sha256=record.sha256[:16] + "0" * 48, **empty)
        with pytest.raises(VambraceError, match="begins with the same 16 digits"):
            store.commit(other, None)
        assert list(store.records()) == [record]


# -- the ledger ------------------------------------------------------------------------------------------------------


def test_copies_are_duplicates_of_the_first_by_root_and_path(tmp_path: Path) -> None:
    with dataset(tmp_path) as store:
        record = Made("a", places=(("two", "a.csv"),)).commit(store)
        for root, path in (("one", "z.csv"), ("two", "Z.csv"), ("two", "a.csv")):
            record = store.add_occurrence(record, root, path)
    rows = Store.open(tmp_path).read_table("files").to_pylist()
    assert [(row["root"], row["path"], row["status"], row["reason"], row["rows_kept"]) for row in rows] == [
        ("one", "z.csv", "converted", None, 5),
        ("two", "Z.csv", "duplicate", "the same bytes as z.csv in one", 0),
        ("two", "a.csv", "duplicate", "the same bytes as z.csv in one", 0),
    ]
    (recording,) = Store.open(tmp_path).read_table("recordings").to_pylist()
    assert (recording["root"], recording["path"]) == ("one", "z.csv")
    with dataset(tmp_path) as store:
        record = store.drop_occurrence(record, "one", "z.csv")
    assert ledger(Store.open(tmp_path)) == [
        ("Z.csv", "converted", None),
        ("a.csv", "duplicate", "the same bytes as Z.csv"),
    ]


def test_the_last_place_of_a_source_cannot_be_dropped(tmp_path: Path) -> None:
    with dataset(tmp_path) as store:
        record = Made("a").commit(store)
        with pytest.raises(ValueError, match="last place"):
            store.drop_occurrence(record, "exports", "a.csv")


def test_a_newer_export_supersedes_and_the_old_one_can_be_read(tmp_path: Path) -> None:
    old, new = Made("old", rows=3), Made("new", rows=4)
    with dataset(tmp_path) as store:
        record = old.commit(store)
        new.commit(store, [record])
    store = Store.open(tmp_path)
    assert sorted(ledger(store), key=lambda line: line[1]) == [
        ("a.csv", "converted", None),
        ("a.csv", "superseded", f"a newer export takes its place (sha256 {new.sha256})"),
    ]
    assert rows_of(store) == [(new.recording, k + 1, v) for k, v in enumerate(new.values())]
    assert [row["recording"] for row in store.read_table("recordings").to_pylist()] == [new.recording]
    (kept,) = store.find_superseded(old.sha256)
    assert kept == record
    shard = pq.read_table(tmp_path / "superseded" / f"{old.key}.parquet")
    assert shard["value"].to_pylist() == old.values()
    # Nothing warns: it is settled which of the two counts.
    assert "same-path" not in store.read_table("findings")["rule"].to_pylist()


def test_the_same_path_with_other_bytes_keeps_both_and_warns(tmp_path: Path) -> None:
    with dataset(tmp_path) as store:
        Made("monday").commit(store)
        Made("tuesday").commit(store)
    store = Store.open(tmp_path)
    assert [status for _, status, _ in ledger(store)] == ["converted", "converted"]
    findings = [row for row in store.read_table("findings").to_pylist() if row["rule"] == "same-path"]
    assert [(row["severity"], row["path"], row["count"]) for row in findings] == [("warning", "a.csv", 2)]
    assert len(rows_of(store)) == 10


def test_other_settings_take_the_place_of_the_old_and_leave_one_line(tmp_path: Path) -> None:
    versions = [Made("a", settings={"zone": zone}) for zone in (None, "UTC", "Asia/Kathmandu")]
    for made in (*versions, versions[0]):
        with dataset(tmp_path) as store:
            made.commit(store)
        store = Store.open(tmp_path)
        assert [status for _, status, _ in ledger(store)] == ["converted"]
        assert [record.key for record in store.find(made.sha256)] == [made.key]
        assert rows_of(store) == [(made.recording, k + 1, v) for k, v in enumerate(made.values())]
    # Back at the first: it stands once, among the current ones.
    assert not (tmp_path / "superseded" / f"{versions[0].key}.parquet").exists()
    assert (tmp_path / "superseded" / f"{versions[1].key}.parquet").exists()


def test_an_entry_that_can_be_read_at_last_takes_the_place_of_its_refusal(tmp_path: Path) -> None:
    with dataset(tmp_path) as store:
        store.commit(entry("exports", "a.csv", reason="it cannot be read: Permission denied."), None)
        store.commit(entry("exports", "pipe"), None)
    with dataset(tmp_path) as store:
        Made("a").commit(store)
    assert ledger(Store.open(tmp_path)) == [("a.csv", "converted", None), ("pipe", "rejected", "it is a pipe.")]


def test_what_records_say_stands_in_the_tables(tmp_path: Path) -> None:
    made = Made("a")
    with dataset(tmp_path) as store:
        made.commit(store)
        store.commit(entry("exports", "b.txt", "ignored", "it matches the ignore pattern *.txt"), None)
    tables = {name: pq.read_table(tmp_path / f"tables/{name}.parquet").to_pylist() for name in DERIVED}
    assert [row["status"] for row in tables["files"]] == ["converted", "ignored"]
    (recording,) = tables["recordings"]
    assert recording["conversions"] == ["heart_rate: Hz to /min, × 60"]
    assert recording["start_time"].timestamp() == START_US / 1e6
    assert (recording["serial"], recording["complete"], recording["sha256"]) == ("S1", True, made.sha256)
    assert [(row["signal"], row["n"], row["n_set_aside"], row["field_in_source"]) for row in tables["channels"]] == [
        ("heart_rate", 5, 2, "hr"),
        (None, 3, 0, "mood"),
    ]
    assert [(row["record"], row["reason"], row["found"]) for row in tables["set_aside"]] == [
        (100, "outside-domain", "400"),
        (101, "outside-domain", "401"),
    ]
    assert [(row["kind"], row["text"]) for row in tables["events"]] == [("lap", "lap 1")]
    assert [(row["rule"], row["path"], row["count"]) for row in tables["findings"]] == [("odd-clock", "a.csv", 2)]


def test_tables_that_are_missing_stale_or_damaged_are_built_anew(tmp_path: Path) -> None:
    with dataset(tmp_path) as store:
        Made("a").commit(store)
    whole = digest(tmp_path)
    for name in (*(f"tables/{table}.parquet" for table in DERIVED), "datapackage.json"):
        (tmp_path / name).unlink()
        with Store.open(tmp_path).writing() as store:
            assert store.rebuild()
            assert not store.rebuild()
        assert {**digest(tmp_path), "vambrace.json": ""} == {**whole, "vambrace.json": ""}
    (tmp_path / "tables/files.parquet").write_bytes(b"PAR1")
    assert Store.open(tmp_path).read_table("files").num_rows == 1
    with Store.open(tmp_path).writing() as store:
        Made("b").commit(store)
        # The old tables are stale from the first change on, and readers are not shown them.
        assert Store.open(tmp_path).read_table("files").num_rows == 2
        assert Store.open(tmp_path).read_table("set_aside").num_rows == 4


def test_nothing_changes_where_nothing_is_new(tmp_path: Path) -> None:
    with dataset(tmp_path) as store:
        record = Made("a").commit(store)
    before = digest(tmp_path)
    with Store.open(tmp_path).writing() as store:
        assert store.add_occurrence(record, "exports", "a.csv") == record
        assert not store.rebuild()
    assert digest(tmp_path) == before


def test_the_order_of_arrival_leaves_no_trace(tmp_path: Path) -> None:
    made = [
        Made("a", places=(("r", "b"),)),
        Made("b", places=(("r", "a"), ("q", "z"))),
        Made("a", places=(("r", "a copy of b"),)),
        Made("c", rows=0, aside=0, places=(("r", "c"),)),
    ]
    pipe = entry("r", "pipe")
    results = set()
    for number, order in enumerate(itertools.permutations([*made, pipe])):
        if number % 11:
            continue
        folder = tmp_path / f"{number}"
        with dataset(folder) as store:
            for one in order:
                if isinstance(one, Record):
                    store.commit(one, None)
                else:
                    one.commit(store, ops=FaultyFiles())
        results.add(json.dumps(digest(folder), sort_keys=True))
    assert len(results) == 1


def test_many_findings_and_recordings_stand_in_order(tmp_path: Path) -> None:
    made = Made("a")
    with dataset(tmp_path) as store:
        finished = made.written(tmp_path)
        record = made.record(finished)
        findings = tuple(FindingRow(rule, "note", f"{k}") for k, rule in enumerate("cabca"))
        store.commit(dataclasses.replace(record, findings=findings), finished)
    rows = Store.open(tmp_path).read_table("findings").to_pylist()
    assert [(row["rule"], row["message"]) for row in rows] == [
        ("a", "1"),
        ("a", "4"),
        ("b", "2"),
        ("c", "0"),
        ("c", "3"),
    ]


# -- other tools -----------------------------------------------------------------------------------------------------


def test_the_descriptor_names_what_is_there(tmp_path: Path) -> None:
    made = [Made("a"), Made("b", places=(("exports", "b.csv"),))]
    with dataset(tmp_path) as store:
        for one in made:
            one.commit(store)
    package = json.loads((tmp_path / "datapackage.json").read_text("utf-8"))
    assert package["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    resources = {resource["name"]: resource for resource in package["resources"]}
    assert list(resources) == ["samples", *DERIVED]
    assert [tmp_path / path for path in resources["samples"]["path"]] == Store.open(tmp_path).shards()
    for name, resource in resources.items():
        assert [one["name"] for one in resource["schema"]["fields"]] == TABLES[name].names
        paths = resource["path"] if isinstance(resource["path"], list) else [resource["path"]]
        assert all((tmp_path / path).is_file() for path in paths)
    assert {name: one["unit"] for name, one in package["vambrace"]["signals"].items()} == {
        name: signal.unit for name, signal in SIGNALS.items()
    }


def test_the_descriptor_of_a_dataset_without_samples_leaves_them_out(tmp_path: Path) -> None:
    with dataset(tmp_path):
        pass
    package = json.loads((tmp_path / "datapackage.json").read_text("utf-8"))
    assert [resource["name"] for resource in package["resources"]] == list(DERIVED)


def test_the_descriptor_is_valid_for_frictionless_and_its_keys_hold(tmp_path: Path) -> None:
    """Checked by the Frictionless project's own tool; it reads rows as CSV, since its Parquet reader needs more."""
    frictionless = pytest.importorskip("frictionless", reason="needs the package frictionless", exc_type=ImportError)
    with dataset(tmp_path) as store:
        Made("a").commit(store)
        Made("b", places=(("exports", "b.csv"),)).commit(store)
        store.commit(entry("exports", "pipe"), None)
    descriptor = json.loads((tmp_path / "datapackage.json").read_text("utf-8"))
    # It raises for a descriptor that is against the specification.
    assert len(frictionless.Package.from_descriptor(descriptor).resources) == 1 + len(DERIVED)
    with pytest.raises(frictionless.FrictionlessException):
        frictionless.Package.from_descriptor({**descriptor, "resources": [{"path": 3}]})
    inline = {**descriptor, "resources": [inlined(tmp_path, resource) for resource in descriptor["resources"]]}
    report = frictionless.Package.from_descriptor(inline).validate()
    assert report.flatten(["title", "note"]) == []
    # The check can fail: a sample of a recording that is nowhere.
    samples = inline["resources"][0]["data"]
    samples[1][0] = "nowhere.1"
    assert not frictionless.Package.from_descriptor(inline).validate().valid


def plain(value: object) -> object:
    return value.strftime("%Y-%m-%dT%H:%M:%SZ") if isinstance(value, dt.datetime) else value


def inlined(folder: Path, resource: dict[str, object]) -> dict[str, object]:
    """Return a resource with its rows in place of its paths, as texts and numbers."""
    paths = resource["path"] if isinstance(resource["path"], list) else [resource["path"]]
    table = pa.concat_tables([pq.read_table(folder / str(path)) for path in paths])
    rows: list[list[object]] = [table.column_names]
    for row in table.to_pylist():
        rows.append([plain(value) for value in row.values()])
    kept = {key: value for key, value in resource.items() if key not in ("path", "format", "mediatype")}
    return {**kept, "data": rows}
