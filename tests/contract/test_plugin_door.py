"""The door as its page shows it: at most fifteen names, each with signature, meaning and an example."""

from __future__ import annotations

import ast
import re
import sys
import types
from pathlib import Path

import pytest

from door_page import PAGE, code_in, sections, signature, signature_in
from vambrace import plugin

ROOT = Path(__file__).parents[2]
TEXT = PAGE.read_text(encoding="utf-8")
SECTIONS = dict(sections(TEXT))


def test_the_door_has_at_most_fifteen_names_and_the_page_has_each_of_them_once() -> None:
    shown = [name for name, _ in sections(TEXT)]
    assert len(plugin.__all__) <= 15
    assert sorted(shown) == sorted(plugin.__all__)


@pytest.mark.parametrize("name", plugin.__all__)
def test_a_name_is_shown_with_its_signature_its_meaning_and_an_example_that_runs(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    section = SECTIONS[name]
    assert signature_in(section) == signature(name), "run python tests/release/write_plugin_door_page.py"
    meaning = re.sub(r"^```.*?^```$", "", section, flags=re.DOTALL | re.MULTILINE)
    assert len(meaning.split()) >= 15
    examples = code_in(section)
    assert examples
    for code in examples:
        assert re.search(rf"\b{name}\b", code)
        module = types.ModuleType("example_of_the_page")
        monkeypatch.setitem(sys.modules, module.__name__, module)
        exec(compile(code, f"{PAGE.name}: {name}", "exec", dont_inherit=True), module.__dict__)


def test_the_limits_on_the_page_are_those_of_the_code() -> None:
    from vambrace import asking, engine

    for said in (
        f"has {asking.ANSWER_S:g} seconds to say",
        f"may take {asking.LOADING_S:g} seconds",
        f"a source has {engine.DEADLINE_S} seconds and {engine.DEADLINE_S_PER_MB} more for each MB",
    ):
        assert said in " ".join(TEXT.split()), said


def test_built_ins_import_nothing_of_ours_but_the_door() -> None:
    strangers = []
    for path in (ROOT / "plugins").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and (node.module or "").split(".")[0] == "vambrace":
                hidden = [each.name for each in node.names if each.name not in plugin.__all__]
                strangers += [(path.name, node.module, hidden)] if hidden or node.module != "vambrace.plugin" else []
            if isinstance(node, ast.Import):
                strangers += [(path.name, each.name, []) for each in node.names if each.name.startswith("vambrace.")]
    assert strangers == []
