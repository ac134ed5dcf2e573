"""Positions in semicircles against `fixtures/published/semicircle_vectors.csv` (source in its README)."""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import numpy as np
import pytest

from vambrace.schema import SIGNALS
from vambrace.units import conversion

TABLE = Path(__file__).parents[2] / "fixtures" / "published" / "semicircle_vectors.csv"
ROWS = [row for row in csv.DictReader(TABLE.read_text("utf-8").splitlines()) if row["semicircles_sint32"]]


def test_no_vector_is_left_out() -> None:
    assert len(ROWS) == 8  # +180 degrees has no code


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["degrees"])
def test_semicircles_to_degrees(row: dict[str, str]) -> None:
    how = conversion("semicircles", SIGNALS["longitude"])
    found = how.apply(np.array([int(row["semicircles_sint32"])], np.int32))
    assert found.tolist() == [float(row["back_to_degrees"])]


def test_every_degree_is_the_nearest_double() -> None:
    numbers = np.concatenate((np.linspace(-(2**31), 2**31 - 1, 10001).astype(np.int64), np.arange(-500, 500)))
    found = conversion("{fit_semicircle}", SIGNALS["latitude"]).apply(numbers)
    assert found.tolist() == [float(Fraction(int(number) * 180, 2**31)) for number in numbers]
