"""A small dataset written straight into the dataset layer, from lists that tests can compare with."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from vambrace.batch import NO_END, Batch
from vambrace.dataset import ChannelRow, Occurrence, Record, RecordingRow, ShardWriter, Store, content_key

START = 1_709_280_000_000_000
SHA = "5a" * 32
RECORDING = f"{SHA[:16]}.1"
RATES = [(START + n * 1_000_000, 60.0 + n) for n in range(5)]
RR = [(START + 1_000_000, 800.0), (START + 1_000_000, 810.0), (START + 1_000_000, 820.0), (START + 2_500_000, 790.0)]
GAPS = (1, 4)


def write_dataset(folder: Path) -> Path:
    """Write one source with heart rates, beats and positions, and return the dataset's folder."""
    store = Store.begin(folder)
    fixes = [START + n * 1_000_000 for n in range(6)]
    heights = [n for n in range(6) if n not in GAPS]
    columns = {
        "heart_rate": (RATES, range(1, 6)),
        "rr_interval": (RR, range(1, 5)),
        "latitude": ([(us, 37.0 + n / 8) for n, us in enumerate(fixes)], range(1, 7)),
        "longitude": ([(us, -27.0 - n / 8) for n, us in enumerate(fixes)], range(1, 7)),
        "altitude": ([(fixes[n], 100.0 + n) for n in heights], [n + 1 for n in heights]),
    }
    with store.writing(), ShardWriter(folder) as writer:
        for signal, (pairs, records) in columns.items():
            n = len(pairs)
            time, value = (np.array(each) for each in zip(*pairs, strict=True))
            record = np.array(list(records))
            batch = Batch(1, signal, time, np.full(n, NO_END), value, record, np.zeros(n, bool))
            writer.add(batch, RECORDING)
        finished = writer.finish()
        rows = sum(len(pairs) for pairs, _ in columns.values())
        record_ = Record(
            key=content_key(SHA, {}),
            sha256=SHA,
            bytes=1,
            status="converted",
            occurrences=(Occurrence("in", "toy.csv"),),
            rows_read=rows,
            rows_kept=rows,
            recordings=(RecordingRow(RECORDING, "csv", start_us=START, end_us=START + 5_000_000),),
            channels=tuple(ChannelRow(RECORDING, signal, n=len(pairs)) for signal, (pairs, _) in columns.items()),
            shard=finished.samples_stamp,
        )
        store.commit(record_, finished)
        store.rebuild()
    return folder
