"""Writes `docs/refusals.md` anew from the examples, each run now: `python tests/release/write_refusals_page.py`."""

from __future__ import annotations

import ast
import inspect
import sys
import textwrap
from collections import Counter
from collections.abc import Callable, Mapping
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

from refusal_codes import ROOT
from refusal_example import Call, Example, File, Refusal, refused
from refusal_examples import TOPICS

PAGE = ROOT / "docs" / "refusals.md"

_HEAD = """# Refusals

What is uncertain is refused, never guessed. Each refusal has a code, which stands in the ledger beside a sentence: what
was seen and where, and the shortest way on. Here is every code with an example, and the sentence that the program says
of it. Where an example is shown in Python, it is what the test does; `folder` is what is converted, `T` a time, and
`TABLE` a table that is read. An error that stops a whole run, such as a missing SOURCE or an unknown zone, has no code:
it stands in no ledger.

The page is written by `python tests/release/write_refusals_page.py`; a test runs every example, and takes every way on.
"""


def said_of(example: Example) -> Refusal:
    """Return what is said of the example under its code."""
    return next(each for each in refused(example) if each.code == example.code)


def page() -> str:
    """Return the page with the sentences that the program says now."""
    sections = []
    for topic, examples in TOPICS.items():
        sections.append(f"\n## {topic}\n")
        sections += [_section(example) for example in examples]
    return _HEAD + _index() + "".join(sections)


def _index() -> str:
    """Return a line of links for each topic; a code that stands twice has its second place under `code-1`."""
    seen: Counter[str] = Counter()
    lines = []
    for topic, examples in TOPICS.items():
        links = []
        for example in examples:
            anchor = example.code + (f"-{seen[example.code]}" if seen[example.code] else "")
            seen[example.code] += 1
            links.append(f"[`{example.code}`](#{anchor})")
        lines.append(f"- {topic}: {', '.join(links)}\n")
    return "\n" + "".join(lines)


def _section(example: Example) -> str:
    said = said_of(example)
    place = f"`{said.place}`: " if said.place else ""
    source = _of_call(example) if isinstance(example, Call) else _of_file(example)
    return f"\n### {example.code}\n{example.meaning}\n\n{source}\n> {place}{said.sentence}\n{_way(example)}"


def _of_call(example: Call) -> str:
    return _python(example.call)


def _of_file(example: File) -> str:
    options = f"Converted with {_options(example.said)}.\n" if example.said else ""
    if not example.made:
        return f"`{example.name}` is empty.\n{options}"
    return f"{_shown(example.name, example.made)}{options}"


def _shown(name: str, made: str | bytes | Callable[[Path], object], lead: str = "") -> str:
    if callable(made):
        return f"{lead and lead + chr(10)}{_python(made)}"
    text = made.decode("utf-8", "backslashreplace") if isinstance(made, bytes) else made
    if not text.isprintable() and "\x00" in text:
        return f"`{name}` holds the bytes {made!r}.\n"
    return f"{lead or f'`{name}`:'}\n```\n{text}{'' if text.endswith(chr(10)) else chr(10)}```\n"


def _way(example: Example) -> str:
    """Return what the second run has, in which nothing is refused."""
    if isinstance(example, Call):
        return f"\nNot refused:\n{_python(example.mended)}" if example.mended else ""
    options = f"\nNot refused with {_options(example.way)}.\n" if example.way else ""
    if not example.mended:
        return options
    lead = f"Not refused {'after' if callable(example.mended) else 'when written so'}:"
    return f"\n{_shown(example.name, example.mended, lead)}{options}"


def _options(options: Mapping[str, str]) -> str:
    return "`" + " ".join(_option(name, value) for name, value in options.items()) + "`"


def _option(name: str, value: str) -> str:
    if name == "salvage":
        return "--salvage"
    if name in {"zone", "ignore"}:
        return f"--{name} {_quoted(value)}"
    return f"--option {_quoted(f'csv.{name}={value}')}"


def _quoted(word: str) -> str:
    """Return a word as a shell takes it."""
    return f'"{word}"' if {*" ;()*"} & {*word} else word


def _python(function: Callable[[Path], object]) -> str:
    """Return the lines of a function's body."""
    source = textwrap.dedent(inspect.getsource(function))
    (tree,) = ast.parse(source).body
    assert isinstance(tree, ast.FunctionDef)
    body = textwrap.dedent("\n".join(source.splitlines()[tree.body[0].lineno - 1 :]))
    return f"```python\n{body.strip()}\n```\n"


if __name__ == "__main__":
    PAGE.write_text(page(), "utf-8")
