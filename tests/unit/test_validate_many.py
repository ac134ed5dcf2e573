"""What `validate` shows of many findings, many recordings, files left out by pattern, and several datasets."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from seeded_faults import OPTIONS, clean, seeded
from vambrace.api import convert, find_faults
from vambrace.cli.app import run
from vambrace.cli.validation import validation_text
from vambrace.dataset import Record, check_dataset
from vambrace.errors import VambraceError

POINT = '<trkpt lat="50.{0}" lon="8.{0}"><time>2031-03-04T{1:02}:00:0{0}Z</time></trkpt>'


def tracks(n: int) -> str:
    """Return a GPX document of so many tracks of three points, one an hour."""
    one = "<trk><trkseg>{}</trkseg></trk>"
    body = "".join(one.format("".join(POINT.format(at, hour) for at in range(3))) for hour in range(n))
    return f'<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x">{body}</gpx>'


def test_recordings_come_in_the_order_of_their_numbers(tmp_path: Path) -> None:
    (tmp_path / "walk.gpx").write_text(tracks(12), "utf-8")
    found = [each for each in find_faults(tmp_path).findings if each.rule == "too-few-samples"]
    numbers = [int((each.recording or "").rpartition(".")[2]) for each in found if each.signal == "latitude"]
    assert numbers == list(range(1, 13))


def test_many_places_of_one_rule_are_told_by_their_number(tmp_path: Path) -> None:
    (tmp_path / "walk.gpx").write_text(tracks(12), "utf-8")
    found = find_faults(tmp_path)
    lines = validation_text(found, 80).splitlines()
    # Both halves of a fix are shown as one place; of 24 findings at 12 places ten are shown at five.
    assert sum(each.rule == "too-few-samples" for each in found.findings) == 24
    assert sum(line.startswith("note     too-few-samples") for line in lines) == 5
    assert "         and 14 more findings of too-few-samples; --json lists all" in lines


def test_many_paths_are_summed_by_rules_at_the_end(tmp_path: Path) -> None:
    for number in range(4):
        (tmp_path / f"{number}.csv").write_bytes(seeded("a spike", number).to_bytes())
    lines = validation_text(find_faults(tmp_path, options=OPTIONS), 80).splitlines()
    assert [line.split() for line in lines[-4:]] == [
        ["warning", "rate-of-change", "4", "findings", "in", "4", "paths"],
        ["warning", "spike", "4", "findings", "in", "4", "paths"],
        [],
        ["4", "paths", "looked", "at:", "8", "warnings"],
    ]


def test_what_a_pattern_leaves_out_is_not_looked_at(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "clean.csv").write_bytes(clean(1).to_bytes())
    (tmp_path / "notes.txt").write_text("Loom and ladder\n", "utf-8")
    told = ["validate", str(tmp_path), "--option", "csv.counting=total", "--fail-on", "warning"]
    assert run(told) == 1
    capsys.readouterr()
    assert run([*told, "--ignore", "*.txt", "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["checked"] == [f"{tmp_path}/clean.csv"]


def test_sources_of_two_datasets_stay_apart(tmp_path: Path) -> None:
    (tmp_path / "spike.csv").write_bytes(seeded("a spike", 1).to_bytes())
    first, second = tmp_path / "first", tmp_path / "second"
    convert([tmp_path / "spike.csv"], first, options=OPTIONS)
    shutil.copytree(first, second)
    found = find_faults([first, second]).findings
    assert {each.path for each in found} == {f"{first}!spike.csv", f"{second}!spike.csv"}


@pytest.mark.parametrize("version", ["0", "-1"])
def test_a_schema_version_that_never_was_is_refused(tmp_path: Path, version: str) -> None:
    (tmp_path / "clean.csv").write_bytes(clean(1).to_bytes())
    convert([tmp_path / "clean.csv"], tmp_path / "ds", options=OPTIONS)
    marker = tmp_path / "ds" / "vambrace.json"
    marker.write_text(json.dumps({**json.loads(marker.read_text("utf-8")), "schema_version": version}), "utf-8")
    with pytest.raises(VambraceError, match=f"there is no schema version {version}"):
        find_faults(tmp_path / "ds")


@pytest.fixture
def twice(tmp_path: Path) -> Path:
    """Return a dataset of which one source was read again, as of another zone."""
    rows = [f"2031-03-04 08:00:{second:02},{60 + second},{'' if second else 'x'}" for second in range(30)]
    source = tmp_path / "local.csv"
    source.write_text("\n".join(["time,heart_rate,power", *rows]), "utf-8")
    convert([source], tmp_path / "ds", zone="UTC")
    convert([source], tmp_path / "ds", zone="Atlantic/Azores")
    return tmp_path / "ds"


def breaches(dataset: Path) -> list[tuple[str, str]]:
    """Return what is wrong with the dataset's own files: rule and folder."""
    found = (each for each in find_faults(dataset).findings if "!" not in each.path)
    return [(each.rule, Path(each.path).parent.name) for each in found]


def test_bytes_of_what_was_superseded_are_held_too(twice: Path) -> None:
    assert breaches(twice) == []
    names = sorted(path.name.partition(".")[2] for path in (twice / "superseded").iterdir())
    assert names == ["aside.parquet", "json", "parquet"]
    for path in (twice / "superseded").glob("*.parquet"):
        path.write_bytes(path.read_bytes() + b"x")
    assert breaches(twice) == [("schema-hash", "superseded")] * 2
    for path in (twice / "superseded").glob("*.parquet"):
        path.unlink()
    assert breaches(twice) == [("schema-hash", "superseded")] * 2


def test_what_a_run_that_died_left_in_its_old_place_is_no_breach(twice: Path) -> None:
    (record,) = (twice / "superseded").glob("*.json")
    key, old = record.stem, twice / "superseded"
    record.rename(twice / "sources" / record.name)
    (old / f"{key}.aside.parquet").rename(twice / "aside" / f"{key}.parquet")
    assert breaches(twice) == []
    (old / f"{key}.parquet").rename(twice / "samples" / f"{key}.parquet")
    assert breaches(twice) == []
    (twice / "samples" / "stray.parquet").write_bytes(b"x")
    assert breaches(twice) == [("schema-key", "samples")]


def test_a_dataset_that_changes_meanwhile_is_not_judged(twice: Path) -> None:
    more = twice.parent / "clean.csv"
    more.write_bytes(clean(1).to_bytes())

    def meanwhile(_: Record) -> None:
        convert([more], twice, options=OPTIONS)

    with pytest.raises(VambraceError, match="changed while it was looked at"):
        list(check_dataset(twice, meanwhile))


def test_a_record_that_goes_meanwhile_is_no_fault_of_the_dataset(twice: Path) -> None:
    (twice.parent / "clean.csv").write_bytes(clean(1).to_bytes())
    convert([twice.parent / "clean.csv"], twice, options=OPTIONS)

    def meanwhile(_: Record) -> None:
        for path in (twice / "sources").iterdir():
            path.unlink()

    with pytest.raises(VambraceError, match="changed while it was looked at"):
        list(check_dataset(twice, meanwhile))
