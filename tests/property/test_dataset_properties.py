"""Whatever comes in whatever order: shards are the sorted rows, ledgers add up, folders are the same to the byte."""

from __future__ import annotations

import dataclasses
import tempfile
from collections import Counter
from pathlib import Path
from unittest import mock

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
from hypothesis import given, settings
from hypothesis import strategies as st

from converted import digest
from datasets import FaultyFiles, Made, batch, entry
from vambrace.dataset import (
    ChannelRow,
    EventRow,
    FindingRow,
    Finished,
    Occurrence,
    Record,
    RecordingRow,
    ShardWriter,
    Stamp,
    Store,
    spill,
)
from vambrace.dataset.records import SEVERITIES, record_from_json, record_to_json
from vambrace.dataset.spill import CHUNK_ROWS
from vambrace.errors import Reason, Rejected

steady = settings(max_examples=50, deadline=None, derandomize=True)

# Few different times and records, so that rows tie, repeat and overlap between runs.
rows = st.lists(
    st.tuples(
        st.integers(0, 12), st.integers(0, 5), st.sampled_from([60.0, 61.5, 300.0]), st.sampled_from([None, "a", "é"])
    ),
    min_size=1,
    max_size=12,
)
channels = st.tuples(st.sampled_from(["r.1", "r.2", "r.10"]), st.sampled_from(["heart_rate", "step_count"]))
arrivals = st.lists(st.tuples(channels, rows), max_size=8)


def shard_of(
    folder: Path, arrived: list[tuple[tuple[str, str], list[tuple[int, int, float, str | None]]]], budget: int
) -> Finished:
    with ShardWriter(folder, FaultyFiles(), budget) as writer:
        for (recording, signal), part in arrived:
            time, record, value, flags = zip(*part, strict=True)
            writer.add(batch(signal, time, value, record, flags), recording)
            writer.set_aside(recording, [Rejected(signal, k, Reason.NO_TIME, f"{v}") for _, k, v, _ in part])
        return writer.finish()


@given(arrivals, st.integers(0, 15))
@steady
def test_what_was_spilled_comes_back_as_if_it_had_stayed_in_memory(
    arrived: list[tuple[tuple[str, str], list[tuple[int, int, float, str | None]]]], budget: int
) -> None:
    with tempfile.TemporaryDirectory() as folder:
        memory = shard_of(Path(folder, "memory"), arrived, 10_000)
        # Short chunks, so that runs of few rows meet at every place.
        with mock.patch.object(spill, "CHUNK_ROWS", 2):
            spilled = shard_of(Path(folder, "spilled"), arrived, budget)
        assert spilled.samples_stamp == memory.samples_stamp
        assert spilled.aside_stamp == memory.aside_stamp
        assert spilled.stats == memory.stats
        expected = sorted(
            ((recording, signal, *row) for (recording, signal), part in arrived for row in part),
            key=lambda row: row[:4],
        )
        found = [] if memory.samples is None else pq.read_table(memory.samples).to_pylist()
        # Python's sort is stable, as the shard's promise is: equal rows stay in the order of arrival.
        assert [
            (
                r["recording"],
                r["signal"],
                int(r["time"].timestamp() * 1e6 + 0.5),
                r["record"],
                r["value"],
                r["source_flag"],
            )
            for r in found
        ] == expected


@given(st.integers(1, 5), st.integers(0, 2**32 - 1))
@settings(max_examples=8, deadline=None, derandomize=True)
def test_runs_longer_than_a_chunk_are_merged_in_order(parts: int, seed: int) -> None:
    random = np.random.default_rng(seed)
    with tempfile.TemporaryDirectory() as folder, ShardWriter(Path(folder), FaultyFiles(), CHUNK_ROWS * 2) as writer:
        times = []
        for _ in range(parts):
            time = random.integers(0, 50_000, CHUNK_ROWS + 1000)
            times.append(time)
            writer.add(batch("heart_rate", time, [60.0] * len(time), range(len(time))), "r.1")
        done = writer.finish()
        assert done.samples is not None
        found = pq.read_table(done.samples)["time"].cast(pa.int64()).to_numpy()
    assert np.array_equal(found, np.sort(np.concatenate(times)))
    unlike = np.unique(found)
    intervals = np.diff(unlike)
    median = float(np.median(intervals))
    stats = done.stats[("r.1", "heart_rate")]
    assert stats.median_interval_s == median / 1e6
    assert stats.gaps == int((intervals > 3 * median).sum())
    assert (stats.n, stats.start_us, stats.end_us) == (len(found), int(found[0]), int(found[-1]))


