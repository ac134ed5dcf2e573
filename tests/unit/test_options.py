"""Options: one frozen dataclass is what the Python API, the command line and the listing go by."""

from __future__ import annotations

import dataclasses
import json
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, ClassVar, Literal

import pytest

from vambrace import registry
from vambrace.cli.app import run
from vambrace.errors import VambraceError
from vambrace.options import Option, fault_of, options_for, options_of
from vambrace.plugin import Claim, Head, Source


@dataclass(frozen=True)
class Options:
    stamp: Literal["end", "start"] = field(default="end", metadata={"help": "which end a time marks"})
    skip: int = 0
    factor: float | None = field(default=None, metadata={"help": "what values are multiplied by"})
    strict: bool = True
    name: str = "loom"


class Toy:
    name, version, title, end_mark = "toy", "1", "Toy", False
    Options: ClassVar[type] = Options

    def recognise(self, head: Head) -> Claim:
        return Claim.NONE

    def read(self, source: Source) -> Iterator[Any]:
        yield from ()


def test_options_are_listed_with_type_default_and_help() -> None:
    assert options_of(Toy()) == (
        Option("stamp", "end or start", "end", "which end a time marks"),
        Option("skip", "whole number", "0", ""),
        Option("factor", "number", "", "what values are multiplied by"),
        Option("strict", "yes or no", "yes", ""),
        Option("name", "text", "loom", ""),
    )


def test_texts_are_read_by_the_types_of_the_fields() -> None:
    said = {"stamp": "start", "skip": "3", "factor": "0.5", "strict": "no", "name": "warp"}
    assert options_for(Toy(), said) == Options("start", 3, 0.5, False, "warp")


@pytest.mark.parametrize(
    ("said", "says"),
    [
        ({"stamp": "middle"}, "toy.stamp is end or start, not 'middle'. Say toy.stamp=end"),
        ({"skip": "1.5"}, "toy.skip takes a whole number, not '1.5'"),
        ({"factor": "half"}, "toy.factor takes a number, not 'half'"),
        ({"strict": ""}, "toy.strict is yes or no, not ''"),
        ({"colour": "red"}, "no option 'colour'. Its options: toy.stamp, toy.skip"),
    ],
)
def test_a_text_that_fits_no_value_is_refused_with_the_right_form(said: dict[str, str], says: str) -> None:
    with pytest.raises(VambraceError) as caught:
        options_for(Toy(), said)
    assert says in str(caught.value)


def test_a_class_that_cannot_be_options_is_told_from_one_that_can() -> None:
    @dataclass
    class Changing:
        skip: int = 0

    wanting = dataclasses.make_dataclass("Wanting", [("skip", int)], frozen=True)
    lists = dataclasses.make_dataclass("Lists", [("names", list[str], ())], frozen=True)
    assert fault_of(Options) == ""
    assert "no dataclass" in fault_of(dict)
    assert "no dataclass" in fault_of(Options())
    assert "make it frozen" in fault_of(Changing)
    assert "missing 1 required" in fault_of(wanting)
    assert "names is of the type list[str]" in fault_of(lists)


@pytest.mark.parametrize("name", sorted(registry.load().importers))
def test_every_option_of_a_built_in_has_help_of_one_line(name: str) -> None:
    for option in options_of(registry.load().importer(name)):
        assert option.help.strip()
        assert "\n" not in option.help


def test_the_command_line_lists_them_as_they_are_given(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["plugins", "--options"]) == 0
    out = capsys.readouterr().out
    assert "fit.developer_fields  (ignore or native, ignore if not given)" in out
    assert "csv.delimiter  (text)" in out
    assert run(["plugins", "--json"]) == 0
    rows = {(row["kind"], row["name"]): row for row in json.loads(capsys.readouterr().out)}
    csv = registry.load().importer("csv")
    assert [each["name"] for each in rows["importer", "csv"]["options"]] == [
        each.name for each in dataclasses.fields(csv.Options)
    ]
    assert rows["writer", "csv"]["options"] == []
    for command in ("convert", "inspect"):
        assert run([command, "--help"]) == 0
        assert "vambrace plugins --options" in " ".join(capsys.readouterr().out.split())


def test_a_choice_that_does_not_exist_ends_a_command_before_anything_is_written(
    capsys: pytest.CaptureFixture[str], tmp_path: Any
) -> None:
    (tmp_path / "a.csv").write_text("time,heart_rate\n")
    said = ["convert", str(tmp_path / "a.csv"), "--to", str(tmp_path / "ds"), "--option", "fit.developer_fields=all"]
    assert run(said) == 2
    assert "fit.developer_fields is ignore or native, not 'all'" in capsys.readouterr().err
    assert not (tmp_path / "ds").exists()
