"""Numbers that no double holds are no numbers, whoever wrote them (IEEE 754: 1e400 rounds to infinity)."""

from __future__ import annotations

import numpy as np
import pytest

from vambrace import harmonise
from vambrace.batch import Column, Values


@pytest.mark.parametrize(
    ("values", "unit"),
    [
        (["1", "1e400", ""], "m"),
        (["1", " 1e400", ""], "m"),
        (["1", "1e308", ""], "km"),
        (np.array([1, np.inf, np.nan]), "m"),
        (np.array([1, 1e308, np.nan]), "km"),
    ],
)
def test_a_number_beyond_all_doubles_is_garbled(values: Values, unit: str) -> None:
    column = Column("distance", values, unit)
    found = harmonise.candidates(column, harmonise.conversion_of(column))
    assert found.garbled.tolist() == [False, True, False]
    assert found.present.tolist() == [True, True, False]
    assert np.isnan(found.value).tolist() == [False, True, True]
