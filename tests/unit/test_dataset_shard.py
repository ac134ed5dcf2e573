"""Shards: values and order as a plain reader finds them, words of quality, counts, and damage that is refused."""

from __future__ import annotations

import datetime as dt
import hashlib
import json
import math
import os
import statistics
import tracemalloc
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from datasets import START_US, FaultyFiles, Killed, Made, batch
from vambrace.batch import NO_END, Batch
from vambrace.dataset import TABLES, ChannelStats, Finished, ShardWriter, Store
from vambrace.errors import Reason, Rejected, VambraceError
from vambrace.schema import SCHEMA_VERSION, SIGNALS

RECORDING = "0123456789abcdef.1"


def written(folder: Path, *batches: tuple[Batch, str], budget: int = 1000) -> Finished:
    with ShardWriter(folder, budget=budget) as writer:
        for rows, recording in batches:
            writer.add(rows, recording)
        return writer.finish()


def test_what_is_written_is_what_a_plain_reader_finds(tmp_path: Path) -> None:
    odd = [0.1, math.nextafter(200, 300), 1 / 3, 251.0]
    rows = batch("heart_rate", [START_US + k for k in (3, 1, 2, 0)], odd, [1, 2, 3, 4], ["mode=a", None, "mode=b", "é"])
    done = written(tmp_path, (rows, RECORDING))
    assert done.samples is not None
    table = pq.read_table(done.samples)
    assert table.schema.remove_metadata().equals(TABLES["samples"].remove_metadata())
    start = dt.datetime.fromtimestamp(START_US / 1e6, dt.UTC)
    common = {"recording": RECORDING, "signal": "heart_rate", "time_end": None, "unit": "/min"}
    expected = [
        {**common, "time": start, "value": 251.0, "quality": "suspect", "source_flag": "é", "record": 4},
        {**common, "time": start, "value": odd[1], "quality": "pass", "source_flag": None, "record": 2},
        {**common, "time": start, "value": 1 / 3, "quality": "pass", "source_flag": "mode=b", "record": 3},
        {**common, "time": start, "value": 0.1, "quality": "pass", "source_flag": "mode=a", "record": 1},
    ]
    for microseconds, row in enumerate(expected):
        row["time"] = start + dt.timedelta(microseconds=microseconds)
    assert table.to_pylist() == expected
    assert table["value"].to_pylist()[1].hex() == odd[1].hex()


def test_rows_stand_by_recording_signal_time_and_record(tmp_path: Path) -> None:
    second = "0123456789abcdef.2"
    batches = [
        (batch("step_count", [5, 5, 1], [1, 2, 3], [9, 8, 7]), second),
        (batch("heart_rate", [5, 5, 1], [61, 62, 63], [3, 2, 1]), second),
        (batch("speed", [9], [1.5], [4]), RECORDING),
        (batch("heart_rate", [2], [60], [5]), second),
    ]
    done = written(tmp_path, *batches, budget=2)
    assert done.samples is not None
    table = pq.read_table(done.samples).cast(
        pa.schema(
            [
                (name, pa.string() if name in ("recording", "signal") else kind)
                for name, kind in ((field.name, field.type) for field in TABLES["samples"])
            ]
        )
    )
    found = [(r["recording"][-1], r["signal"], r["record"]) for r in table.to_pylist()]
    assert found == [
        ("1", "speed", 4),
        ("2", "heart_rate", 1),
        ("2", "heart_rate", 5),
        ("2", "heart_rate", 2),
        ("2", "heart_rate", 3),
        ("2", "step_count", 7),
        ("2", "step_count", 8),
        ("2", "step_count", 9),
    ]


def test_a_signal_without_a_plausible_range_is_not_evaluated(tmp_path: Path) -> None:
    batches = [(batch(name, [1], [1.0], [1]), RECORDING) for name in SIGNALS]
    done = written(tmp_path, *batches)
    assert done.samples is not None
    words = {row["signal"]: (row["quality"], row["unit"]) for row in pq.read_table(done.samples).to_pylist()}
    assert words == {
        name: ("pass" if signal.plausible else "not_evaluated", signal.unit) for name, signal in SIGNALS.items()
    }
    assert {quality for quality, _ in words.values()} == {"pass", "not_evaluated"}


