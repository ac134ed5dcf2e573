"""Writes `docs/refusals.md` anew from the examples, each run now: `python tests/release/write_refusals_page.py`."""

from __future__ import annotations

import ast
import json
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from refusal_examples import EXAMPLES, Example

import vambrace

PAGE = Path(__file__).resolve().parents[2] / "docs" / "refusals.md"

_HEAD = """# Refusals

What is uncertain is refused, never guessed. Each refusal has a code, which stands in the ledger. This page explains
some of them, not all; it is written by `python tests/release/write_refusals_page.py`, and a test runs every example.
"""

_RAISE = {"Refused": 0, "_no_unit": 2}  # functions that take a code, and at which place
_REST = """
## Codes without an example here
The sentence in the ledger says what was seen and what to do.

"""


def codes_in_source() -> set[str]:
    """Return the codes that stand as text in a `Refused(...)` or as `code = ...` of a class of errors."""
    found = set()
    for top in ("core", "plugins"):
        for path in (PAGE.parents[1] / top).rglob("*.py"):
            for node in ast.walk(ast.parse(path.read_text("utf-8"))):
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in _RAISE:
                    found |= {
                        each.value for each in node.args[_RAISE[node.func.id] :][:1] if isinstance(each, ast.Constant)
                    }
                elif isinstance(node, ast.ClassDef) and path.name == "errors.py":
                    found |= set(_class_codes(node))
    return {str(each) for each in found}


def _class_codes(node: ast.ClassDef) -> list[str]:
    assigned = [each for each in node.body if isinstance(each, ast.Assign)]
    return [
        str(each.value.value)
        for each in assigned
        if ast.unparse(each.targets[0]) == "code" and isinstance(each.value, ast.Constant)
    ]


def outcome(table: str, options: dict[str, str]) -> tuple[str, str, str]:
    """Convert the table alone and return its status, code and sentence in the ledger."""
    said = {name: text for name, text in options.items() if name != "zone"}
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "a.csv"
        path.write_text(table, "utf-8")
        to = Path(folder) / "out"
        vambrace.convert([path], to, zone=options.get("zone"), options={"csv": said} if said else None, jobs=1)
        row = json.loads(next(to.glob("sources/*.json")).read_text("utf-8"))
    return str(row["status"]), str(row["code"] or ""), str(row["reason"] or "")


def _section(example: Example) -> str:
    way = " ".join(f"--zone {v}" if k == "zone" else f'--option "csv.{k}={v}"' for k, v in example.options.items())
    shown = f"```\n{example.table}```\n" if example.table else "An empty file.\n"
    mended = f"\nReads when written so:\n```\n{example.mended}```\n" if example.mended else ""
    options = f"\nReads with `{way}`.\n" if way else ""
    sentence = outcome(example.table, {})[2]
    return f"\n## {example.code}\n{example.meaning}\n\n{shown}\n> {sentence}\n{mended}{options}"


def page() -> str:
    """Return the page with the sentences that the tool gives now."""
    sections = "".join(map(_section, sorted(EXAMPLES, key=lambda each: each.code)))
    rest = sorted(codes_in_source() - {each.code for each in EXAMPLES})
    return _HEAD + sections + _REST + "".join(f"- `{code}`\n" for code in rest)


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
