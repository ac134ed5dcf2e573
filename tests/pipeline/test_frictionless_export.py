"""The Frictionless framework reads our CSV exports by the table schemas that we give, and refuses others."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from seeded_faults import OPTIONS, clean, seeded
from vambrace.api import convert
from vambrace.output import open_dataset

frictionless = pytest.importorskip("frictionless", reason="needs the package frictionless", exc_type=ImportError)
TABLES = ("samples", "files", "recordings", "channels", "set_aside", "findings", "position", "heart_rate")


@pytest.fixture(scope="module")
def dataset(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("made")
    (folder / "in").mkdir()
    (folder / "in" / "walk.csv").write_bytes(clean(1).to_bytes())
    for name in ("a spike", "a gap", "a word for a number"):
        (folder / "in" / f"{name.replace(' ', '-')}.csv").write_bytes(seeded(name, 1).to_bytes())
    convert([folder / "in"], folder / "ds", options=OPTIONS)
    return folder / "ds"


def report(folder: Path, name: str, schema: dict[str, object]) -> list[list[str]]:
    """Return what the framework finds wrong in an export under a schema."""
    resource = {"name": "table", "path": f"{name}.csv", "format": "csv", "schema": schema}
    found = frictionless.Resource.from_descriptor(resource, basepath=str(folder)).validate()
    return list(found.flatten(["type", "note"]))


@pytest.mark.parametrize("table", TABLES)
def test_an_export_holds_by_its_table_schema(dataset: Path, tmp_path: Path, table: str) -> None:
    opened = open_dataset(dataset)
    rows = opened.export(tmp_path / f"{table}.csv", table=table)
    schema = opened.frictionless_schema(table)
    assert rows > 0
    assert [field["name"] for field in schema["fields"]] == opened.arrow_schema(table).names
    assert report(tmp_path, table, schema) == []
    # The check can fail: another type, and a column less.
    wrong = json.loads(json.dumps(schema))
    wrong["fields"][0]["type"] = "boolean"
    assert report(tmp_path, table, wrong) or rows_empty(opened, table)
    assert report(tmp_path, table, {"fields": schema["fields"][1:]})


def rows_empty(opened: object, table: str) -> bool:
    """Tell whether the first column of a table is empty: the study's columns of samples are."""
    return opened.arrow(table).column(0).null_count == opened.arrow(table).num_rows  # type: ignore[attr-defined]


def test_the_descriptor_is_valid(dataset: Path) -> None:
    descriptor = json.loads((dataset / "datapackage.json").read_text("utf-8"))
    assert descriptor["$schema"] == "https://datapackage.org/profiles/2.0/datapackage.json"
    assert len(frictionless.Package.from_descriptor(descriptor).resources) == 7
