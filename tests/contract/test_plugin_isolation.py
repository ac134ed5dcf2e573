"""A zoo of wrong plugins, as installed: each is listed with package, version and fault, and hurts nobody."""

from __future__ import annotations

import json
import logging
import os
import signal
import subprocess
import sys
import threading
import time
import types
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any, ClassVar

import pytest

from vambrace import asking, conduct, recognise, registry
from vambrace.asking import TimedOut, within
from vambrace.plugin import Claim, Head, Source, hookimpl

HEADER = """
from dataclasses import dataclass
import logging, sys, time, warnings
from vambrace.plugin import Claim, hookimpl

@dataclass(frozen=True)
class Options:
    pass

class Importer:
    name, version, title, Options, end_mark = "{name}", "1", "Zoo", Options, False
    def recognise(self, head):
        return Claim.SIGNATURE if head.data.startswith(b"{name}") else Claim.NONE
    def read(self, source):
        yield from ()

@hookimpl
def vambrace_importers():
    return [Importer()]
"""

ZOO = {
    "unimportable": ("import a_module_that_nobody_has", "ModuleNotFoundError"),
    "syntax": ("def", "SyntaxError"),
    "leaving": ("sys.exit(7)", "SystemExit: 7"),
    "interrupting": ("raise KeyboardInterrupt", "it raised KeyboardInterrupt"),
    "interrupted": (
        "def no(self, head):\n    raise KeyboardInterrupt\nImporter.recognise = no",
        "it fails whatever file",
    ),
    "unhooked": ("@hookimpl\ndef vambrace_importers():\n    raise OSError('no licence')", "no licence"),
    "listless": ("@hookimpl\ndef vambrace_importers():\n    return 7", "could not be listed"),
    "nameless": ("Importer.name = property(lambda self: 1 / 0)", "ZeroDivisionError"),
    "misnamed": ("Importer.name = 'Two words'", "'Two words' is no word of small letters"),
    "optionless": ("Importer.Options = dict", "no dataclass"),
    "greedy": ("Importer.recognise = lambda self, head: Claim.SIGNATURE", "it claims every file"),
    "hinting": ("Importer.recognise = lambda self, head: Claim.NAME", "it claims every file"),
    "raising": ("Importer.recognise = lambda self, head: 1 / 0", "it fails whatever file it is asked about"),
    "answering": ("Importer.recognise = lambda self, head: 'yes'", "it fails whatever file it is asked about"),
    "hanging": ("Importer.recognise = lambda self, head: time.sleep(600)", "does not answer within 2 s"),
    "usurping": ("Importer.name = 'csv'", "that of a built-in importer"),
    "twin-a": ("Importer.name = 'twin'", "used twice, by zoo-twin-a 1.5 and zoo-twin-b 1.5"),
    "twin-b": ("Importer.name = 'twin'", "used twice, by zoo-twin-a 1.5 and zoo-twin-b 1.5"),
}
"""What each wrong plugin does besides, and what its fault says."""
LOUD = """
for n in range(3000):
    warnings.warn(f"import {n}")
    print("import", n)

def recognise(self, head):
    warnings.warn(f"asked about {head.name}")
    print("asked")
    return Claim.SIGNATURE if head.data.startswith(b"loud") else Claim.NONE

def read(self, source):
    for n in range(3000):
        warnings.warn(f"row {n}")
        print("row", n)
        logging.getLogger("loud").warning("odd")
    yield from ()

Importer.recognise, Importer.read = recognise, read
"""
CRASHING = "Importer.read = lambda self, source: 1 / 0"
CANCELLED = "import asyncio\ndef read(self, source):\n    raise asyncio.CancelledError\nImporter.read = read"
GOOD = "time,heart_rate\n2024-03-01T08:00:00Z,70\n2024-03-01T08:00:01Z,71\n"
PROGRAM = [sys.executable, "-c", "from vambrace.cli import main; main()"]


def install(site: Path, name: str, more: str) -> None:
    """Put a package into a folder as an installer would."""
    module = f"zoo_{name.replace('-', '_')}"
    (site / f"{module}.py").write_text(HEADER.replace("{name}", name) + more, encoding="utf-8")
    info = site / f"{module}-1.5.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(f"Metadata-Version: 2.1\nName: zoo-{name}\nVersion: 1.5\n", encoding="utf-8")
    (info / "entry_points.txt").write_text(f"[vambrace]\n{name} = {module}\n", encoding="utf-8")


