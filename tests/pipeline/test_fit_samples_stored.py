"""Real FIT files through the whole pipeline: what is stored equals fitparse's reading, times to the microsecond."""

from __future__ import annotations

import os
import warnings
from datetime import UTC
from pathlib import Path

import fitparse
import pyarrow as pa
import pyarrow.compute as pc
import pytest

from converted import ledger, samples, table
from vambrace.api import convert

SAMPLES = os.environ.get("VAMBRACE_SAMPLES")
FIELDS = [
    ("heart_rate", "heart_rate", 1.0),
    ("latitude", "position_lat", 180 / 2**31),
    ("longitude", "position_long", 180 / 2**31),
    ("speed", "speed", 1.0),
]
pytestmark = pytest.mark.skipif(SAMPLES is None, reason="VAMBRACE_SAMPLES does not name the folder of real files")
NAMES = ["activity-sample", "indoor", "rr-intervals-a", "header-crc-zero-b"]


@pytest.fixture(scope="module")
def dataset(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("fit") / "dataset"
    convert([Path(SAMPLES or "") / "fit"], target)
    return target


@pytest.fixture(scope="module")
def stored(dataset: Path) -> pa.Table:
    return samples(dataset)


def series(stored: pa.Table, recording: str, signal: str) -> list[tuple[int, float]]:
    mine = pc.and_(
        pc.equal(stored["recording"].cast(pa.string()), recording), pc.equal(stored["signal"].cast(pa.string()), signal)
    )
    rows = stored.filter(mine)
    return list(zip(rows["time"].cast(pa.int64()).to_pylist(), rows["value"].to_pylist(), strict=True))


@pytest.mark.parametrize("name", NAMES)
def test_stored_values_and_times(dataset: Path, stored: pa.Table, name: str) -> None:
    path = Path(SAMPLES or "") / "fit" / f"{name}.fit"
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        messages = list(fitparse.FitFile(str(path)).get_messages("record"))
    recording = str(ledger(dataset)[f"{name}.fit"]["sha256"])[:16] + ".1"
    for signal, field, factor in FIELDS:
        expected = sorted(
            (round(message.get_value("timestamp").replace(tzinfo=UTC).timestamp() * 1_000_000), value * factor)
            for message in messages
            if (value := message.get_value(field)) is not None and not (signal == "heart_rate" and value == 0)
        )
        assert sorted(series(stored, recording, signal)) == expected, signal


def test_every_file_is_accounted_for(dataset: Path) -> None:
    rows = ledger(dataset)
    assert len(rows) == 14
    rejected = {path for path, row in rows.items() if row["status"] != "converted"}
    assert rejected == {"compressed-timestamps-speed-distance.fit"}
    for row in rows.values():
        assert row["rows_read"] == row["rows_kept"] + row["rows_set_aside"] + row["rows_outside"]
    assert rows["chained-heart-rate-events.fit"]["recordings"] == 5
    sensors = {row["sensor"] for row in table(dataset, "channels") if row["signal"] == "rr_interval"}
    assert any(sensor and sensor.startswith("paired heart rate sensor") for sensor in sensors)
