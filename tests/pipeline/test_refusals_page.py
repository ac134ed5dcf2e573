"""`docs/refusals.md` is current, and its examples are refused and then read as it says."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path
from typing import Any

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "release"))
writer = importlib.import_module("write_refusals_page")
EXAMPLES = writer.EXAMPLES


def test_the_page_is_current() -> None:
    assert writer.PAGE.read_text("utf-8") == writer.page(), "run: python tests/release/write_refusals_page.py"


def test_every_example_has_a_code_of_the_source() -> None:
    assert {each.code for each in EXAMPLES} <= writer.codes_in_source()


@pytest.mark.parametrize("example", EXAMPLES, ids=lambda each: each.code)
def test_the_example_is_refused_and_the_way_on_works(example: Any) -> None:
    status, code, sentence = writer.outcome(example.table, {})
    assert (status in {"rejected", "unrecognised"}, code) == (True, example.code), sentence
    after = writer.outcome(example.mended or example.table, example.options)
    assert after[0] == "converted", after
