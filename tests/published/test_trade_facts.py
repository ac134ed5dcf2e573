"""What the trade takes for plausible, held against the schema's two ranges and the whole pipeline.

Every figure here is common practice, no source, unless its line says otherwise; none is used as a demo value.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from converted import samples, table
from vambrace.api import convert

UNITS = {"heart_rate": "bpm", "oxygen_saturation": "%", "cadence": "1/min"}

# signal, value, what becomes of it
FACTS = [
    ("heart_rate", 30, "pass"),  # lower end of what is accepted
    ("heart_rate", 240, "pass"),  # upper end of what is accepted
    ("heart_rate", 10, "suspect"),
    ("heart_rate", 300, "suspect"),
    ("heart_rate", 0, "absent"),  # 0 stands for no value in many exports
    ("oxygen_saturation", 95, "pass"),  # at rest near sea level 95-100, mostly 97-99
    ("oxygen_saturation", 99, "pass"),
    ("oxygen_saturation", 70, "pass"),  # second-hand (monitor manuals): accuracy is specified from 70 on
    ("oxygen_saturation", 69, "suspect"),
    ("oxygen_saturation", 101, "outside-domain"),  # second-hand (monitor manuals): above 100 is invalid
    ("oxygen_saturation", 0, "absent"),
    ("cadence", 60, "pass"),  # walking 60-140 steps a minute
    ("cadence", 90, "pass"),  # ordinary walking
    ("cadence", 100, "pass"),  # a 2019 study of 21-40-year-olds: moderate intensity
    ("cadence", 200, "pass"),  # running 140-200
    ("cadence", 250, "pass"),  # the hardest limit in use
    ("cadence", 301, "suspect"),
]


@pytest.mark.parametrize(("signal", "value", "expected"), FACTS)
def test_what_the_trade_takes_for_plausible(signal: str, value: int, expected: str, tmp_path: Path) -> None:
    # A second row with a usual value keeps the source from being refused as a whole.
    rows = f"2024-03-01T08:00:00Z,{value}\n2024-03-01T08:00:01Z,98\n"
    (tmp_path / "x.csv").write_text(f"time,{signal} ({UNITS[signal]})\n{rows}")
    convert([tmp_path / "x.csv"], tmp_path / "ds")
    kept = {row["record"]: row["quality"] for row in samples(tmp_path / "ds").to_pylist()}
    aside = {row["record"]: row["reason"] for row in table(tmp_path / "ds", "set_aside")}
    assert kept.pop(2) == "pass"
    assert {**kept, **aside}.get(1, "absent") == expected
