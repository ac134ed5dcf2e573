"""pandera, an independent judge of tables, agrees with our domain, plausible and type rules on a thousand tables."""

from __future__ import annotations

import warnings

import numpy as np
import pandas as pd
import pyarrow as pa
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from vambrace.batch import NO_END, Candidates, Column
from vambrace.dataset import TABLES
from vambrace.rules import Thresholds
from vambrace.rules.inorder import Channel
from vambrace.schema import SIGNALS, Kind
from vambrace.screen import faults

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    pandera = pytest.importorskip("pandera.pandas", reason="pandera, the outside judge, is not installed")

NAMES = sorted(name for name, each in SIGNALS.items() if each.kind not in (Kind.CODED_EPOCH, Kind.POSITION))
NUMBERS = st.floats(-1e5, 1e5, allow_nan=False) | st.sampled_from([0.0, 1, 100, 104, 350, 351, -90, 20000, 20, 250])


def passes(values: np.ndarray, low: float, high: float) -> np.ndarray:
    """Return which values pandera lets through a range."""
    check = pandera.Check.in_range(low, high)
    schema = pandera.DataFrameSchema({"value": pandera.Column("float64", check)})
    try:
        schema.validate(pd.DataFrame({"value": values}), lazy=True)
    except pandera.errors.SchemaErrors as error:
        failed = error.failure_cases["index"].to_numpy(dtype=np.int64)
        return ~np.isin(np.arange(len(values)), failed)
    return np.ones(len(values), bool)


@settings(deadline=None, derandomize=True, max_examples=1000, suppress_health_check=[HealthCheck.too_slow])
@given(st.sampled_from(NAMES), st.lists(NUMBERS, min_size=1, max_size=12))
def test_domain_and_plausible_range(name: str, numbers: list[float]) -> None:
    signal, values = SIGNALS[name], np.array(numbers, np.float64)
    n = len(values)
    column = Candidates(Column(name, values, signal.unit), values, np.ones(n, bool), np.zeros(n, bool))
    (fault,) = faults([column], np.zeros(n, np.uint8))
    assert np.array_equal(fault == 0, passes(values, *signal.domain))
    channel = Channel("r.1", name, Thresholds())
    channel.add(np.arange(n) * 1_000_000, np.full(n, NO_END), values, np.arange(n))
    found = [each.count for each in channel.findings() if each.rule == "outside-plausible"]
    if signal.plausible:
        assert sum(found) == n - passes(values, *signal.plausible).sum()
    else:
        assert found == []


def test_types() -> None:
    """pandera's Arrow types accept a frame of each table's own types, and refuse one whose first column is another."""
    for name, schema in TABLES.items():
        columns = {each.name: pandera.Column(pd.ArrowDtype(each.type), nullable=True) for each in schema}
        judge = pandera.DataFrameSchema(columns, strict=True)
        frame = schema.empty_table().to_pandas(types_mapper=pd.ArrowDtype)
        judge.validate(frame)
        wrong = frame.astype({schema.names[0]: pd.ArrowDtype(pa.float64())})
        with pytest.raises(pandera.errors.SchemaError, match=schema.names[0]):
            judge.validate(wrong)
        assert list(frame.columns) == schema.names, name
