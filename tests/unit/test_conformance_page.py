"""`docs/conformance.md` says what the kit checks, and shows how it is used."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from pathlib import Path
from typing import Any

import pytest

from vambrace import testing
from vambrace.testing import IMPORTER_CHECKS, WRITER_CHECKS, ImporterConformance, WriterConformance, strategies

PAGE = (Path(__file__).parents[2] / "docs" / "conformance.md").read_text("utf-8")


def listed(heading: str) -> dict[str, str]:
    """Return what the page says of each check below a heading."""
    part = PAGE.partition(f"### {heading}\n")[2].partition("\n## ")[0]
    return dict(re.findall(r"^- `(\w+)`: (.+)$", part, re.MULTILINE))


@pytest.mark.parametrize(
    ("heading", "checks"),
    [("What is checked of an importer", IMPORTER_CHECKS), ("What is checked of a writer", WRITER_CHECKS)],
)
def test_each_check_is_listed_in_the_words_of_the_code(heading: str, checks: Mapping[str, Callable[..., None]]) -> None:
    said = {name: (check.__doc__ or "").removeprefix("Hold that ") for name, check in checks.items()}
    assert listed(heading) == said
    assert list(listed(heading)) == list(checks)


def test_the_code_on_the_page_runs() -> None:
    blocks = re.findall(r"^```python\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
    assert len(blocks) == 4
    for block in blocks:
        own = block.replace("from my_package import", "# from my_package import")
        names: dict[str, Any] = {"MyImporter": object, "MyWriter": object, "somebody_elses_reader": None}
        exec(compile(own, "docs/conformance.md", "exec"), names)
        made = {name for name, thing in names.items() if isinstance(thing, type) and name.startswith("Test")}
        assert made or names["test_my_tool_takes_any_samples"]() is None


def test_row_ends_of_the_example() -> None:
    block = next(each for each in re.findall(r"^```python\n(.*?)^```$", PAGE, re.M | re.S) if "at_row_end" in each)
    names: dict[str, Any] = {}
    exec(compile(block, "docs/conformance.md", "exec"), names)
    ends = names["TestFixedRecords"]().at_row_end
    assert [size for size in range(60) if ends(bytes(size))] == [16, 28, 40, 52]


def test_every_public_name_of_the_kit_is_documented() -> None:
    for name in testing.__all__:
        thing = getattr(testing, name)
        assert isinstance(thing, Mapping) or (thing.__doc__ or "").strip(), name
    for holder in (ImporterConformance, WriterConformance):
        for name, method in vars(holder).items():
            assert name.startswith("_") or not callable(method) or method.__doc__, name
    public = {name for name in vars(strategies) if not name.startswith("_")}
    made_here = {name for name in public if getattr(getattr(strategies, name), "__module__", "") == strategies.__name__}
    assert all(f"`{name}`" in PAGE for name in made_here)


def test_the_kit_costs_no_test_tool_until_it_is_used() -> None:
    import subprocess
    import sys

    code = "import sys, vambrace.testing; print({'pytest', 'hypothesis'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"