def command(site: Path, *arguments: str | Path) -> subprocess.CompletedProcess[str]:
    path = os.pathsep.join(filter(None, [str(site), os.environ.get("PYTHONPATH", "")]))
    environment = {**os.environ, "PYTHONPATH": path, "PYTHONDONTWRITEBYTECODE": "1"}
    return subprocess.run(
        [*PROGRAM, *map(str, arguments)], env=environment, capture_output=True, text=True, check=False
    )


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Install the whole zoo, and three that do wrong only with a file of their own."""
    folder = tmp_path_factory.mktemp("site")
    for name, (more, _) in ZOO.items():
        install(folder, name, more)
    for name, more in (("loud", LOUD), ("crashing", CRASHING), ("cancelled", CANCELLED)):
        install(folder, name, more)
    return folder


def test_every_wrong_plugin_is_listed_with_package_version_and_fault_and_the_others_work(site: Path) -> None:
    done = command(site, "plugins", "--json")
    assert (done.returncode, done.stderr) == (0, "")
    rows = json.loads(done.stdout)
    for name, (_, fault) in ZOO.items():
        (row,) = [row for row in rows if row["package"] == f"zoo-{name}"]
        assert row["version"] == "1.5"
        assert fault in row["fault"]
    good = {(row["kind"], row["name"]) for row in rows if not row["fault"]}
    assert good >= {("importer", name) for name in ("fit", "gpx", "tcx", "csv", "loud", "crashing", "cancelled")}
    assert good >= {("writer", name) for name in ("parquet", "csv", "arrow")}
    shown = command(site, "plugins").stdout
    assert "failed: importer greedy of zoo-greedy 1.5: it claims every file" in " ".join(shown.split())


def test_a_conversion_beside_the_whole_zoo_loses_nothing_and_stays_readable(site: Path, tmp_path: Path) -> None:
    folder = tmp_path / "in"
    folder.mkdir()
    (folder / "good.csv").write_text(GOOD)
    for name in ("loud", "crashing", "cancelled"):
        (folder / f"{name}.bin").write_text(name)
    done = command(site, "convert", folder, "--to", tmp_path / "ds", "--json")
    assert (done.returncode, done.stderr) == (1, "")
    summary = json.loads(done.stdout)
    assert summary["samples_by_signal"] == {"heart_rate": 2}
    reasons = {row["path"]: row["reason"] for row in summary["problems"]}
    assert "the importer crashing 1 failed: ZeroDivisionError" in reasons["crashing.bin"]
    assert "the importer cancelled 1 failed: CancelledError" in reasons["cancelled.bin"]
    # A hundred different notes, one for those beyond, and none by the thousand.
    assert summary["findings_by_severity"]["note"] < 210


def test_a_run_whose_importer_hangs_can_be_stopped(tmp_path: Path) -> None:
    (tmp_path / "site").mkdir()
    waits = "import pathlib\ndef read(self, source):\n    pathlib.Path('begun').touch()\n    while True:\n"
    install(tmp_path / "site", "endless", waits + "        time.sleep(0.01)\n    yield\nImporter.read = read")
    (tmp_path / "a.csv").write_text(GOOD)
    (tmp_path / "b.bin").write_text("endless")
    path = os.pathsep.join(filter(None, [str(tmp_path / "site"), os.environ.get("PYTHONPATH", "")]))
    arguments = ["convert", "a.csv", "b.bin", "--to", "ds", "--jobs", "1"]
    run = subprocess.Popen(
        [*PROGRAM, *arguments], cwd=tmp_path, env={**os.environ, "PYTHONPATH": path}, stderr=subprocess.PIPE, text=True
    )
    late = time.monotonic() + 60
    while not (tmp_path / "begun").exists():
        assert time.monotonic() < late
        time.sleep(0.02)
    run.send_signal(signal.SIGINT)
    _, said = run.communicate(timeout=30)
    assert run.returncode == 130
    assert "Stopped. What was committed before stands" in said


@dataclass(frozen=True)
class NoOptions:
    """None."""


class Asked:
    """Answers as told."""

    version, title, end_mark = "1", "Asked", False
    Options: ClassVar[type] = NoOptions

    def __init__(self, name: str, answer: Callable[[Head], Any]) -> None:
        self.name, self.answer = name, answer

    def recognise(self, head: Head) -> Claim:
        return self.answer(head)  # type: ignore[no-any-return]

    def read(self, source: Source) -> Iterator[Any]:
        yield from ()


def own(head: Head) -> Claim:
    return Claim.CONTENT if head.data == b"own" else Claim.NONE


def busy(head: Head) -> Claim:
    while True:
        try:
            sum(range(100))
        except Exception:
            continue


HEAD = Head("x.bin", b"own", 3)


def test_an_importer_that_hangs_on_one_file_is_not_asked_again_and_costs_nobody_an_answer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(recognise, "ANSWER_S", 0.1)
    monkeypatch.setattr(recognise, "_HUNG", [])
    importers = [Asked("a", own), Asked("stuck", busy), Asked("b", lambda _: Claim.NAME)]
    before = threading.active_count()
    first = recognise.recognise(HEAD, importers)
    assert (first.importer.name, first.claim) == ("a", Claim.CONTENT)
    assert first.notes[0] == "the importer stuck did not answer within 0.1 s, and is not asked again"
    began = time.monotonic()
    second = recognise.recognise(HEAD, importers)
    assert time.monotonic() - began < 0.1
    assert second.notes[0] == "the importer stuck was not asked, since it did not answer before"
    late = time.monotonic() + 10
    while threading.active_count() > before:
        assert time.monotonic() < late, "the thread that hangs was not stopped"
        time.sleep(0.01)


def test_a_slow_answer_is_no_fault_of_the_next(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(recognise, "ANSWER_S", 0.2)
    monkeypatch.setattr(recognise, "_HUNG", [])

    def slow(head: Head) -> Claim:
        time.sleep(0.15)
        return own(head)

    importers = [Asked(str(n), slow) for n in range(3)]
    assert [each.fault for each in recognise.ask(HEAD, importers)] == ["", "", ""]  # type: ignore[arg-type]


def test_what_runs_within_a_limit_returns_raises_and_ends_as_it_would_alone() -> None:
    assert within(5, lambda: 7) == 7
    with pytest.raises(KeyError):
        within(5, lambda: {}["x"])
    with pytest.raises(TimedOut):
        within(0.05, lambda: time.sleep(0.5))


@pytest.fixture
def entry(monkeypatch: pytest.MonkeyPatch) -> Callable[[str, Callable[[], Any]], EntryPoint]:
    """Return a function that makes an entry point of importers."""

    def make(name: str, hook: Callable[[], Any]) -> EntryPoint:
        made = types.ModuleType(f"vambrace_zoo_{name}")
        made.vambrace_importers = hookimpl(hook)  # type: ignore[attr-defined]
        monkeypatch.setitem(sys.modules, made.__name__, made)
        return EntryPoint(name, made.__name__, registry.GROUP)

    return make


def test_a_plugin_that_hangs_while_it_loads_is_listed_and_the_next_is_loaded(
    entry: Callable[..., EntryPoint], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(registry, "LOADING_S", 0.1)
    points = [entry("slow", lambda: time.sleep(0.5)), entry("good", lambda: [Asked("good", own)])]
    found = registry.collect(points)
    assert list(found.importers) == ["good"]
    assert [each.fault for each in found.installed if each.fault] == [
        "its importers could not be listed: it did not come back within 0.1 s"
    ]


def test_an_importer_is_judged_by_what_it_does_with_bytes_of_nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(conduct, "ANSWER_S", 0.1)
    assert conduct.misconduct(Asked("good", own)) == ""
    picky = Asked("picky", lambda head: Claim.NAME if head.suffix == ".png" else Claim.NONE)
    assert conduct.misconduct(picky) == ""
    binary = Asked("text only", lambda head: own(head) if head.data.decode("ascii") else Claim.NONE)
    assert conduct.misconduct(binary) == ""
    assert "every file" in conduct.misconduct(Asked("greedy", lambda _: Claim.CONTENT))
    assert "does not answer" in conduct.misconduct(Asked("stuck", busy))
    assert conduct.misconduct(registry.load().importer("csv")) == ""


def test_noise_is_handed_on_and_the_streams_are_what_they_were(capsys: pytest.CaptureFixture[str]) -> None:
    heard: list[tuple[str, str]] = []
    stdout, shown, last = sys.stdout, warnings.showwarning, logging.lastResort
    with asking.hushed(lambda rule, text: heard.append((rule, text))):
        warnings.warn("odd", stacklevel=1)
        print("one\ntwo")
        logging.getLogger("zoo").error("no %s", "luck")
    assert heard[0] == ("decoder-warning", "odd")
    assert [text for rule, text in heard if rule == "decoder-output"] == [
        "the importer prints: one",
        "the importer prints: two",
    ]
    assert (sys.stdout, warnings.showwarning, logging.lastResort) == (stdout, shown, last)
    assert capsys.readouterr().out == ""


def test_an_error_that_cannot_be_put_into_words_is_described_all_the_same() -> None:
    class Mute(Exception):
        def __str__(self) -> str:
            raise RuntimeError

    assert asking.described(Mute()) == "Mute: it cannot say what"
