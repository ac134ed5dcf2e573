"""The kit's strategies give what they promise: the core takes every batch, and keeps its law; tables are of samples."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from typing import Any

import numpy as np
import pyarrow as pa
from hypothesis import given, settings

from contract.toy_importer import Toy
from vambrace.batch import NO_END, Batch, SourceBatch
from vambrace.dataset.schemas import samples_schema
from vambrace.plugin import Source
from vambrace.schema import SIGNALS, Kind
from vambrace.testing import Sample, Subject
from vambrace.testing.seen import see
from vambrace.testing.strategies import canonical_batches, canonical_tables, source_batches


class Yields(Toy):
    """Yields one batch, whatever the source says."""

    def __init__(self, batch: SourceBatch) -> None:
        self.batch_ = batch

    def read(self, source: Source) -> Iterator[Any]:
        yield self.batch_


def test_the_core_takes_every_source_batch() -> None:
    met: Counter[str] = Counter()

    @settings(max_examples=80, deadline=None, derandomize=True, database=None)
    @given(batch=source_batches())
    def taken(batch: SourceBatch) -> None:
        subject = Subject(Yields(batch), (Sample(b"x"),), bool, ())
        reading = see(subject, subject.samples[0]).reading
        assert reading.error is None, str(reading.error)
        assert reading.kept + reading.set_aside + reading.absent == len(batch) * len(batch.columns)
        met.update(reading.reasons)
        met.update(kept=reading.kept, absent=reading.absent)
        met.update({f"unit {column.unit}": 1 for column in batch.columns})

    taken()
    # The strategy must reach what the core does with values, or nothing was tried.
    assert min(met[word] for word in ("kept", "absent", "outside-domain", "not-a-number", "no-time", "half-a-fix")) > 0
    units = {f"unit {unit}" for signal in SIGNALS.values() for unit in (signal.unit, *signal.accepts)}
    assert len(units & set(met)) > len(units) / 2


@settings(max_examples=60, deadline=None, derandomize=True, database=None)
@given(batch=canonical_batches())
def test_canonical_batches_are_such_as_the_core_keeps(batch: Batch) -> None:
    signal = SIGNALS[batch.signal]
    assert ((batch.value >= signal.domain[0]) & (batch.value <= signal.domain[1])).all()
    assert ((batch.time_end == NO_END) | (batch.time_end >= batch.time)).all()
    if signal.plausible is not None:
        low, high = signal.plausible
        assert (batch.suspect == ((batch.value < low) | (batch.value > high))).all()
    if signal.kind == Kind.RUNNING_TOTAL:
        assert (np.diff(batch.value) >= 0).all()
        assert (np.diff(batch.time) >= 0).all()
    if signal.kind == Kind.CODED_EPOCH:
        assert set(batch.value.tolist()) <= {float(code) for code in signal.codes}


@settings(max_examples=30, deadline=None, derandomize=True, database=None)
@given(table=canonical_tables())
def test_canonical_tables_have_the_columns_of_samples(table: pa.Table) -> None:
    assert table.schema.remove_metadata() == samples_schema().remove_metadata()
    for row in table.to_pylist():
        assert row["unit"] == SIGNALS[row["signal"]].unit
        assert row["quality"] in {"pass", "suspect", "not_evaluated"}
