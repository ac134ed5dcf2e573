"""Mapping files through whole conversions: worker processes, identity of sources, ties, and packages."""

from __future__ import annotations

import sys
import types
from importlib.metadata import EntryPoint
from pathlib import Path

import pytest

import vambrace
from converted import ledger, samples, table
from vambrace import registry
from vambrace.cli.app import run
from vambrace.plugin import hookimpl

MAPPING = """name = "band"
[source]
kind = "csv"
[time]
column = "when"
zone = "UTC"
[[signals]]
field = "puls"
signal = "heart_rate"
unit = "bpm"
"""


@pytest.fixture
def exports(tmp_path: Path) -> Path:
    folder = tmp_path / "exports"
    folder.mkdir()
    for n in range(6):
        (folder / f"{n}.csv").write_text(f"when,puls,x\n2031-03-0{n + 1}T09:00:00,6{n},1\n")
    return folder


def mapping(folder: Path, text: str = MAPPING, name: str = "band.toml") -> Path:
    path = folder / name
    path.write_text(text, "utf-8")
    return path


def test_workers_get_the_mapping(exports: Path, tmp_path: Path) -> None:
    known = str(mapping(tmp_path))
    assert run(["convert", str(exports), "--to", str(tmp_path / "two"), "--jobs", "2", "--mapping", known]) == 0
    assert run(["convert", str(exports), "--to", str(tmp_path / "one"), "--jobs", "1", "--mapping", known]) == 0
    assert sorted(samples(tmp_path / "two")["value"].to_pylist()) == [60, 61, 62, 63, 64, 65]
    assert samples(tmp_path / "one").equals(samples(tmp_path / "two"))


def test_a_changed_mapping_converts_again_and_an_unchanged_one_does_not(exports: Path, tmp_path: Path) -> None:
    known, dataset = mapping(tmp_path), tmp_path / "ds"
    first = vambrace.convert([exports], to=dataset, mappings=[known])
    again = vambrace.convert([exports], to=dataset, mappings=[known])
    assert (first.new, again.new, again.unchanged) == (6, 0, 6)
    mapping(tmp_path, f"absent = [60]\n{MAPPING}")
    assert vambrace.convert([exports], to=dataset, mappings=[known]).new == 6
    assert sorted(samples(dataset)["value"].to_pylist()) == [61, 62, 63, 64, 65]


def test_a_conversion_names_the_mapping(exports: Path, tmp_path: Path) -> None:
    vambrace.convert([exports], to=tmp_path / "ds", mappings=[mapping(tmp_path)])
    for row in table(tmp_path / "ds", "recordings"):
        assert any(text.startswith("read by the mapping band.toml (SHA-256 ") for text in row["conversions"])


def test_two_mappings_that_fit_are_refused_and_both_are_named(exports: Path, tmp_path: Path) -> None:
    known = [mapping(tmp_path), mapping(tmp_path, MAPPING.replace('"band"', '"ring"'), "ring.toml")]
    vambrace.convert([exports], to=tmp_path / "ds", mappings=known)
    for row in ledger(tmp_path / "ds").values():
        assert row["status"] == "rejected"
        assert "band and ring" in row["reason"]


def test_a_wrong_mapping_stops_the_run_before_anything_is_written(
    exports: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    known = mapping(tmp_path, MAPPING.replace("bpm", "furlong"))
    for command in (["convert", str(exports), "--to", str(tmp_path / "ds")], ["inspect", str(exports / "0.csv")]):
        assert run([*command, "--mapping", str(known)]) == 2
        assert 'band.toml, line 10: "furlong" is no unit of heart_rate. Give one of' in capsys.readouterr().err
    assert not (tmp_path / "ds").exists()


@pytest.mark.parametrize("content", [None, b"\xff\xfe\x00"])
def test_a_mapping_that_cannot_be_read_is_said(exports: Path, tmp_path: Path, content: bytes | None) -> None:
    path = tmp_path / "band.toml"
    if content is not None:
        path.write_bytes(content)
    with pytest.raises(vambrace.VambraceError, match=r"band\.toml"):
        vambrace.inspect([exports], mappings=[path])


def test_one_name_for_two_things_is_refused(exports: Path, tmp_path: Path) -> None:
    twins = [mapping(tmp_path), mapping(tmp_path, MAPPING, "again.toml")]
    with pytest.raises(vambrace.VambraceError, match=r"again\.toml: its name .band. is that of the mapping band\.toml"):
        vambrace.inspect([exports], mappings=twins)
    with pytest.raises(vambrace.VambraceError, match="an importer that is installed"):
        vambrace.inspect([exports], mappings=[mapping(tmp_path, MAPPING.replace('"band"', '"fit"'))])


def test_a_package_installs_a_mapping_by_its_path(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    good, wrong = mapping(tmp_path), mapping(tmp_path, MAPPING.replace("bpm", "ell"), "wrong.toml")
    made = types.ModuleType("a_package_of_mappings")
    made.vambrace_importers = hookimpl(lambda: (good, wrong))  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, made.__name__, made)
    points = [EntryPoint("a", made.__name__, registry.GROUP), EntryPoint("b", "vambrace_plugins", registry.GROUP)]
    found = registry.collect(points)
    assert found.importers["band"].title == "Table explained by the mapping band"
    (fault,) = [each.fault for each in found.installed if each.fault]
    assert fault.startswith('wrong.toml, line 10: "ell" is no unit of heart_rate')


@pytest.mark.parametrize(
    "foreign",
    [
        b"",
        b"\x89PNG\r\n",
        b"when;puls\n",
        b"puls,other\n1,2\n",
        b'{"when": 1}',
        b"<svg/>",
        "when,puls".encode("utf-16"),
    ],
)
def test_a_mapping_claims_nothing_that_lacks_its_header(foreign: bytes, tmp_path: Path) -> None:
    importer = registry.load((registry.read_mapping(mapping(tmp_path)),)).importers["band"]
    fits = foreign == "when,puls".encode("utf-16") or foreign == b"when;puls\n"
    head = vambrace.plugin.Head("a.csv", foreign, len(foreign))
    assert bool(importer.recognise(head)) is fits
