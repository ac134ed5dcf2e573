"""Hypothesis strategies of the data model: times, columns and batches as importers yield them, and canonical ones.

All derive from the signals; nothing here knows a format. Sizes are in rows, times in microseconds of Unix time.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone

import numpy as np
import pyarrow as pa

try:
    from hypothesis import strategies as st
except ImportError as missing:
    raise ImportError('the strategies need hypothesis: pip install "vambrace[testing]"') from missing

from vambrace.batch import NO_END, Batch, Column, SourceBatch, Times
from vambrace.clock.convert import PLAUSIBLE_US
from vambrace.dataset.schemas import samples_schema
from vambrace.schema import SIGNALS, Kind, Signal

MOST_ROWS = 30
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)
_PER_SECOND = {"s": 1, "ms": 1_000, "us": 1_000_000}
_LARGEST = 1e9
"""Stands in the place of a domain without an end."""


def signals() -> st.SearchStrategy[Signal]:
    """Draw a signal."""
    return st.sampled_from([*SIGNALS.values()])


def instants_us() -> st.SearchStrategy[int]:
    """Draw an instant that a device could mean, in microseconds of Unix time."""
    return st.integers(*PLAUSIBLE_US)


@st.composite
def times(draw: st.DrawFn, n: int, *, missing: bool = True) -> Times:
    """Draw the times of n rows: counts in some unit, or texts with Z or an offset; some rows may have none."""
    instants = draw(st.lists(instants_us(), min_size=n, max_size=n))
    present = None
    if missing:
        present = np.array(draw(st.lists(st.booleans(), min_size=n, max_size=n)), np.bool_)
    unit = draw(st.sampled_from([*_PER_SECOND, "iso8601"]))
    if unit == "iso8601":
        minutes = draw(st.integers(-14 * 60, 14 * 60))
        return Times([_text(us, minutes) for us in instants], "iso8601", "text", present=present)
    counts = np.array([us // (1_000_000 // _PER_SECOND[unit]) for us in instants], np.int64)
    return Times(counts, unit, "utc", present=present)  # type: ignore[arg-type]


def _text(us: int, minutes: int) -> str:
    moment = _EPOCH + timedelta(microseconds=us)
    text = moment.astimezone(timezone(timedelta(minutes=minutes))).isoformat()
    return text.replace("+00:00", "Z")


def values(signal: Signal) -> st.SearchStrategy[float]:
    """Draw a value that a signal can have, in its canonical unit."""
    if signal.kind == Kind.CODED_EPOCH:
        return st.sampled_from([float(code) for code in signal.codes])
    low, high = signal.domain
    return st.floats(low, min(high, _LARGEST), allow_nan=False)


@st.composite
def columns(draw: st.DrawFn, signal: Signal, n: int) -> Column:
    """Draw a column of n values of a signal in any unit that it accepts: numbers or texts, absent or odd ones too."""
    unit = draw(st.sampled_from([signal.unit, *signal.accepts]))
    odd = st.floats(allow_nan=True, allow_infinity=False) if signal.kind != Kind.RUNNING_TOTAL else values(signal)
    numbers = draw(st.lists(st.one_of(values(signal), odd), min_size=n, max_size=n))
    counting = draw(st.sampled_from(["total", "increment"])) if signal.kind == Kind.RUNNING_TOTAL else "total"
    given: Sequence[str | None] | np.ndarray[tuple[int], np.dtype[np.float64]] = np.array(numbers, np.float64)
    if draw(st.booleans()):
        words = st.sampled_from([None, "", "x", " 7 "])
        given = [draw(words) if draw(st.integers(0, 4)) == 0 else repr(number) for number in numbers]
    present = np.array(draw(st.lists(st.booleans(), min_size=n, max_size=n)), np.bool_) if draw(st.booleans()) else None
    flags = draw(st.none() | st.lists(st.none() | st.just("mode=spot"), min_size=n, max_size=n))
    return Column(signal.name, given, unit, present=present, counting=counting, flags=flags)  # type: ignore[arg-type]


@st.composite
def source_batches(draw: st.DrawFn, *, first_record: int = 0, most_rows: int = MOST_ROWS) -> SourceBatch:
    """Draw a batch as an importer may yield it: the core takes it, and sets aside what cannot be kept.

    Running totals stand in it only where their rows stand in the order of time, as the core asks.
    """
    n = draw(st.integers(0, most_rows))
    chosen = draw(st.lists(signals(), min_size=1, max_size=4, unique_by=lambda signal: signal.name))
    steps = draw(st.lists(st.integers(0, 3), min_size=n, max_size=n))
    record = first_record + np.cumsum(np.array(steps, np.int64))
    when = draw(times(n))
    if any(signal.kind == Kind.RUNNING_TOTAL for signal in chosen):
        start = draw(st.integers(PLAUSIBLE_US[0] // 1_000_000, PLAUSIBLE_US[1] // 1_000_000 - n))
        when = Times(start + np.arange(n, dtype=np.int64), "s", "utc")
    held = tuple(draw(columns(signal, n)) for signal in chosen)
    interval = draw(st.none() | st.sampled_from([1.0, 60.0]))
    stamp = draw(st.sampled_from(["start", "middle", "end"]))
    return SourceBatch(record, when, held, interval_s=interval, stamp=stamp)  # type: ignore[arg-type]


@st.composite
def canonical_batches(draw: st.DrawFn, *, most_rows: int = MOST_ROWS) -> Batch:
    """Draw rows of one channel as the core keeps them: in the canonical unit, in UTC, in file order."""
    signal = draw(signals())
    n = draw(st.integers(1, most_rows))
    start = np.array(draw(st.lists(instants_us(), min_size=n, max_size=n)), np.int64)
    end = np.full(n, NO_END, np.int64)
    if signal.kind == Kind.CODED_EPOCH or (signal.kind == Kind.INSTANT and draw(st.booleans())):
        end = start + draw(st.sampled_from([1, 1_000_000, 60_000_000]))
    value = np.array(draw(st.lists(values(signal), min_size=n, max_size=n)), np.float64)
    if signal.kind == Kind.RUNNING_TOTAL:
        start, value = np.sort(start), np.sort(value)
    low, high = signal.plausible or (-np.inf, np.inf)
    suspect = np.asarray((value < low) | (value > high), np.bool_)
    flags = draw(st.none() | st.lists(st.none() | st.text(max_size=8), min_size=n, max_size=n))
    return Batch(draw(st.integers(1, 3)), signal.name, start, end, value, np.arange(1, n + 1), suspect, flags)


@st.composite
def canonical_tables(draw: st.DrawFn, *, most_batches: int = 4) -> pa.Table:
    """Draw a table with the columns of `samples`, in several batches, some perhaps empty."""
    batches = draw(st.lists(canonical_batches(), max_size=most_batches))
    schema = samples_schema({batch.signal for batch in batches})
    empty = pa.record_batch([pa.array([], field.type) for field in schema], schema=schema)
    parts = [_samples(batch, schema) for batch in batches]
    if draw(st.booleans()):
        parts.insert(draw(st.integers(0, len(parts))), empty)
    return pa.Table.from_batches(parts, schema)


def _samples(batch: Batch, schema: pa.Schema) -> pa.RecordBatch:
    """Return the rows of a channel as rows of `samples`."""
    n = len(batch)
    ends = [None if end == NO_END else end for end in batch.time_end.tolist()]
    judged = "pass" if SIGNALS[batch.signal].plausible else "not_evaluated"
    held = {
        "recording": [f"{'0' * 16}.{batch.recording}"] * n,
        "signal": [batch.signal] * n,
        "time": batch.time,
        "time_end": ends,
        "value": batch.value,
        "unit": [SIGNALS[batch.signal].unit] * n,
        "quality": ["suspect" if odd else judged for odd in batch.suspect.tolist()],
        "source_flag": batch.flags if batch.flags is not None else [None] * n,
        "record": batch.record,
    }
    return pa.record_batch([pa.array(held[field.name], field.type) for field in schema], schema=schema)
