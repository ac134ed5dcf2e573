"""Finds the cells that are one of several words, as the filters and the marks of missing values of a mapping ask."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pyarrow as pa
import pyarrow.compute as pc

from vambrace_plugins.mapping.model import Word


def are(cells: pa.Array, words: Sequence[Word]) -> pa.Array:
    """Return which cells are one of the words: texts as they stand, numbers whatever zeros are written behind."""
    trimmed = pc.utf8_trim_whitespace(cells)
    texts = [_text(word) for word in words]
    found = pc.is_in(trimmed, pa.array(texts, pa.string()))
    for word, text in zip(words, texts, strict=True):
        if isinstance(word, int | float) and not isinstance(word, bool):
            found = pc.or_(found, pc.match_substring_regex(trimmed, _number(text)))
    return found


def _text(word: Word) -> str:
    if isinstance(word, bool):
        return "true" if word else "false"
    return word if isinstance(word, str) else repr(word)


def _number(text: str) -> str:
    whole, point, fraction = text.partition(".")
    fraction = fraction.rstrip("0")
    zeros = rf"\.{fraction}0*" if point and fraction else r"(?:\.0*)?"
    return rf"^\+?{re.escape(whole)}{zeros}$"


def without(cells: pa.Array, words: Sequence[Word]) -> tuple[pa.Array, list[str]]:
    """Return the cells with nothing where one of the words stands, and what was left out."""
    found = are(cells, words)
    if not pc.any(found, min_count=0).as_py():
        return cells, []
    return pc.if_else(found, "", cells), pc.unique(cells.filter(found)).to_pylist()


def shown(words: Sequence[Word]) -> str:
    """Return the words as people read them."""
    return " or ".join(f'"{_text(word)}"' for word in words)
