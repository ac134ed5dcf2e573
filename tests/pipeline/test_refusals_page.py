"""Every refusal has a code, an example that is run here, both readings, a place, and a way on that works."""

from __future__ import annotations

import importlib
import re
import sys
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "release"))
writer = importlib.import_module("write_refusals_page")
codes = importlib.import_module("refusal_codes")
running = importlib.import_module("refusal_example")
EXAMPLES = importlib.import_module("refusal_examples").EXAMPLES

IDS = [f"{example.code}-{n}" for n, example in enumerate(EXAMPLES)]
every_example = pytest.mark.parametrize("example", EXAMPLES, ids=IDS)

WHOLE = {
    *("empty-file", "unreadable", "changed", "broken-link", "linked-folder", "special-file", "no-room"),
    *("encrypted", "unreached-members", "same-name", "unsupported-method", "nested-too-deep", "unknown-format"),
    *("ambiguous-format", "other-format", "unknown-encoding", "hostile-file", "no-time", "all-set-aside"),
    *("plugin-fault", "too-large", "unknown-unit", "bad-option", "no-time-zone", "not-installed"),
}
"""Refusals of a whole file, member or folder, whose place is the path beside the sentence."""
CUT_WITHOUT_PLACE = {"damaged-file", "no-start"}
"""Codes that have a place in some formats only: a compressed file is cut somewhere, a FIT file has no start at all."""
PLACE = re.compile(
    r'^(line|byte|row|record) [0-9,]+|(column|header|times of) "|^[^:]+ is a running total|^\S+\.toml, line [0-9]+'
)
WAY_ON = re.compile(
    r"\. (If [^.]+, )?(say|give|export|write|mend|copy|leave|take|split|unpack|pack|make|sort|look|convert|report|save|"
    r"read|remove|put|uninstall|install|name|it needs)\b",
    re.IGNORECASE,
)


def said(example: Any) -> str:
    return str(writer.said_of(example).sentence)


def test_the_page_is_current() -> None:
    assert writer.PAGE.read_text("utf-8") == writer.page(), "run: python tests/release/write_refusals_page.py"


def test_every_code_of_the_source_has_an_example_and_every_example_a_code_of_the_source() -> None:
    assert {each.code for each in EXAMPLES} == codes.codes_in_source()


def test_no_code_is_hidden_from_the_search() -> None:
    assert codes.unknown_codes() == []


def test_no_error_is_made_without_a_way_on() -> None:
    assert codes.without_way_on() == []


@every_example
def test_the_example_is_refused_with_its_code(example: Any) -> None:
    found = running.refused(example)
    assert example.code in {each.code for each in found}, found
    # An archive is refused together with its members, and for no other reason.
    assert {each.code for each in found} <= {example.code, "unreached-members", "encrypted", "hostile-file"}, found
    assert {each.status for each in found} <= {"rejected", "unrecognised"}


@every_example
def test_the_sentence_says_a_way_on_and_a_place(example: Any) -> None:
    sentence = said(example)
    assert WAY_ON.search(sentence), sentence
    assert example.code in WHOLE | CUT_WITHOUT_PLACE or PLACE.search(sentence), sentence


@every_example
def test_both_readings_stand_side_by_side(example: Any) -> None:
    sentence = said(example)
    for reading in example.readings:
        assert reading in sentence, sentence
    if re.search(r"-two-(?!digit)|^time-mixed|^ambiguous|^(unit|counting|decimal|encoding)-not-said", example.code):
        assert len(example.readings) == 2, example.code


@every_example
def test_the_way_on_is_the_one_that_the_sentence_names(example: Any) -> None:
    """The zone is asked for by itself where an option settles the rest."""
    way = dict(getattr(example, "way", {}))
    asked = {name for name in way if name not in {"zone", "ignore", "salvage"}}
    sentence = said(example)
    for name in asked or way:
        assert (f"csv.{name}" if name in asked else f"--{name}") in sentence, sentence


@pytest.mark.parametrize("example", [each for each in EXAMPLES if running.has_way(each)], ids=lambda each: each.code)
def test_on_the_way_on_nothing_is_refused(example: Any) -> None:
    assert running.refused_after(example) == ()


def test_only_a_full_disk_has_no_way_on_that_a_test_can_take() -> None:
    assert [each.code for each in EXAMPLES if not running.has_way(each)] == ["no-room"]