texts = st.text(st.characters(codec="utf-8"), max_size=6) | st.sampled_from(["\udcff", "\\udcff", "\n", ""])
maybe = st.none() | texts
counts = st.integers(0, 2**53)
records = st.builds(
    Record,
    key=texts,
    sha256=maybe,
    bytes=st.none() | counts,
    status=st.sampled_from(["converted", "partial", "unrecognised", "rejected", "ignored"]),
    occurrences=st.lists(st.builds(Occurrence, texts, texts), min_size=1, max_size=3).map(tuple),
    reason=maybe,
    settings=st.dictionaries(
        texts, st.recursive(st.none() | st.booleans() | counts | texts, st.lists, max_leaves=3), max_size=3
    ),
    rows_absent=counts,
    recordings=st.lists(
        st.builds(
            RecordingRow,
            texts,
            texts,
            maybe,
            complete=st.none() | st.booleans(),
            conversions=st.lists(texts).map(tuple),
        ),
        max_size=2,
    ).map(tuple),
    channels=st.lists(
        st.builds(ChannelRow, texts, maybe, counts, median_interval_s=st.none() | st.floats(0, allow_infinity=False)),
        max_size=2,
    ).map(tuple),
    events=st.lists(st.builds(EventRow, texts, st.none() | st.integers(-(2**62), 2**62), texts, maybe), max_size=2).map(
        tuple
    ),
    findings=st.lists(st.builds(FindingRow, texts, st.sampled_from(SEVERITIES), texts), max_size=2).map(tuple),
    replaces=st.lists(texts, max_size=2).map(tuple),
)


@given(records, st.none() | st.builds(Stamp, st.integers(1, 2**40), counts, texts))
@steady
def test_every_record_comes_back_as_it_was(record: Record, stamp: Stamp | None) -> None:
    if stamp is not None:
        record = dataclasses.replace(record, shard=stamp, rows_kept=stamp.rows, rows_read=stamp.rows)
    assert record_from_json(record_to_json(record), "x") == record


# Few places and contents, so that places hold several contents and contents stand in several places.
places = st.tuples(st.sampled_from(["p", "q"]), st.sampled_from(["a", "a-1", "a/b", "é", "\uff5e", "\U0001d11e"]))
sources = st.builds(
    Made,
    text=st.sampled_from("xyz"),
    rows=st.just(2),
    aside=st.just(1),
    places=st.lists(places, min_size=1, max_size=2, unique=True).map(tuple),
)


@given(
    st.lists(sources | st.builds(entry, st.just("p"), st.sampled_from(["pipe", "link"])), max_size=6),
    st.randoms(use_true_random=False),
)
@settings(max_examples=25, deadline=None, derandomize=True)
def test_the_order_of_arrival_leaves_no_trace_and_the_ledger_adds_up(
    arrived: list[Made | Record], random: object
) -> None:
    other = list(arrived)
    random.shuffle(other)  # type: ignore[attr-defined]
    with tempfile.TemporaryDirectory() as folder:
        found = [converted(Path(folder, name), order) for name, order in (("one", arrived), ("two", other))]
        assert found[0] == found[1]
        ledger = Store.open(Path(folder, "one")).read_table("files").to_pylist()
    expected: dict[str, set[tuple[str, str]]] = {}
    for one in arrived:
        if isinstance(one, Made):
            expected.setdefault(one.sha256, set()).update(one.places)
    held = [row for row in ledger if row["sha256"]]
    assert Counter((row["sha256"], row["root"], row["path"]) for row in held) == Counter(
        (sha256, *place) for sha256, where in expected.items() for place in where
    )
    order = [(row["root"].encode(), row["path"].encode()) for row in ledger]
    assert order == sorted(order)
    for sha256, where in expected.items():
        lines = {(row["root"], row["path"]): row for row in held if row["sha256"] == sha256}
        first = min(where, key=lambda place: (place[0].encode(), place[1].encode()))
        assert {place for place, row in lines.items() if row["status"] == "converted"} == {first}
        assert all(row["status"] == "duplicate" for place, row in lines.items() if place != first)
    assert all(r["rows_read"] == r["rows_kept"] + r["rows_set_aside"] + r["rows_outside"] for r in ledger)
    assert sum(row["rows_kept"] for row in ledger) == 2 * len(expected)
    assert sum(row["status"] == "rejected" for row in ledger) == len(
        {one.key for one in arrived if isinstance(one, Record)}
    )


def converted(folder: Path, arrived: list[Made | Record]) -> dict[str, str]:
    store = Store.begin(folder, FaultyFiles())
    with store.writing():
        for one in arrived:
            if isinstance(one, Record):
                store.commit(one, None)
            else:
                one.commit(store, ops=FaultyFiles())
        store.rebuild()
    return digest(folder)
