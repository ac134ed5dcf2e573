"""Wide, narrow and position tables of any samples, held against slow readings by plain Python dictionaries."""

from __future__ import annotations

import hashlib
import shutil
import tempfile
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st

from datasets import batch
from vambrace.dataset import ChannelRow, Occurrence, Record, RecordingRow, ShardWriter, Store, content_key
from vambrace.output import open_dataset
from vambrace.schema import SIGNALS

START = 1_709_280_000_000_000
ALONE = ("heart_rate", "rr_interval", "altitude")


@dataclass(frozen=True)
class Sample:
    recording: str
    signal: str
    time: int
    record: int
    value: float


@st.composite
def sources(draw: st.DrawFn) -> list[list[Sample]]:
    """Return the samples of up to three sources with up to two recordings each; times collide often."""
    made = []
    for source in range(draw(st.integers(0, 3))):
        sha, rows, record = hashlib.sha256(b"%d" % source).hexdigest(), [], 0
        for ordinal in range(1, draw(st.integers(1, 2)) + 1):
            name = f"{sha[:16]}.{ordinal}"
            for _ in range(draw(st.integers(0, 12))):
                record += draw(st.integers(1, 2))
                time = START + draw(st.integers(0, 4)) * 250_000
                kinds = draw(st.sets(st.sampled_from((*ALONE, "fix")), min_size=1))
                for kind in sorted(kinds):
                    names = ("latitude", "longitude") if kind == "fix" else (kind,)
                    rows += [Sample(name, each, time, record, float(len(rows) + n)) for n, each in enumerate(names)]
        made.append(rows)
    return made


def write(folder: Path, made: list[list[Sample]]) -> None:
    store = Store.begin(folder)
    with store.writing():
        for number, rows in enumerate(made):
            sha = hashlib.sha256(b"%d" % number).hexdigest()
            channels = defaultdict(list)
            for row in rows:
                channels[row.recording, row.signal].append(row)
            with ShardWriter(folder) as writer:
                for (recording, signal), own in channels.items():
                    parts = ([getattr(row, name) for row in own] for name in ("time", "value", "record"))
                    writer.add(batch(signal, *parts), recording)
                finished = writer.finish()
            record = Record(
                content_key(sha, {}), sha, 1, "converted", (Occurrence("in", f"{number}.csv"),),
                rows_read=len(rows), rows_kept=len(rows),
                recordings=tuple(RecordingRow(name, "csv") for name in sorted({name for name, _ in channels})),
                channels=tuple(ChannelRow(name, signal, n=len(own)) for (name, signal), own in channels.items()),
                shard=finished.samples_stamp,
            )  # fmt: skip
            store.commit(record, finished)
        store.rebuild()


def wide_by_hand(rows: list[Sample]) -> list[dict[str, object]]:
    """Return one row for each recording and time; the n-th sample of a signal there stands in the n-th row."""
    cells: dict[tuple[str, int], dict[str, list[float]]] = defaultdict(lambda: defaultdict(list))
    for row in sorted(rows, key=lambda row: row.record):
        cells[row.recording, row.time][row.signal].append(row.value)
    table = []
    for (recording, time), values in sorted(cells.items()):
        for turn in range(max(map(len, values.values()))):
            said = {signal: own[turn] for signal, own in values.items() if turn < len(own)}
            table.append({"recording": recording, "time": time, **said})
    return table


def positions_by_hand(rows: list[Sample]) -> list[tuple[object, ...]]:
    known = {(row.recording, row.record, row.signal): row.value for row in rows}
    table = []
    for row in sorted(rows, key=lambda row: (row.recording, row.time, row.record)):
        if row.signal == "latitude":
            more = (known.get((row.recording, row.record, name)) for name in ("longitude", "altitude"))
            table.append((row.recording, row.time, row.value, *more, row.record))
    return table


@given(sources(), st.sampled_from([(), ("heart_rate",), ("rr_interval", "altitude")]), st.integers(0, 4))
@settings(max_examples=60, deadline=None, derandomize=True)
def test_views_hold_what_the_samples_hold(made: list[list[Sample]], signal: tuple[str, ...], since: int) -> None:
    folder = Path(tempfile.mkdtemp())
    try:
        write(folder / "ds", made)
        dataset = open_dataset(folder / "ds")
        rows = [row for source in made for row in source]
        late = [row for row in rows if row.time >= START + since * 250_000]
        text = f"2024-03-01T08:00:{since * 0.25:05.2f}Z"

        wanted = [row for row in late if not signal or row.signal in signal]
        wide = dataset.arrow(signal=signal, since=text, wide=True)
        held = signal or {row.signal for row in rows}
        columns = {SIGNALS[name].column: name for name in SIGNALS if name in held}
        assert wide.column_names[4:] == ["recording", "time", *columns]
        times = wide["time"].cast("int64").to_pylist()
        found = [
            {"recording": row["recording"], "time": time}
            | {name: row[column] for column, name in columns.items() if row[column] is not None}
            for row, time in zip(wide.to_pylist(), times, strict=True)
        ]
        assert found == wide_by_hand(wanted)

        place = dataset.arrow("position", since=text)
        names = ("recording", "time", "latitude_deg", "longitude_deg", "altitude_m", "record")
        place = place.set_column(5, "time", place["time"].cast("int64"))
        assert [tuple(row[name] for name in names) for row in place.to_pylist()] == positions_by_hand(late)

        rates = dataset.arrow("rr_interval", since=text)
        alone = sorted((row.recording, row.time, row.record, row.value) for row in late if row.signal == "rr_interval")
        assert rates["rr_interval_ms"].to_pylist() == [value for *_, value in alone]
    finally:
        shutil.rmtree(folder)