def test_the_file_says_units_and_codes_of_its_own_signals(tmp_path: Path) -> None:
    done = written(tmp_path, (batch("heart_rate", [1], [60], [1]), RECORDING))
    assert done.samples is not None
    said = json.loads(pq.read_schema(done.samples).metadata[b"vambrace"])
    assert said["schema_version"] == SCHEMA_VERSION
    assert list(said["signals"]) == ["heart_rate"]
    assert said["signals"]["heart_rate"]["unit"] == "/min"
    assert said["signals"]["heart_rate"]["loinc"] == list(SIGNALS["heart_rate"].loinc)


def test_intervals_have_their_end(tmp_path: Path) -> None:
    rows = Batch(
        1,
        "heart_rate",
        np.array([0, 60_000_000]),
        np.array([60_000_000, NO_END]),
        np.array([60.0, 61.0]),
        np.array([1, 2]),
        np.zeros(2, bool),
    )
    done = written(tmp_path, (rows, RECORDING))
    assert done.samples is not None
    assert pq.read_table(done.samples)["time_end"].cast(pa.int64()).to_pylist() == [60_000_000, None]
    assert done.stats[(RECORDING, "heart_rate")].end_us == 60_000_000


def test_stamps_are_those_of_the_files(tmp_path: Path) -> None:
    done = Made("a").written(tmp_path)
    for path, stamp in ((done.samples, done.samples_stamp), (done.aside, done.aside_stamp)):
        assert path is not None
        assert stamp is not None
        data = path.read_bytes()
        assert (stamp.bytes, stamp.sha256) == (len(data), hashlib.sha256(data).hexdigest())
        assert stamp.rows == pq.read_metadata(path).num_rows > 0


def test_rows_set_aside_stand_by_recording_signal_and_record_with_their_words(tmp_path: Path) -> None:
    with ShardWriter(tmp_path) as writer:
        writer.set_aside(RECORDING, [Rejected("speed", 9, Reason.NOT_A_NUMBER, "fast\udcff", time_text="12:00")])
        writer.set_aside(RECORDING, [Rejected("heart_rate", k, "outside-domain", f"{k}") for k in (8, 2, 400)])
        done = writer.finish()
    assert done.samples is None
    assert done.samples_stamp is None
    assert done.aside is not None
    table = pq.read_table(done.aside)
    assert table.schema.equals(TABLES["set_aside"])
    assert [tuple(row.values()) for row in table.to_pylist()] == [
        (RECORDING, 2, "heart_rate", "outside-domain", "2", None),
        (RECORDING, 8, "heart_rate", "outside-domain", "8", None),
        (RECORDING, 400, "heart_rate", "outside-domain", "400", None),
        (RECORDING, 9, "speed", "not-a-number", "fast\\udcff", "12:00"),
    ]


def test_a_source_without_rows_gives_no_file(tmp_path: Path) -> None:
    with ShardWriter(tmp_path) as writer:
        writer.add(batch("heart_rate", [], [], []), RECORDING)
        writer.set_aside(RECORDING, [])
        assert writer.finish() == Finished(None, None, None, None, {})
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


def test_what_is_given_up_leaves_nothing(tmp_path: Path) -> None:
    with ShardWriter(tmp_path, budget=1) as writer:
        writer.add(batch("heart_rate", [1, 2], [60, 61], [1, 2]), RECORDING)
        assert list((tmp_path / "samples").iterdir())
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []
    count = 0
    for at in range(3, 9):
        ops = FaultyFiles(at, OSError(28, "No space left on device"))
        folder = tmp_path / f"{at}"
        with pytest.raises(OSError, match="No space"):
            Made("a").written(folder, ops)
        assert [path for path in folder.rglob("*") if path.is_file()] == []
        count += 1
    assert count == 6


def test_every_flipped_byte_of_a_shard_is_found(tmp_path: Path) -> None:
    store = Store.begin(tmp_path / "ds")
    with store.writing():
        Made("a", rows=40, aside=1).commit(store)
    (shard,) = store.shards()
    right = shard.read_bytes()
    for place in range(len(right)):
        shard.write_bytes(right[:place] + bytes([right[place] ^ 0x40]) + right[place + 1 :])
        assert [path for path, _ in store.verify()] == [shard]
        with pytest.raises(VambraceError, match="not those that were committed"):
            next(store.read_shard(shard))
    shard.write_bytes(right)
    assert list(store.verify()) == []
    shard.unlink()
    assert [(path, words) for path, words in store.verify()] == [
        (shard, "the file cannot be read: No such file or directory")
    ]
    with pytest.raises(VambraceError, match="the file is missing"):
        list(store.read_shard(shard))


