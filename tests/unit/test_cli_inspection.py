"""What `inspect` prints: every number and word of the inspection, in lines that fit."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest

from vambrace.cli.inspection import inspection_text
from vambrace.output.summary import Inspection

RECORDING = {
    "recording": "00112233445566aa.1",
    "manufacturer": None,
    "product": "band-A",
    "serial": "20744",
    "firmware": "2.04",
    "start_time": "2031-03-04T11:00:00.500000Z",
    "end_time": "2031-03-04T12:00:00.000000Z",
    "zone": "Atlantic/Azores",
    "zone_known_by": "command line",
    "complete": False,
    "conversions": ("heart_rate: Hz to /min, × 60",),
}


def channel(signal: str | None, n: int, **more: Any) -> dict[str, Any]:
    known = {"recording": RECORDING["recording"], "signal": signal, "n": n, "median_interval_s": None}
    counts = {"n_set_aside": 0, "n_suspect": 0, "n_absent": 0}
    return {**known, **counts, "field_in_source": None, "unit_in_source": None, **more}


RATE = channel("heart_rate", 3924, n_absent=36, field_in_source="Puls", unit_in_source="bpm", median_interval_s=0.5)
FOUND = Inspection(
    path="a.csv",
    root="in/a.csv",
    status="converted",
    reason=None,
    bytes=12_889,
    importer="csv",
    importer_version="1",
    claim="content",
    notes=("the suffix says otherwise",),
    rows_read=3930,
    rows_kept=3924,
    rows_set_aside=6,
    rows_absent=36,
    recordings=(RECORDING,),
    channels=(RATE, channel("oxygen_saturation", 12), channel(None, 7, field_in_source="mood")),
    events=({"recording": RECORDING["recording"], "kind": "lap", "text": "", "time": None},) * 11,
    findings=(
        {"rule": "odd-clock", "signal": None, "severity": "note", "message": "the clock stood still", "count": 2},
    ),
)


def test_says_what_the_inspection_holds() -> None:
    text = inspection_text(FOUND, columns=80)
    for word in ("converted", "12,889 bytes", "csv 1", "content", "3,930 read", "6 set aside", "36 absent", "band-A"):
        assert word in text
    for word in ("11:00:00.5", "Atlantic/Azores, known by: command line", "breaks off", "× 60", "mood (7)", "lap 11"):
        assert word in text
    assert "the clock stood still (2 times)" in text


def test_counts_that_are_nothing_throughout_take_no_column() -> None:
    lines = inspection_text(FOUND, columns=80).splitlines()
    (head,) = (line.split() for line in lines if line.strip().startswith("signal"))
    (rate,) = (line.split() for line in lines if line.strip().startswith("heart_rate "))
    assert head == ["signal", "kept", "absent", "field", "unit", "every"]
    assert rate == ["heart_rate", "3,924", "36", "Puls", "bpm", "0.5", "s"]


@pytest.mark.parametrize("columns", [50, 60, 80, 120])
def test_lines_fit_and_a_long_field_stands_below_its_signal(columns: int) -> None:
    long = {**RATE, "field_in_source": "heart rate of the chest strap (Hz)", "n_set_aside": 1, "n_suspect": 2}
    lines = inspection_text(replace(FOUND, channels=(long,)), columns=columns).splitlines()
    assert max(map(len, lines)) <= columns
    (at,) = (n for n, line in enumerate(lines) if line.strip().startswith("heart_rate "))
    assert lines[at].split()[:5] == ["heart_rate", "3,924", "1", "2", "36"]
    assert "heart rate of the chest strap (Hz)" in " ".join(lines[at : at + 2])


def test_more_than_a_few_fields_are_shown_by_all() -> None:
    many = tuple(channel(None, n, field_in_source=f"field{n}") for n in range(1, 21))
    few = inspection_text(replace(FOUND, channels=many), columns=80)
    assert "field20 (20)" in few
    assert "field1 (1)" not in few
    assert "and 12 more, see --all" in few
    whole = inspection_text(replace(FOUND, channels=many), columns=80, everything=True)
    assert all(f"field{n} ({n})" in whole for n in range(1, 21))


def test_names_from_files_cannot_move_the_cursor() -> None:
    evil = "a\x1b[2J\u202e\udcff"
    spoilt = {**RECORDING, "product": evil, "conversions": (evil,)}
    channels = ({**RATE, "field_in_source": evil, "unit_in_source": evil}, channel(None, 1, field_in_source=evil))
    findings = ({"rule": "odd-clock", "signal": None, "severity": "note", "message": evil, "count": 1},)
    parts = {"recordings": (spoilt,), "channels": channels, "findings": findings, "notes": (evil,), "reason": evil}
    text = inspection_text(replace(FOUND, path=evil, root=evil, **parts), columns=80)
    assert text.replace("\n", "").isprintable()
    assert text.count("\\x1b[2J\\u202e\\xff") == 9


@pytest.mark.parametrize(
    ("root", "path", "place"),
    [
        ("in/a.csv", "a.csv", "in/a.csv"),
        ("in", "b/a.csv", "in/b/a.csv"),
        ("in/all.zip", "all.zip", "in/all.zip"),
        ("in/all.zip", "all.zip!b/a.csv", "in/all.zip!b/a.csv"),
        ("all.zip", "all.zip!part.zip!a.csv", "all.zip!part.zip!a.csv"),
        ("in", "all.zip!a.csv", "in/all.zip!a.csv"),
    ],
)
def test_where_a_source_stands(root: str, path: str, place: str) -> None:
    shown = inspection_text(replace(FOUND, root=root, path=path), columns=80)
    assert shown.splitlines()[0] == place
