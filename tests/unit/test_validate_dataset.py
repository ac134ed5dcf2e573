"""`validate` on datasets: one thing is broken in each, and that is found; repair builds derived tables and no more."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq
import pytest

import vambrace
from converted import digest
from seeded_faults import OPTIONS, clean, seeded
from vambrace.api import convert, find_faults
from vambrace.cli.app import run
from vambrace.dataset.records import record_from_json, record_to_json
from vambrace.dataset.store import Store

Rows = Callable[[pa.Table], pa.Table]


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made")
    (folder / "in").mkdir()
    (folder / "in" / "walk.csv").write_bytes(clean(1).to_bytes())
    (folder / "in" / "aside.csv").write_bytes(seeded("a word for a number", 1).to_bytes())
    convert([folder / "in"], folder / "ds", options=OPTIONS)
    return folder / "ds"


@pytest.fixture
def dataset(made: Path, tmp_path: Path) -> Path:
    """Return a copy that may be broken."""
    for path in made.rglob("*"):
        target = tmp_path / "ds" / path.relative_to(made)
        if path.is_dir():
            target.mkdir(parents=True, exist_ok=True)
        else:
            target.parent.mkdir(parents=True, exist_ok=True)
            target.write_bytes(path.read_bytes())
    return tmp_path / "ds"


def broken(dataset: Path) -> list[tuple[str, str | None, int]]:
    """Return the breaches of the contract: rule, signal, count."""
    found = find_faults(dataset).findings
    rows = [(each.rule, each.signal, each.count) for each in found if each.rule.startswith("schema-")]
    return sorted(rows, key=str)


def walk_key(dataset: Path) -> str:
    return next(each.key for each in Store.open(dataset).records() if each.occurrences[0].path == "walk.csv")


def rewritten(dataset: Path, change: Rows, *, stamped: bool = True) -> None:
    """Change a shard's rows; with `stamped` its record vouches for the new bytes, so that only the rows tell."""
    path = dataset / "samples" / f"{walk_key(dataset)}.parquet"
    table = pq.read_table(path)
    pq.write_table(change(table), path)
    if stamped:
        _restamp(dataset, path)


def _restamp(dataset: Path, shard: Path) -> None:
    record = dataset / "sources" / f"{shard.stem}.json"
    document = json.loads(record.read_text("utf-8"))
    document["shard"]["sha256"] = hashlib.sha256(shard.read_bytes()).hexdigest()
    record.write_bytes(record_to_json(record_from_json(json.dumps(document).encode(), "")))
    store = Store.open(dataset)
    with store.writing():
        store.rebuild()


def replaced(name: str, values: Callable[[pa.ChunkedArray], object]) -> Rows:
    """Return a change of one column; its type and the metadata stay."""

    def change(table: pa.Table) -> pa.Table:
        at = table.schema.get_field_index(name)
        field = table.schema.field(at)
        array = pa.chunked_array(values(table[name])) if isinstance(values(table[name]), list) else values(table[name])
        return table.set_column(at, field, array.cast(field.type))

    return change


def with_first(name: str, value: object, signal: str = "power") -> Rows:
    """Return a change of the first row of a signal."""

    def values(table: pa.Table) -> pa.Table:
        at = pc.index(table["signal"].cast(pa.string()), signal).as_py()
        at_field = table.schema.get_field_index(name)
        field = table.schema.field(at_field)
        plain = table[name].cast(pa.string()) if pa.types.is_dictionary(field.type) else table[name]
        said = plain.to_pylist()
        said[at] = value
        array = pa.array(said, plain.type)
        return table.set_column(
            at_field, field, array.dictionary_encode() if pa.types.is_dictionary(field.type) else array
        )

    return values


def test_a_sound_dataset_has_no_breach(made: Path) -> None:
    assert broken(made) == []
    found = find_faults(made).findings
    assert [(each.rule, each.path) for each in found] == [("not-a-number", f"{made}!aside.csv")]
    assert list(vambrace.validate(vambrace.open_dataset(made))["rule"]) == ["not-a-number"]


@pytest.mark.parametrize(
    ("change", "expected"),
    [
        (with_first("unit", "W/kg"), [("schema-unit", "power", 1)]),
        (with_first("value", -5.0), [("schema-value", "power", 1), ("schema-value", "power", 1)]),
        (with_first("value", None), [("schema-rows", "power", 1)]),
        (with_first("quality", "suspect"), [("schema-value", "power", 1)]),
        (with_first("signal", "mood"), [("schema-key", None, 1), ("schema-rows", "power", 1)]),
        (with_first("recording", "f" * 16 + ".1"), [("schema-key", None, 1)]),
        (lambda table: table.slice(0, table.num_rows - 1), [("schema-rows", "step_count", 1)]),
        (lambda table: table.drop_columns(["source_flag"]), [("schema-columns", None, 1)]),
        (lambda table: table.append_column("mood", table["value"]), [("schema-columns", None, 1)]),
        (lambda table: table.replace_schema_metadata(None), [("schema-version", None, 1)]),
    ],
)
def test_rows_that_break_the_contract(dataset: Path, change: Rows, expected: list[tuple[str, str | None, int]]) -> None:
    rewritten(dataset, change)
    found = broken(dataset)
    missing = [each for each in expected if each not in found]
    assert not missing, found
    others = {rule for rule, _, _ in found} - {rule for rule, _, _ in expected}
    # A row that left its channel is missing there, and one without a value is judged no further.
    assert others <= {"schema-rows", "schema-order", "schema-value"}


