"""The first rows that `inspect` shows: as read and as kept, also of a source that is refused after them."""

from __future__ import annotations

import json
import zipfile
from pathlib import Path

import pytest
from click.testing import CliRunner

from vambrace.api import inspect
from vambrace.cli.inspecting import inspect as command
from vambrace.cli.inspection import inspection_text
from vambrace.errors import VambraceError

HEAD = "time,oxygen saturation (fraction)\n"
GOOD = "2031-03-04T10:00:00-01:00,0.976\n2031-03-04T10:00:30-01:00,1.5\n2031-03-04T10:01:00-01:00,0.965\n"
BACK = "time,heart rate (bpm),steps\n2031-03-04T10:00:00Z,60,5\n2031-03-04T09:00:00Z,61,2\n"
TOTALS = {"csv": {"counting": "steps=increment"}}


def written(folder: Path, text: str) -> str:
    path = folder / "ring.csv"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_a_row_stands_in_both_forms(tmp_path: Path) -> None:
    (found,) = inspect([written(tmp_path, HEAD + GOOD)])
    first, second = found.first_rows
    assert (first["time_in_source"], first["value_in_source"]) == ("2031-03-04T10:00:00-01:00", "0.976")
    assert (first["time"], first["end_time"]) == ("2031-03-04T11:00:00.000000Z", None)
    assert (first["value"], first["unit"]) == (pytest.approx(97.6), "%")
    assert second["record"] == first["record"] + 2
    (aside,) = found.first_set_aside
    assert (aside["found"], aside["record"]) == ("1.5", first["record"] + 1)
    assert not found.rows_discarded


@pytest.mark.parametrize("rows", [0, 1, 2])
def test_rows_says_how_many_are_shown(tmp_path: Path, rows: int) -> None:
    done = CliRunner().invoke(command, [written(tmp_path, HEAD + GOOD), "--rows", str(rows), "--json"])
    (found,) = json.loads(done.stdout)
    assert (len(found["first_rows"]), len(found["first_set_aside"])) == (rows, min(rows, 1))


def test_every_importer_says_its_claim(tmp_path: Path) -> None:
    (found,) = inspect([written(tmp_path, HEAD + GOOD)])
    assert found.claims["csv"] == "content"
    assert {found.claims[name] for name in ("fit", "gpx", "tcx")} == {"none"}
    assert "csv by content; " in inspection_text(found, columns=120)


def test_rows_before_a_refusal_are_shown_as_not_kept(tmp_path: Path) -> None:
    (found,) = inspect([written(tmp_path, BACK)], options=TOTALS)
    assert (found.status, found.rows_kept, found.rows_discarded) == ("rejected", 0, True)
    assert [row["value"] for row in found.first_rows if row["signal"] == "heart_rate"] == [60, 61]
    text = inspection_text(found, columns=80)
    assert "read before the refusal, not kept" in text
    assert "as kept" not in text


@pytest.mark.parametrize("columns", [50, 80, 140])
def test_rows_fit_the_width(tmp_path: Path, columns: int) -> None:
    (found,) = inspect([written(tmp_path, HEAD + GOOD)])
    text = inspection_text(found, columns=columns)
    assert max(map(len, text.splitlines()[1:])) <= columns  # The path on the first line stays whole.
    assert "0.976 fraction" in text
    assert "97.6 %" in text


def test_zone_and_option_reach_the_member_of_an_archive(tmp_path: Path) -> None:
    path = tmp_path / "day.zip"
    with zipfile.ZipFile(path, "w") as archive:
        archive.writestr("ring.csv", "time,steps\n2031-03-04 10:00:00,5\n2031-03-04 10:01:00,2\n")
    found = inspect([path], zone="Atlantic/Azores", options=TOTALS)
    (member,) = (each for each in found if each.importer == "csv")
    assert [(row["time"], row["value"]) for row in member.first_rows] == [
        ("2031-03-04T11:00:00.000000Z", 5),
        ("2031-03-04T11:01:00.000000Z", 7),
    ]


def test_a_file_that_is_not_there_is_said(tmp_path: Path) -> None:
    with pytest.raises(VambraceError, match="there is no such file"):
        inspect([tmp_path / "nowhere.csv"])
