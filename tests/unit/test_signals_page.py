"""`docs/signals.md` says what the schema says."""

from __future__ import annotations

import importlib.util
from pathlib import Path
from types import ModuleType

from vambrace.schema import SIGNALS, Kind

ROOT = Path(__file__).parents[2]


def writer() -> ModuleType:
    spec = importlib.util.spec_from_file_location(
        "write_signals_page", ROOT / "tests" / "release" / "write_signals_page.py"
    )
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_page_is_current() -> None:
    written = (ROOT / "docs" / "signals.md").read_text("utf-8")
    assert written == writer().page(), "run: python tests/release/write_signals_page.py"


def test_the_page_says_all_of_every_signal() -> None:
    text = writer().page()
    for signal in SIGNALS.values():
        for said in (signal.name, signal.title, signal.unit, signal.column, signal.notes, signal.open_mhealth):
            assert said in text
        for said in (*signal.accepts, *signal.words, *signal.loinc, *signal.codes.values()):
            assert said in text
    for kind in Kind:
        assert f"* `{kind.value}`: " in text


def test_every_table_has_as_many_cells_as_its_head() -> None:
    width = 0
    for line in writer().page().splitlines():
        cells = line.replace("\\|", "").count("|")
        assert cells in (0, width or cells)
        width = cells
