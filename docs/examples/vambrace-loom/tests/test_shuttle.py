"""Shuttle: every value of the sample, a cut, and what every importer owes."""

from __future__ import annotations

from pathlib import Path

import vambrace
from vambrace.testing import ImporterConformance, Sample
from vambrace_loom.shuttle import ShuttleImporter

SAMPLE = Path(__file__).parent / "samples" / "morning.shut"


class TestShuttleImporter(ImporterConformance):
    """Every check of the conformance kit."""

    importer = ShuttleImporter()
    samples = (Sample(SAMPLE, values=20),)


def test_every_value_of_the_sample(tmp_path: Path) -> None:
    vambrace.convert([SAMPLE], tmp_path / "dataset")
    dataset = vambrace.open_dataset(tmp_path / "dataset")
    pulse = dataset.signal("heart_rate")
    assert [str(time) for time in pulse["time"]] == [
        "2031-03-04 09:00:00+00:00",
        "2031-03-04 09:00:01+00:00",
        "2031-03-04 09:00:02.500000+00:00",
        "2031-03-04 09:00:04+00:00",
    ]
    assert list(pulse["heart_rate_per_min"]) == [61, 62, 64, 65]
    assert list(dataset.signal("oxygen_saturation")["oxygen_saturation_percent"]) == [97, 98, 97, 96, 97]
    assert list(dataset.signal("skin_temperature")["skin_temperature_cel"]) == [33.12, 33.2, 33.25, -1.5]
    # The counter rolls over at 65,536: 65,534 and 2 are four steps apart.
    assert list(dataset.signal("step_count")["step_count_steps"]) == [65530, 65534, 65538, 65540, 65541]
    absent = dataset.channels.set_index("signal")["n_absent"].to_dict()
    assert absent == {"heart_rate": 1, "oxygen_saturation": 0, "skin_temperature": 1, "step_count": 0}
    assert list(dataset.recordings["product"]) == ["band-A"]


def test_a_cut_file_is_rejected_and_salvage_keeps_what_is_whole(tmp_path: Path) -> None:
    cut = tmp_path / "cut.shut"
    cut.write_bytes(SAMPLE.read_bytes()[:-5])
    vambrace.convert([cut], tmp_path / "refused")
    (reason,) = vambrace.open_dataset(tmp_path / "refused").files["reason"]
    assert reason.startswith("4 of 5 records are whole, and 5 bytes follow them.")
    vambrace.convert([cut], tmp_path / "salvaged", salvage=True)
    assert len(vambrace.open_dataset(tmp_path / "salvaged").signal("heart_rate")) == 3