def test_a_flipped_byte_in_a_page_is_refused(tmp_path: Path) -> None:
    done = Made("a", rows=50).written(tmp_path)
    assert done.samples is not None
    store = Store.begin(tmp_path / "ds")
    metadata = pq.read_metadata(done.samples)
    right = done.samples.read_bytes()
    group = metadata.row_group(0)
    for column in range(group.num_columns):
        chunk = group.column(column)
        # The last bytes of a column chunk are page data, behind every page header.
        place = (chunk.dictionary_page_offset or chunk.data_page_offset) + chunk.total_compressed_size - 1
        damaged = tmp_path / "damaged.parquet"
        damaged.write_bytes(right[:place] + bytes([right[place] ^ 1]) + right[place + 1 :])
        with pytest.raises(VambraceError, match=r"cannot be read: .*(CRC|checksum)"):
            list(store.read_shard(damaged))


def test_the_same_rows_give_the_same_bytes_however_they_arrive(tmp_path: Path) -> None:
    times, values = [START_US + 7 * k % 1000 for k in range(300)], [float(60 + k % 9) for k in range(300)]
    flags = [f"f={k % 3}" for k in range(300)]
    whole = written(tmp_path / "a", (batch("heart_rate", times, values, range(300), flags), RECORDING))
    parts = [
        (batch("heart_rate", times[k : k + 7], values[k : k + 7], range(300)[k : k + 7], flags[k : k + 7]), RECORDING)
        for k in range(0, 300, 7)
    ]
    pieces = written(tmp_path / "b", *parts[::-1], budget=50)
    assert whole.samples_stamp == pieces.samples_stamp
    assert whole.stats == pieces.stats


def test_a_million_rows_take_little_memory(tmp_path: Path) -> None:
    def rows(start: int) -> Batch:
        record = np.arange(start, start + 10_000)
        return batch("heart_rate", record * 1_000_000, 60 + record % 7, record)  # type: ignore[arg-type]

    before = pa.total_allocated_bytes()
    tracemalloc.start()
    try:
        with ShardWriter(tmp_path, budget=100_000) as writer:
            for start in range(0, 1_000_000, 10_000):
                writer.add(rows(start), RECORDING)
                assert pa.total_allocated_bytes() - before < 30 << 20
            done = writer.finish()
    finally:
        tracemalloc.stop()
    assert done.samples_stamp is not None
    assert done.samples_stamp.rows == 1_000_000
    assert done.stats[(RECORDING, "heart_rate")].n == 1_000_000


def test_a_spill_that_dies_is_swept_at_the_next_start(tmp_path: Path) -> None:
    store = Store.begin(tmp_path / "ds")
    writer = ShardWriter(store.folder, FaultyFiles(6), budget=1)
    for k in range(5):
        writer.add(batch("heart_rate", [k, k + 1], [60, 61], [k, k + 1]), RECORDING)
    with pytest.raises(Killed):
        writer.finish()
    left = list(store.folder.rglob(".part-*"))
    assert left
    with store.writing():
        assert not {*left} & {*store.folder.rglob(".part-*")}
    assert list(store.folder.rglob(".part-*")) == []


def stats_of(folder: Path, seconds: list[float]) -> ChannelStats:
    rows = batch("heart_rate", [int(s * 1e6) for s in seconds], [60.0] * len(seconds), range(len(seconds)))
    return written(folder, (rows, RECORDING)).stats[(RECORDING, "heart_rate")]


def test_medians_and_gaps_are_those_of_the_intervals(tmp_path: Path) -> None:
    one = stats_of(tmp_path, [5])
    assert (one.n, one.median_interval_s, one.gaps, one.longest_gap_s) == (1, None, 0, None)
    # Intervals 1, 1, 1, 3, 3.5: the median is 1, and only what is longer than 3 of it is a gap.
    five = stats_of(tmp_path, [0, 1, 2, 3, 6, 9.5])
    assert (five.median_interval_s, five.gaps, five.longest_gap_s) == (1.0, 1, 3.5)
    assert five.median_interval_s == statistics.median([1, 1, 1, 3, 3.5])
    # Two samples at one instant are one, and an even number of intervals has the mean of the middle two.
    even = stats_of(tmp_path, [0, 0, 1, 3])
    assert even.median_interval_s == 1.5
    assert (even.start_us, even.end_us) == (0, 3_000_000)
    assert os.path.isdir(tmp_path / "samples")