def test_rows_out_of_order(dataset: Path) -> None:
    def swap(table: pa.Table) -> pa.Table:
        at = pc.index(table["signal"].cast(pa.string()), "power").as_py()
        rows = list(range(table.num_rows))
        rows[at + 4], rows[at + 5] = rows[at + 5], rows[at + 4]
        return table.take(rows)

    rewritten(dataset, swap)
    assert broken(dataset) == [("schema-order", "power", 1)]


def test_an_instant_outside_its_recording(dataset: Path) -> None:
    def later(table: pa.Table) -> pa.Table:
        at = table.num_rows - 1
        times = table["time"].cast(pa.int64()).to_pylist()
        times[at] += 10**9
        return table.set_column(
            2, table.schema.field("time"), pa.array(times, pa.int64()).cast(table.schema.field("time").type)
        )

    rewritten(dataset, later)
    assert broken(dataset) == [("schema-instant", "step_count", 1)]


def test_bytes_that_were_not_committed(dataset: Path) -> None:
    rewritten(dataset, lambda table: table, stamped=False)
    assert broken(dataset) == [("schema-hash", None, 1)]


@pytest.mark.parametrize("folder", ["samples", "aside"])
def test_a_file_that_is_gone(dataset: Path, folder: str) -> None:
    path = next((dataset / folder).glob("*.parquet"))
    path.unlink()
    found = broken(dataset)
    assert ("schema-hash", None, 1) in found
    if folder == "samples":
        assert found == [("schema-hash", None, 1)]


def test_a_file_that_nobody_named(dataset: Path) -> None:
    (dataset / "samples" / f"{'0' * 64}.parquet").write_bytes(b"PAR1")
    assert broken(dataset) == [("schema-key", None, 1)]


def test_a_record_that_is_damaged_hides_no_other_fault(dataset: Path) -> None:
    rewritten(dataset, with_first("unit", "W/kg"))
    other = next(path for path in (dataset / "sources").glob("*.json") if path.stem != walk_key(dataset))
    other.write_text("{", "utf-8")
    # Its rows set aside are now files that no record names.
    found = {rule for rule, _, _ in broken(dataset)}
    assert found == {"schema-record", "schema-unit", "schema-key"}


def test_a_record_whose_rows_are_not_accounted_for(dataset: Path) -> None:
    path = dataset / "sources" / f"{walk_key(dataset)}.json"
    document = json.loads(path.read_text("utf-8"))
    document["rows_kept"] -= 1
    path.write_text(json.dumps(document), "utf-8")
    assert "schema-record" in {rule for rule, _, _ in broken(dataset)}


def test_a_record_whose_numbers_do_not_add_up(dataset: Path) -> None:
    path = dataset / "sources" / f"{walk_key(dataset)}.json"
    document = json.loads(path.read_text("utf-8"))
    document["channels"][0]["n"] -= 1
    path.write_bytes(record_to_json(record_from_json(json.dumps(document).encode(), "")))
    rules = [rule for rule, _, _ in broken(dataset)]
    assert rules.count("schema-rows") == 2
    assert "schema-stale" in rules


def test_a_record_under_another_key(dataset: Path) -> None:
    path = dataset / "sources" / f"{walk_key(dataset)}.json"
    document = json.loads(path.read_text("utf-8"))
    document["settings"]["zone"] = "UTC"
    path.write_bytes(record_to_json(record_from_json(json.dumps(document).encode(), "")))
    assert "schema-record" in {rule for rule, _, _ in broken(dataset)}


@pytest.mark.parametrize("name", ["files", "recordings", "channels", "set_aside", "events", "findings"])
def test_a_derived_table_that_is_gone_or_another_is_repaired(dataset: Path, name: str, made: Path) -> None:
    path = dataset / "tables" / f"{name}.parquet"
    table = pq.read_table(path)
    extra = pa.Table.from_pylist([{}], schema=table.schema)
    pq.write_table(pa.concat_tables([table, extra]), path)
    assert broken(dataset) == [("schema-stale", None, 1)]
    path.unlink()
    assert broken(dataset) == [("schema-stale", None, 1)]
    assert run(["validate", str(dataset), "--repair"]) == 1
    assert broken(dataset) == []
    whole, mended = digest(made), digest(dataset)
    assert {path for path in whole if whole[path] != mended[path]} <= {"vambrace.json"}


def test_a_descriptor_that_is_damaged_is_repaired(dataset: Path) -> None:
    (dataset / "datapackage.json").write_text("{}", "utf-8")
    assert broken(dataset) == [("schema-package", None, 1)]
    assert find_faults(dataset, repair=True).repaired == (str(dataset),)
    assert broken(dataset) == []


def test_repair_leaves_what_is_no_derived_table(dataset: Path) -> None:
    stray = dataset / "samples" / f"{'0' * 64}.parquet"
    stray.write_bytes(b"PAR1")
    rewritten_shard = dataset / "samples" / f"{walk_key(dataset)}.parquet"
    rewritten_shard.write_bytes(rewritten_shard.read_bytes() + b"x")
    before = {path: hash_ for path, hash_ in digest(dataset).items() if not path.startswith("tables")}
    find_faults(dataset, repair=True)
    after = {path: hash_ for path, hash_ in digest(dataset).items() if not path.startswith("tables")}
    assert {path for path in before if before[path] != after.get(path)} <= {"vambrace.json"}
    assert {rule for rule, _, _ in broken(dataset)} == {"schema-hash", "schema-key"}


def test_thresholds_judge_a_dataset_anew(made: Path, tmp_path: Path) -> None:
    rules = tmp_path / "rules.toml"
    rules.write_text("[outside-plausible.power]\nhigh = 100\n", "utf-8")
    found = find_faults(made, rules=rules).findings
    assert {(each.rule, each.signal) for each in found if each.path == f"{made}!walk.csv"} == {
        ("outside-plausible", "power")
    }
