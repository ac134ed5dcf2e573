"""The project that `vambrace new-importer` writes: it installs offline, passes its tests, reads its sample."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from fresh_environment import PIP, fresh_environment, ran
from vambrace.cli.app import run
from vambrace.errors import VambraceError
from vambrace.scaffold import new_importer

PROGRAM = ["-c", "from vambrace.cli import main; main()"]


def done(python: Path | str, *arguments: str | Path, cwd: Path) -> str:
    return ran([str(python), *map(str, arguments)], cwd)


@pytest.fixture(scope="module")
def fresh(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return fresh_environment(tmp_path_factory.mktemp("fresh") / "venv")


@pytest.fixture(scope="module")
def project(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Write a project through the command line."""
    into = tmp_path_factory.mktemp("projects")
    assert run(["new-importer", "loom-log", "--into", str(into)]) == 0
    return into / "vambrace-loom-log"


def test_it_installs_without_a_network_and_its_tests_are_green_at_once(project: Path, fresh: Path) -> None:
    offline = re.search(r"pip (install --no-index .*) \.$", (project / "README.md").read_text("utf-8"), re.MULTILINE)
    assert offline is not None, "README.md does not say how to install without a network"
    ran([*PIP, "--python", str(fresh), *offline[1].split(), "."], project)
    rows = json.loads(done(fresh, *PROGRAM, "plugins", "--json", cwd=project))
    (row,) = [row for row in rows if row["name"] == "loom-log"]
    assert (row["package"], row["version"], row["fault"]) == ("vambrace-loom-log", "0.1.0", "")

    said = done(fresh, "-m", "pytest", "-q", "-p", "no:cacheprovider", cwd=project)
    passed = re.search(r"(\d+) passed", said)
    assert passed is not None
    # Its own three and the kit's.
    assert int(passed[1]) > 8
    assert "skipped" not in said

    sample = next((project / "tests" / "samples").iterdir())
    assert "1 converted" in done(fresh, *PROGRAM, "convert", sample, "--to", project / "ds", cwd=project)
    done(fresh, *PROGRAM, "export", project / "ds", "--to", project / "rates.csv", "--table", "heart_rate", cwd=project)
    rates = (project / "rates.csv").read_text("utf-8")
    assert "64.5" in rates
    assert rates.count("\n") == 4


def test_it_installs_editable_without_a_network_too(project: Path, fresh: Path, tmp_path: Path) -> None:
    offline = ["install", "--no-index", "--no-build-isolation", "--no-deps", "-e", str(project)]
    ran([*PIP, "--python", str(fresh), *offline], tmp_path)
    where = done(fresh, "-c", "import vambrace_loom_log as p; print(p.__file__)", cwd=tmp_path)
    assert Path(where.strip()).is_relative_to(project / "src")


@pytest.mark.parametrize(
    ("name", "says"),
    [
        ("Loom Log", "Try loom-log."),
        ("loom_log", "Try loom-log."),
        ("9loom", "Try a name such as my-export."),
        ("-loom", "Try loom."),
        ("", "Try a name such as my-export."),
        ("../loom", "Try loom."),
        ("loom\n", "Try loom."),
        ("lööm", "small letters and digits"),
        ("l" * 41, "40 in all"),
        ("fit", "installed already.*my-fit"),
        ("plugins", "vambrace_plugins, and one of that name is installed.*my-plugins"),
    ],
)
def test_a_name_that_cannot_be_one_is_refused_with_a_sentence(name: str, says: str, tmp_path: Path) -> None:
    with pytest.raises(VambraceError, match=says):
        new_importer(name, tmp_path)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_is_there_is_never_overwritten(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "vambrace-loom").mkdir()
    assert run(["new-importer", "loom", "--into", str(tmp_path)]) == 2
    assert "it is there already, and nothing in it is overwritten. Give another name" in capsys.readouterr().err
    assert list((tmp_path / "vambrace-loom").iterdir()) == []
    (tmp_path / "file").write_text("mine")
    assert run(["new-importer", "loom", "--into", str(tmp_path / "file")]) == 2
    assert "cannot be written" in capsys.readouterr().err
    assert (tmp_path / "file").read_text() == "mine"


@pytest.mark.parametrize("name", ["a", "class", "loom9", "a-1-b"])
def test_what_it_writes_is_python_whatever_the_name(name: str, tmp_path: Path) -> None:
    for path in new_importer(name, tmp_path):
        text = path.read_text("utf-8")
        assert "${" not in text
        if path.suffix == ".py":
            assert max(map(len, text.splitlines())) <= 120
            compile(text, str(path), "exec")
