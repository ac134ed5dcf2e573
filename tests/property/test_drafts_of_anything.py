"""Drafts of random exports: one that is written loads, or asks; nothing fails for a reason of its own."""

from __future__ import annotations

import csv
import io
import json
import tomllib
from collections.abc import Callable
from typing import Any
from xml.sax.saxutils import quoteattr

from hypothesis import given, settings
from hypothesis import strategies as st

from vambrace.errors import VambraceError
from vambrace.plugin import Source
from vambrace_plugins.mapping.drafts import draft
from vambrace_plugins.mapping.load import load

NAMES = st.sampled_from(
    ["time", "hr", "steps", "kind", "value", "Puls", "?", 'a "b"', "x.y", "[z]", "#", "é", "device id"]
)
CELLS = st.one_of(
    st.sampled_from(["", "61", "1.5", "1,5", "-1", "pulse", "2031-03-04T09:00:00", "04.03.2031 09:00", "09:00", "AM"]),
    st.sampled_from(
        ["1930381200000", "0", "n/a", "+01:00", "Europe/Berlin", "4/3/31 9:00 PM", "61 bpm", '"', "?", "\t"]
    ),
    st.text(st.characters(codec="utf-8", exclude_characters="\0"), max_size=6),
)
TABLES = st.lists(NAMES, min_size=1, max_size=5).flatmap(
    lambda names: st.tuples(
        st.just(names), st.lists(st.lists(CELLS, min_size=len(names), max_size=len(names)), min_size=1, max_size=5)
    )
)
VALUES = st.recursive(
    st.one_of(CELLS, st.integers(-9, 99), st.booleans(), st.none()),
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(NAMES, inner, max_size=4)),
    max_leaves=20,
)


def fault(call: Callable[[], Any]) -> VambraceError | None:
    """Return our own error that a call raises, None where it raises none; any other error is raised."""
    try:
        call()
    except VambraceError as error:
        return error
    return None


def check(name: str, data: bytes) -> None:
    written: list[str] = []
    refused = fault(lambda: written.append(draft(Source(name, len(data), lambda: io.BytesIO(data)))))
    if refused is not None:
        assert refused.what
        assert refused.todo
        return
    tomllib.loads(written[0])
    error = fault(lambda: load("draft.toml", written[0]))
    assert error is None or "is still an open question" in error.what, f"{error}\n{written[0]}"


@settings(deadline=None, derandomize=True, max_examples=150)
@given(TABLES, st.sampled_from(",;\t|"))
def test_tables(table: tuple[list[str], list[list[str]]], delimiter: str) -> None:
    names, rows = table
    text = io.StringIO()
    csv.writer(text, delimiter=delimiter).writerows([names, *rows])
    check("a.csv", text.getvalue().encode())


@settings(deadline=None, derandomize=True, max_examples=150)
@given(st.one_of(st.lists(st.dictionaries(NAMES, VALUES, max_size=4), max_size=4), VALUES))
def test_documents(value: Any) -> None:
    check("a.json", json.dumps(value).encode())


@settings(deadline=None, derandomize=True, max_examples=100)
@given(st.lists(st.lists(st.tuples(st.sampled_from(["t", "v", "hr"]), CELLS), max_size=3), min_size=1, max_size=5))
def test_elements(records: list[list[tuple[str, str]]]) -> None:
    rows = (f"<r {' '.join(f'{name}={quoteattr(cell)}' for name, cell in dict(each).items())}/>" for each in records)
    text = "".join(letter for letter in f"<x>{''.join(rows)}</x>" if letter >= " " or letter in "\t\n\r")
    check("a.xml", text.encode("utf-8", "ignore"))


@settings(deadline=None, derandomize=True, max_examples=100)
@given(st.binary(max_size=200))
def test_bytes(data: bytes) -> None:
    check("a", data)
