"""The page on mapping files: every example is converted through the command line, and every key stands there."""

from __future__ import annotations

import dataclasses
import re
from pathlib import Path

import pytest

import mapping_page
from answering import answered
from converted import samples
from vambrace.cli.app import run
from vambrace_plugins.mapping import model

PAGE = (Path(__file__).parents[2] / "docs" / "mapping-files.md").read_text("utf-8")
FILES = dict(re.findall(r"^`([\w.]+)`:\n\n```\w+\n(.*?)^```", PAGE, re.DOTALL | re.MULTILINE))
READS = re.findall(r"^`([\w]+)\.toml`:.*?^It reads:\n\n```text\n(.*?)^```", PAGE, re.DOTALL | re.MULTILINE)


def test_there_are_examples() -> None:
    assert [name for name, _ in READS] == ["minutes", "long", "bench", "nights", "series", "vitals"]


@pytest.mark.parametrize(("name", "reads"), READS, ids=[name for name, _ in READS])
def test_each_example_reads_what_the_page_says(name: str, reads: str, tmp_path: Path) -> None:
    (export,) = [each for each in FILES if each.startswith(f"{name}.") and not each.endswith(".toml")]
    for each in (export, f"{name}.toml"):
        (tmp_path / each).write_text(FILES[each], "utf-8")
    arguments = [
        "convert",
        str(tmp_path / export),
        "--to",
        str(tmp_path / "ds"),
        "--mapping",
        str(tmp_path / f"{name}.toml"),
    ]
    assert run(arguments) == 0
    assert read(tmp_path / "ds") == sorted(reads.splitlines())


def read(dataset: Path) -> list[str]:
    """Return the samples of a dataset as the page writes them."""
    rows = samples(dataset).to_pylist()
    return sorted(f"{row['time'].replace(tzinfo=None).isoformat()} {row['signal']} {row['value']:.12g}" for row in rows)


def test_every_key_stands_on_the_page() -> None:
    table = PAGE[PAGE.index("## All keys") :]
    for each in (model.Recognise, model.Layout, model.Time, model.Device, model.SignalField):
        for field in dataclasses.fields(each):
            assert f"`{field.name}`" in table, field.name


def test_the_draft_on_the_page_is_the_one_that_its_command_writes(tmp_path: Path) -> None:
    assert mapping_page.real(PAGE, tmp_path) == [inner for _, inner in mapping_page.blocks(PAGE)]


def test_the_answers_on_the_page_give_the_rows_on_the_page(tmp_path: Path) -> None:
    mapping_page.real(PAGE, tmp_path)
    draft, export = tmp_path / "stroll.toml", tmp_path / "stroll.csv"
    draft.write_text(answered(draft.read_text("utf-8"), mapping_page.answers(PAGE)), "utf-8")
    assert run(["convert", str(export), "--to", str(tmp_path / "ds"), "--mapping", str(draft)]) == 0
    assert read(tmp_path / "ds") == sorted(mapping_page.blocks(PAGE)[-1][1].splitlines())
