"""What `inspect --all` says of a file: every importer's claim and evidence, who wins, and what would settle a tie."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from types import MappingProxyType
from typing import Any, ClassVar

import pytest

from vambrace import registry
from vambrace.api import inspecting
from vambrace.cli.app import run
from vambrace.plugin import Claim, Head, Source
from vambrace.registry import Installed, Registry


@dataclass(frozen=True)
class NoOptions:
    """None."""


class Toy:
    version, title, end_mark = "1", "Toy", False
    Options: ClassVar[type] = NoOptions

    def __init__(self, name: str, answer: Callable[[Head], Claim]) -> None:
        self.name, self.answer = name, answer

    def recognise(self, head: Head) -> Claim:
        return self.answer(head)

    def read(self, source: Source) -> Iterator[Any]:
        yield from ()


def installed(monkeypatch: pytest.MonkeyPatch, *toys: Toy) -> None:
    rows = tuple(Installed("importer", toy.name, "Toy", f"package-{toy.name}", "2.0", toy) for toy in toys)
    found = Registry(MappingProxyType({toy.name: toy for toy in toys}), MappingProxyType({}), rows)
    monkeypatch.setattr(inspecting.registry, "load", lambda *_: found)


def always(head: Head) -> Claim:
    return Claim.CONTENT.because("the first line has a comma")


def by_suffix(head: Head) -> Claim:
    return Claim.CONTENT.because("the name ends with .log") if head.suffix == ".log" else Claim.NONE


def crash(head: Head) -> Claim:
    raise ValueError("boom")


def shown(path: Path, capsys: pytest.CaptureFixture[str], *more: str) -> str:
    assert run(["inspect", str(path), "--all", *more]) == 0
    return capsys.readouterr().out


@pytest.fixture
def path(tmp_path: Path) -> Path:
    (tmp_path / "a.log").write_text("one, two\n")
    return tmp_path / "a.log"


def test_each_importer_says_what_it_claims_and_why_and_the_winner_is_marked(
    path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    sure = Toy("sure", lambda _: Claim.SIGNATURE.because("byte 3 is a comma"))
    installed(monkeypatch, sure, Toy("all", always), Toy("bad", crash), Toy("none", lambda _: Claim.NONE))
    lines = [line.rstrip() for line in shown(path, capsys).splitlines()]
    begin = lines.index("claims     all: content (package-all 2.0)")
    assert lines[begin : begin + 7] == [
        "claims     all: content (package-all 2.0)",
        "             the first line has a comma",
        "           bad: failed (package-bad 2.0)",
        "             failed when asked: ValueError: boom",
        "           none: none (package-none 2.0)",
        "           sure: signature, wins (package-sure 2.0)",
        "             byte 3 is a comma",
    ]
    (found,) = json.loads(shown(path, capsys, "--json"))
    assert found["claims"] == {"all": "content", "bad": "failed", "none": "none", "sure": "signature"}
    assert found["asked"][3] == {
        "importer": "sure",
        "package": "package-sure",
        "package_version": "2.0",
        "claim": "signature",
        "evidence": "byte 3 is a comma",
        "wins": True,
    }
    assert [row["wins"] for row in found["asked"][:3]] == [False] * 3
    assert found["settled_by"] == ""


def test_a_tie_that_another_name_settles_says_so_and_the_name_does_settle_it(
    path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    installed(monkeypatch, Toy("all", always), Toy("suffix", by_suffix))
    out = " ".join(shown(path, capsys).split())
    assert "a tie Without its suffix .log only all claims it" in out
    assert "wins" not in out
    (found,) = json.loads(shown(path, capsys, "--json"))
    assert found["status"] == "rejected"
    assert found["settled_by"] in found["reason"]
    bare = path.rename(path.with_suffix(""))
    (found,) = json.loads(shown(bare, capsys, "--json"))
    assert [row["importer"] for row in found["asked"] if row["wins"]] == ["all"]


def test_a_tie_that_no_name_settles_says_to_uninstall_one(
    path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    installed(monkeypatch, Toy("all", always), Toy("other", always))
    assert "a tie Uninstall one of the two packages" in " ".join(shown(path, capsys).split())


@pytest.mark.parametrize(
    ("name", "head", "importer", "evidence"),
    [
        ("a.fit", b"\x0e\x10\x00\x00\x00\x00\x00\x00.FIT\x00\x00", "fit", "bytes 8 to 11 are .FIT"),
        ("a.fit", b"nothing", "fit", "the name ends with .fit"),
        ("a.xml", b'<gpx version="1.1">', "gpx", "the root element is gpx"),
        ("a.xml", b"<TrainingCenterDatabase>", "tcx", "the root element is TrainingCenterDatabase"),
        ("a.csv", b"time;pulse;mood\n", "csv", "the first line has columns that are known: time, pulse"),
        ("a.csv", b"hello\n", "csv", "the name ends with .csv"),
    ],
)
def test_built_ins_say_what_their_claims_rest_on(name: str, head: bytes, importer: str, evidence: str) -> None:
    claim = registry.load().importer(importer).recognise(Head(name, head, len(head)))
    assert claim.evidence == evidence
