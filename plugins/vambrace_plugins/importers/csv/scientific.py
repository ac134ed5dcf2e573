"""Counts in scientific notation, as spreadsheets show long numbers: what their last digit stands for."""

from __future__ import annotations

import re
from collections.abc import Sequence
from decimal import Decimal

import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.stopwatch import LENGTHS

SCALE = {"s": 1, "ms": 1_000, "us": 1_000_000, "ns": 1_000_000_000}
"""How many of each unit make a second."""
COUNT = re.compile(r"^[+-]?[0-9]+(?:[.,][0-9]*)?(?:[eE][+-]?[0-9]{1,3})?$")
_DAY_S = 86_400


def refuse_rounded(header: str, unit: str, cells: pa.Array) -> None:
    """Raise Refused for counts whose last digit does not reach the second, where the first rows had none of them."""
    odd = pc.match_substring(cells, "e", ignore_case=True)
    if pc.any(odd, min_count=0).as_py():
        step_in(header, unit, pc.unique(cells.filter(odd)).to_pylist())


def step_in(header: str, unit: str, cells: Sequence[str]) -> str:
    """Return what the last digit of counts in scientific notation stands for, "" where there is none.

    The cell with most digits shows how many are written: others end in zeros that were left out. Raise Refused where
    they do not reach the second.
    """
    texts = [text for text in (cell.strip() for cell in cells) if "e" in text.lower() and COUNT.match(text)]
    if not texts:
        return ""
    text = min(texts, key=_last_place)
    step_s = Decimal(10) ** _last_place(text) * {"d": _DAY_S, **LENGTHS}.get(unit, 1) / SCALE.get(unit, 1)
    if step_s <= 1:
        return f"{step_s.normalize():,f} s"
    what = f'the times of "{header}" are rounded ("{text}"), as a spreadsheet shows long numbers'
    what += f": the last digit stands for {step_s:,f} s, and those behind it are lost"
    todo = "Export it again with all digits, as whole numbers or as text"
    raise Refused("time-rounded", what, todo=todo)


def _last_place(text: str) -> int:
    """Return the power of ten that the last digit of a number stands for."""
    return int(Decimal(text.replace(",", ".")).as_tuple().exponent)
