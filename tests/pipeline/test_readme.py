"""The README and DEVELOPERS.md as a stranger would try them: what is shown is what comes out."""

from __future__ import annotations

import importlib.util
import re
import subprocess
import sys
import types
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

from converted import statuses, table
from vambrace import registry
from vambrace.api import convert
from vambrace.api import converting as converting_module

ROOT = Path(__file__).parents[2]


def blocks(page: str, language: str) -> list[str]:
    text = (ROOT / page).read_text(encoding="utf-8")
    return re.findall(rf"^```{language}\n(.*?)^```$", text, re.DOTALL | re.MULTILINE)


def test_shown_output_is_what_the_commands_print_today() -> None:
    place = ROOT / "tests" / "release" / "write_readme.py"
    spec = importlib.util.spec_from_file_location("write_readme", place)
    assert spec is not None
    assert spec.loader is not None
    script = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(script)
    shown = [block.rstrip("\n") for block in blocks("README.md", "text")]
    assert shown == script.outputs()


def test_first_two_sh_blocks_are_the_set_up_and_nothing_else() -> None:
    first, second = blocks("README.md", "sh")[:2]
    assert [line.split()[-1] for line in first.splitlines()] == [".venv", ".", "demo"]
    assert [line.split()[-1] for line in second.splitlines()] == [".venv", "'.[test]'", "-q"]


def test_python_of_the_readme_runs_on_the_demo(tmp_path: Path) -> None:
    command = [sys.executable, "-c", "from vambrace.cli import main; main()", "demo"]
    subprocess.run(command, cwd=tmp_path, check=True, capture_output=True)
    (code,) = blocks("README.md", "python")
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, check=True, capture_output=True, text=True)
    assert "outside-domain" in done.stdout
    assert "not-worn" in done.stdout


def test_options_that_the_readme_names_exist() -> None:
    page = (ROOT / "README.md").read_text(encoding="utf-8")
    code = "from vambrace.cli.app import run\nfor c in ('convert', 'export', 'inspect', 'validate'): run([c, '-h'])"
    shown = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True).stdout
    for option in set(re.findall(r"(?<![\w-])--[a-z]+", page)) - {"--quiet"}:
        assert option in shown, option


def test_the_importer_of_the_developers_page_reads_its_format(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (code,) = blocks("DEVELOPERS.md", "python")
    module = types.ModuleType("pulse_of_the_page")
    monkeypatch.setitem(sys.modules, "pulse_of_the_page", module)
    exec(code, module.__dict__)
    found = registry.collect([EntryPoint("pulse", "pulse_of_the_page", registry.GROUP)])
    assert [each.fault for each in found.installed] == [""]
    monkeypatch.setattr(converting_module.registry, "load", lambda *_: found)
    (tmp_path / "a.log").write_bytes(b"PULSE1\n1709280000\t70\n1709280001\t71\n")
    (tmp_path / "b.log").write_bytes(b"PULSE1\n1709280000\t70\n17092\n")
    convert([tmp_path / "a.log", tmp_path / "b.log"], tmp_path / "ds")
    assert statuses(tmp_path / "ds") == {"a.log": "converted", "b.log": "rejected"}
    (recording,) = table(tmp_path / "ds", "recordings")
    assert recording["start_time"].isoformat() == "2024-03-01T08:00:00+00:00"
