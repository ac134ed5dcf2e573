"""The command line as scripts rely on it: exit status, stdout and stderr, JSON, and a start without heavy imports."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from small_dataset import write_dataset
from vambrace.cli.app import run
from vambrace.cli.summary import SCREEN_LINES, summary_text
from vambrace.cli.texts import safe
from vambrace.output.summary import Problem, Summary

CSV = "time,heart_rate\n2024-03-01T08:00:00Z,70\n2024-03-01T08:00:01Z,0\n"


@pytest.fixture
def source(tmp_path: Path) -> Path:
    (tmp_path / "in").mkdir()
    (tmp_path / "in" / "a.csv").write_text(CSV)
    return tmp_path / "in"


def call(*arguments: str | Path, debug: bool = False) -> int:
    return run([str(each) for each in arguments], debug=debug)


def test_convert_ends_with_0_and_a_summary_on_stdout(source: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call("convert", source, "--to", source.parent / "ds") == 0
    out, err = capsys.readouterr()
    assert "1 converted" in out
    assert "heart_rate 1" in out
    assert "no medical device" in out
    assert err == ""


def test_a_rejected_source_makes_it_1_and_an_unrecognised_one_does_not(source: Path) -> None:
    (source / "notes.txt").write_text("hello\n")
    assert call("convert", source, "--to", source.parent / "ds") == 0
    (source / "b.fit").write_bytes(b"")
    assert call("convert", source, "--to", source.parent / "ds") == 1
    assert call("convert", source, "--to", source.parent / "ds") == 1


def test_json_is_one_document(source: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert call("convert", source, "--to", source.parent / "ds", "--json") == 0
    summary = json.loads(capsys.readouterr().out)
    assert summary["samples_by_signal"] == {"heart_rate": 1}
    assert call("inspect", source / "a.csv", "--json") == 0
    (found,) = json.loads(capsys.readouterr().out)
    assert (found["status"], found["rows_kept"], found["rows_absent"]) == ("converted", 1, 1)
    assert call("plugins", "--json") == 0
    assert {row["name"] for row in json.loads(capsys.readouterr().out)} >= {"fit", "gpx", "tcx", "csv", "parquet"}


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (["convert", "{in}"], "--to"),
        (["convert", "{in}/nothing", "--to", "{in}/../ds"], "no such file"),
        (["convert", "{in}", "--to", "{in}/../ds", "--zone", "Atlantic/Azore"], "Atlantic/Azores"),
        (["convert", "{in}", "--to", "{in}/../ds", "--option", "csv.delimiter"], "IMPORTER.NAME=VALUE"),
        (["convert", "{in}", "--to", "{in}/../ds", "--option", "cvs.delimiter=;"], "no importer is named 'cvs'"),
        (["convert", "{in}", "--to", "{in}/../ds", "--option", "csv.delimitr=;"], "csv.delimiter"),
        (["convert", "{in}", "--to", "{in}"], "is no dataset"),
        (["export", "{in}", "--to", "{in}/../x.csv"], "no dataset"),
        (["exprot"], "No such command"),
    ],
)
def test_what_cannot_run_is_2_with_a_sentence_and_no_traceback(
    arguments: list[str], says: str, source: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert call(*(each.replace("{in}", str(source)) for each in arguments)) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert says in err
    assert "Traceback" not in err


def test_a_plugin_that_ends_the_program_is_no_success(
    source: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("vambrace.api.plugins", lambda: sys.exit(0))
    assert call("plugins") == 2
    assert "a plugin ended the program" in capsys.readouterr().err


def test_debug_shows_the_traceback(source: Path) -> None:
    with pytest.raises(Exception, match="no such file"):
        call("convert", source / "nothing", "--to", source.parent / "ds", debug=True)


def test_export_says_what_it_wrote(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = write_dataset(tmp_path / "ds")
    assert call("export", folder, "--to", tmp_path / "x.csv", "--table", "heart_rate") == 0
    assert "5 rows of heart_rate" in capsys.readouterr().out
    assert (tmp_path / "x.csv").read_text().count("\n") == 6


def test_inspect_shows_field_unit_and_what_is_not_carried(source: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (source / "b.csv").write_text("time,HR [1/min],mood\n2024-03-01T08:00:00Z,70,good\n")
    assert call("inspect", source / "b.csv") == 0
    out = capsys.readouterr().out
    assert "HR [1/min]" in out
    assert "mood (1)" in out
    assert not any(path.name != "in" for path in source.parent.iterdir())


HEAVY = ("numpy", "pandas", "pyarrow", "lxml", "pint", "fitdecode", "rich", "vambrace_plugins")


@pytest.mark.parametrize("arguments", [["--help"], ["convert", "--help"], ["export", "--help"], ["--version"]])
def test_help_imports_nothing_heavy(arguments: list[str]) -> None:
    found = f"[name for name in {HEAVY} if name in sys.modules]"
    code = f"import sys; from vambrace.cli.app import run; run({arguments!r}); print({found})"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.splitlines()[-1] == "[]"


def test_output_off_a_terminal_holds_no_control_characters(source: Path) -> None:
    (source / "evil\x1b[31m\nname.txt").write_text("hello\n")
    command = [sys.executable, "-c", "from vambrace.cli import main; main()", "convert", str(source), "--to", "ds"]
    done = subprocess.run(command, cwd=source.parent, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert "\x1b" not in done.stdout + done.stderr
    assert "evil\\x1b[31m\\x0aname.txt" in done.stdout


def test_a_reader_that_goes_away_ends_it_quietly(tmp_path: Path) -> None:
    command = f"{sys.executable} -c 'from vambrace.cli import main; main()' plugins --json | head -c 1"
    done = subprocess.run(["bash", "-o", "pipefail", "-c", command], capture_output=True, text=True, check=False)
    assert done.stderr == ""


def many(problems: int) -> Summary:
    one = Problem("folder/some/file.csv", "in", "rejected", "a sentence of a certain length. " * 6)
    return Summary(
        dataset="a/rather/long/path/to/a/dataset",
        files_by_status={"converted": 100_000, "rejected": problems, "unrecognised": 3, "duplicate": 2, "ignored": 4},
        samples_by_signal={f"signal_number_{n}": 10**9 for n in range(17)},
        recordings=100_000,
        first_time_us=0,
        last_time_us=10**15,
        set_aside_by_reason={f"reason-{n}": 1000 for n in range(9)},
        problems=(one,) * problems,
        findings_by_severity={"note": 5, "warning": 2},
    )


@pytest.mark.parametrize("problems", [0, 1, 2, 50])
def test_summary_fits_a_screen_of_80_by_24(problems: int) -> None:
    lines = summary_text(many(problems), 80).splitlines()
    assert len(lines) <= SCREEN_LINES
    assert max(map(len, lines)) <= 80
    assert ("and" in "".join(lines)) or problems < 2


def test_what_the_summary_cuts_can_be_seen_whole() -> None:
    see = "--table files"
    assert see not in summary_text(many(1), 80)
    assert see in summary_text(many(50), 80)
    assert "more" in summary_text(many(50), 80)
    long = Problem("a.csv", "in", "rejected", "a sentence of a certain length. " * 60)
    text = summary_text(replace(many(1), problems=(long,)), 80)
    assert len(text.splitlines()) <= SCREEN_LINES
    assert see in text


@pytest.mark.parametrize("columns", [40, 60, 120])
def test_summary_keeps_to_the_width(columns: int) -> None:
    lines = summary_text(many(2), columns).splitlines()
    # A word that is longer than the line cannot be broken without becoming another word: paths and commands.
    assert all(len(line) <= columns or len(line.split()) < 12 for line in lines)


def test_safe_shows_control_characters_and_changes_of_direction() -> None:
    assert safe("a\x1b[0m\u202eb\n") == "a\\x1b[0m\\u202eb\\x0a"


def test_the_environment_does_not_need_a_home(tmp_path: Path, source: Path) -> None:
    environment = {key: value for key, value in os.environ.items() if key not in ("HOME", "LANG", "LC_ALL", "TERM")}
    command = [sys.executable, "-c", "from vambrace.cli import main; main()", "convert", str(source), "--to", "ds"]
    done = subprocess.run(command, cwd=tmp_path, env=environment, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
