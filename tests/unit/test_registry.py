"""The registry: every plugin behind a guard of its own."""

from __future__ import annotations

import sys
import types
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.metadata import EntryPoint
from typing import Any, ClassVar

import pytest

from vambrace import registry
from vambrace.errors import VambraceError
from vambrace.plugin import Claim, Head, Source, hookimpl


@dataclass(frozen=True)
class Options:
    delimiter: str = ","
    skip: int = 0
    factor: float = 1.0
    strict: bool = False
    zone: str | None = None


class Toy:
    version = "1"
    title = "Toy"
    Options: ClassVar[type] = Options
    end_mark = False

    def __init__(self, name: str = "toy") -> None:
        self.name = name

    def recognise(self, head: Head) -> Claim:
        return Claim.NONE

    def read(self, source: Source) -> Iterator[Any]:
        yield from ()


@pytest.fixture
def module(monkeypatch: pytest.MonkeyPatch) -> Callable[..., EntryPoint]:
    """Return a function that makes an entry point of importers."""

    def make(name: str, hook: Callable[[], Any]) -> EntryPoint:
        made = types.ModuleType(f"vambrace_toy_{name}")
        made.vambrace_importers = hookimpl(hook)  # type: ignore[attr-defined]
        monkeypatch.setitem(sys.modules, made.__name__, made)
        return EntryPoint(name, made.__name__, registry.GROUP)

    return make


def test_built_in_plugins_come_through_the_same_door() -> None:
    found = registry.load()
    assert set(found.importers) >= {"fit", "gpx", "tcx", "csv"}
    assert set(found.writers) >= {"parquet", "csv", "arrow"}
    assert [each.name for each in found.installed if each.fault] == []


def test_a_plugin_that_cannot_be_imported_hurts_only_itself(module: Callable[..., EntryPoint]) -> None:
    broken = EntryPoint("broken", "vambrace_toy_that_is_not_there", registry.GROUP)
    found = registry.collect([broken, module("good", lambda: [Toy()])])
    assert list(found.importers) == ["toy"]
    (fault,) = [each.fault for each in found.installed if each.name == "broken"]
    assert "ModuleNotFoundError" in fault


def test_a_plugin_that_raises_when_asked_hurts_only_itself(module: Callable[..., EntryPoint]) -> None:
    def fail() -> list[Toy]:
        raise RuntimeError("no licence file")

    found = registry.collect([module("bad", fail), module("good", lambda: [Toy()])])
    assert list(found.importers) == ["toy"]
    assert any("no licence file" in each.fault for each in found.installed)


def test_two_importers_of_one_name_are_both_refused(module: Callable[..., EntryPoint]) -> None:
    found = registry.collect([module("a", lambda: [Toy()]), module("b", lambda: [Toy(), Toy("other")])])
    assert list(found.importers) == ["other"]
    assert all("used twice" in each.fault for each in found.installed if each.name == "toy")


def test_an_object_that_is_no_importer_is_listed_with_its_fault(module: Callable[..., EntryPoint]) -> None:
    found = registry.collect([module("odd", lambda: [object()])])
    assert not found.importers
    assert "lacks something" in found.installed[0].fault


def test_options_are_cast_by_their_annotations() -> None:
    texts = {"delimiter": ";", "skip": "3", "factor": "0.5", "strict": "yes", "zone": "UTC"}
    assert registry.options_for(Toy(), texts) == Options(";", 3, 0.5, True, "UTC")


@pytest.mark.parametrize(
    ("texts", "says"),
    [
        ({"delimitr": ";"}, "toy.delimiter"),
        ({"skip": "three"}, "toy.skip takes a whole number"),
        ({"strict": "perhaps"}, "toy.strict is yes or no"),
    ],
)
def test_options_that_do_not_fit_are_refused_with_the_right_form(texts: dict[str, str], says: str) -> None:
    with pytest.raises(VambraceError, match=says):
        registry.options_for(Toy(), texts)


def test_an_unknown_importer_is_refused_with_the_list() -> None:
    with pytest.raises(VambraceError, match="Installed: "):
        registry.load().importer("nonesuch")
