"""Almanac: every value of the sample, its option, what is no number, and what every importer owes."""

from __future__ import annotations

from pathlib import Path

import vambrace
from vambrace.testing import ImporterConformance, Sample
from vambrace_loom.almanac import AlmanacImporter

SAMPLE = Path(__file__).parent / "samples" / "week.json"


class TestAlmanacImporter(ImporterConformance):
    """Every check of the conformance kit; the zone is what a person says with --zone."""

    importer = AlmanacImporter()
    samples = (Sample(SAMPLE, zone="Atlantic/Azores", values=8),)


def converted(source: Path, to: Path, **options: str) -> vambrace.Dataset:
    """Convert one file as a user would."""
    vambrace.convert([source], to, zone="Atlantic/Azores", options={"almanac": options})
    return vambrace.open_dataset(to)


def test_every_value_of_the_sample(tmp_path: Path) -> None:
    dataset = converted(SAMPLE, tmp_path / "dataset")
    # The Azores are an hour behind UTC in March; a total stands at the end of its quarter of an hour.
    steps = dataset.signal("step_count")
    assert [str(time) for time in steps["time"]] == [
        "2031-03-04 10:15:00+00:00",
        "2031-03-04 10:30:00+00:00",
        "2031-03-04 11:00:00+00:00",
        "2031-03-05 00:15:00+00:00",
    ]
    assert list(steps["step_count_steps"]) == [120, 120, 430, 437]
    pulse = dataset.signal("heart_rate")
    assert [str(time) for time in pulse["time"]] == ["2031-03-04 10:00:30+00:00", "2031-03-04 10:40:00+00:00"]
    assert list(pulse["heart_rate_per_min"]) == [61, 92.5]
    channels = dataset.channels
    assert dict(channels.loc[channels["signal"].notna(), ["signal", "n_absent"]].to_numpy()) == {
        "heart_rate": 1,
        "step_count": 1,
    }
    assert channels.loc[channels["field_in_source"] == "moods", "n"].tolist() == [2]
    assert list(dataset.recordings["firmware"]) == ["1.4"]
    assert list(dataset.recordings["zone_known_by"]) == ["command line"]


def test_the_option_moves_every_count(tmp_path: Path) -> None:
    steps = converted(SAMPLE, tmp_path / "dataset", counted="before").signal("step_count")
    assert str(steps["time"].iloc[0]) == "2031-03-04 10:00:00+00:00"


def test_what_is_no_number_is_set_aside_as_it_stands(tmp_path: Path) -> None:
    odd = tmp_path / "odd.json"
    odd.write_text(SAMPLE.read_text("utf-8").replace("92.5", '"fast"'), encoding="utf-8")
    aside = converted(odd, tmp_path / "dataset").set_aside
    assert aside[["signal", "reason", "found"]].to_numpy().tolist() == [["heart_rate", "not-a-number", "fast"]]


def test_without_a_zone_the_times_are_refused(tmp_path: Path) -> None:
    vambrace.convert([SAMPLE], tmp_path / "dataset")
    (reason,) = vambrace.open_dataset(tmp_path / "dataset").files["reason"]
    assert "--zone" in reason
