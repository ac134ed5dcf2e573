"""Real FIT files through the whole pipeline: what is stored equals fitparse's reading, times to the microsecond."""

from __future__ import annotations

import os
import warnings
from datetime import UTC
from pathlib import Path

import fitparse
import pytest

from converted import ledger, series, table
from vambrace.api import convert

SAMPLES = os.environ.get("VAMBRACE_SAMPLES")
pytestmark = pytest.mark.skipif(SAMPLES is None, reason="VAMBRACE_SAMPLES does not name the folder of real files")
NAMES = ["activity-sample", "indoor", "run-small", "rr-intervals-a", "chained-heart-rate-events"]


@pytest.fixture(scope="module")
def dataset(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("fit") / "dataset"
    convert([Path(SAMPLES or "") / "fit"], target)
    return target


def first_recording(dataset: Path, name: str) -> str:
    return str(ledger(dataset)[f"{name}.fit"]["sha256"])[:16] + ".1"


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize(
    ("signal", "field", "factor"),
    [("heart_rate", "heart_rate", 1.0), ("latitude", "position_lat", 180 / 2**31), ("speed", "speed", 1.0)],
)
def test_stored_values_and_times(dataset: Path, name: str, signal: str, field: str, factor: float) -> None:
    path = Path(SAMPLES or "") / "fit" / f"{name}.fit"
    data = path.read_bytes()
    first = data[: data[0] + int.from_bytes(data[4:8], "little") + 2]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        messages = list(fitparse.FitFile(first).get_messages("record"))
    expected = sorted(
        (round(message.get_value("timestamp").replace(tzinfo=UTC).timestamp() * 1_000_000), value * factor)
        for message in messages
        if (value := message.get_value(field)) is not None and not (signal == "heart_rate" and value == 0)
    )
    assert sorted(series(dataset, first_recording(dataset, name), signal)) == expected


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
