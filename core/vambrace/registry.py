"""Finds plugins; keeps the broken ones as listed problems, so that each hurts only itself."""

from __future__ import annotations

import dataclasses
import re
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, partial
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal, Protocol, cast, runtime_checkable

import pluggy

from vambrace import options
from vambrace.asking import LOADING_S, OURS, TimedOut, described, hushed, within
from vambrace.conduct import misconduct
from vambrace.errors import VambraceError
from vambrace.options import options_for
from vambrace.plugin import Hooks, Importer, Source, Writer

__all__ = [
    "GROUP",
    "Installed",
    "MappingReader",
    "MappingText",
    "Registry",
    "collect",
    "load",
    "mapping_reader",
    "options_for",
    "read_mapping",
]

GROUP = "vambrace"
OURSELVES = "vambrace"
"""The package whose importers and writers keep their names, whoever else takes them."""
_NAME = re.compile(r"[a-z][a-z0-9_-]*")


@dataclass(frozen=True, slots=True)
class MappingText:
    """A mapping file as it was read: the name that messages give it, and its text; travels between processes."""

    file: str
    text: str


@runtime_checkable
class MappingReader(Protocol):
    """Makes an importer of a mapping file; stands among a plugin's importers, and claims no source itself."""

    name: str
    version: str
    title: str

    def explained_by(self, file: str, text: str) -> Importer:
        """Return the importer; raise VambraceError that names the file and line of what is wrong."""
        ...

    def drafted(self, source: Source, taken: frozenset[str]) -> str:
        """Return the draft of a mapping file for a source, of another name than those taken."""
        ...


@dataclass(frozen=True, slots=True)
class Installed:
    """One importer or writer and where it came from; `fault` says why it is not used, `item` is then None."""

    kind: Literal["importer", "writer", "plugin", "mapping"]
    name: str
    title: str
    package: str
    version: str
    item: Importer | Writer | MappingReader | None = None
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Registry:
    """What is installed: usable importers and writers by name, and every item with its fault where it has one.

    `mappings` are the files that somebody gave for this run, by the names of the importers made of them.
    """

    importers: Mapping[str, Importer]
    writers: Mapping[str, Writer]
    installed: tuple[Installed, ...]
    mappings: Mapping[str, MappingText] = field(default_factory=lambda: MappingProxyType({}))

    def importer(self, name: str) -> Importer:
        """Return the importer of that name; raise VambraceError that lists the installed ones."""
        if name not in self.importers:
            raise VambraceError(f"no importer is named {name!r}", todo=f"Installed: {', '.join(self.importers)}")
        return self.importers[name]


@cache
def load(mappings: tuple[MappingText, ...] = ()) -> Registry:
    """Load every plugin of the entry-point group once for the process, and the importers that mapping files make.

    Raise VambraceError for a mapping file that is wrong, or has the name of something else.
    """
    return with_mappings(load(), mappings) if mappings else collect(entry_points(group=GROUP))


def with_mappings(installed: Registry, mappings: Iterable[MappingText]) -> Registry:
    """Return what is installed with an importer more for each mapping file."""
    importers = dict(installed.importers)
    explained: dict[str, MappingText] = {}
    for mapping in mappings:
        importer = _explained(installed.installed, mapping)
        if importer.name in importers:
            twin = explained.get(importer.name)
            whose = f"the mapping {twin.file}" if twin else "an importer that is installed"
            what = f'its name "{importer.name}" is that of {whose}'
            raise VambraceError(what, where=mapping.file, todo="Give it another name, or leave one out")
        importers[importer.name], explained[importer.name] = importer, mapping
    return dataclasses.replace(installed, importers=MappingProxyType(importers), mappings=MappingProxyType(explained))


def _explained(installed: Iterable[Installed], mapping: MappingText) -> Importer:
    """Return the importer that a mapping file makes."""
    return _reader(installed).explained_by(mapping.file, mapping.text)


def mapping_reader(installed: Registry) -> MappingReader:
    """Return what reads and drafts mapping files; raise VambraceError where nothing does."""
    return _reader(installed.installed)


def _reader(installed: Iterable[Installed]) -> MappingReader:
    reader = next((each.item for each in installed if isinstance(each.item, MappingReader)), None)
    if reader is None:
        raise VambraceError("nothing that is installed reads mapping files", todo="Install vambrace again")
    return reader


def collect(points: Iterable[EntryPoint]) -> Registry:
    """Load the given entry points, each behind a guard of its own, and refuse names that two plugins share."""
    found: list[Installed] = []
    for point in sorted(points, key=lambda point: (_owner(point), point.name)):
        found.extend(_items_of(point))
    found = _without_twins([_of_file(each, found) if isinstance(each.item, Path) else each for each in found])
    return Registry(_usable(found, "importer"), _usable(found, "writer"), tuple(found))


def _usable(found: Iterable[Installed], kind: str) -> Mapping[str, Any]:
    return MappingProxyType({each.name: each.item for each in found if each.kind == kind and each.item is not None})


def _owner(point: EntryPoint) -> tuple[str, str]:
    """Return the name and version of the package that names a plugin; an incomplete installation may say neither."""
    try:
        return (str(point.dist.name), str(point.dist.version)) if point.dist else ("", "")
    except Exception:
        return "", ""


def _items_of(point: EntryPoint) -> Iterator[Installed]:
    package, version = _owner(point)

    def broken(why: str) -> Installed:
        return Installed("plugin", point.name, "", package, version, fault=why)

    manager = pluggy.PluginManager(GROUP)
    manager.add_hookspecs(Hooks)
    try:
        manager.register(_tried(point.load), point.name)
    except OURS:
        raise
    except BaseException as error:
        yield broken(f"it could not be loaded: {_why(error)}")
        return
    kinds: tuple[tuple[Literal["importer", "writer"], Callable[[], Any], type], ...] = (
        ("importer", manager.hook.vambrace_importers, Importer),
        ("writer", manager.hook.vambrace_writers, Writer),
    )
    for kind, hook, protocol in kinds:
        try:
            items = _tried(partial(_listed, hook))
        except OURS:
            raise
        except BaseException as error:
            yield broken(f"its {kind}s could not be listed: {_why(error)}")
            continue
        for item in items:
            yield _judged(kind, item, protocol, package, version)


def _of_file(each: Installed, found: Sequence[Installed]) -> Installed:
    """Return the importer that a plugin's mapping file makes; a wrong file is the fault of that plugin alone."""
    path: Any = each.item
    try:
        importer = _explained(found, read_mapping(path))
    except VambraceError as error:
        return dataclasses.replace(each, item=None, fault=str(error))
    return _judged("importer", importer, Importer, each.package, each.version)


def read_mapping(path: Path) -> MappingText:
    """Return a mapping file as text; raise VambraceError where that cannot be."""
    try:
        data = path.read_bytes()
    except OSError as error:
        what = f"the mapping file cannot be read: {error.strerror or error}"
        raise VambraceError(what, where=str(path), todo="Give the path of a mapping file") from None
    try:
        return MappingText(path.name, data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        todo = "Save it as UTF-8"
        raise VambraceError("it is no text in UTF-8", where=f"{path.name}, line {line}", todo=todo) from None


def _tried(call: Callable[[], Any]) -> Any:
    with hushed(lambda *_: None):
        return within(LOADING_S, call)


def _listed(hook: Callable[[], Any]) -> list[Any]:
    return [item for answer in hook() for item in answer]


def _why(error: BaseException) -> str:
    return f"it did not come back within {LOADING_S:g} s" if isinstance(error, TimedOut) else described(error)


def _judged(kind: Literal["importer", "writer"], item: Any, protocol: type, package: str, version: str) -> Installed:
    said = {word: type(item).__name__ if word == "name" else "" for word in ("name", "title")}
    if kind == "importer" and isinstance(item, Path):
        # A mapping file: what reads it may come from a plugin that is loaded later.
        return Installed(kind, item.name, "", package, version, cast(Any, item))
    reads_mappings = False
    try:
        reads_mappings = kind == "importer" and _tried(partial(isinstance, item, MappingReader))
        said |= {word: str(getattr(item, word)) for word in said if hasattr(item, word)}
        fault = "" if reads_mappings else _tried(partial(_fault_of, kind, item, protocol))
    except OURS:
        raise
    except BaseException as error:
        fault = f"it fails when it is looked at: {_why(error)}"
    as_what: Literal["importer", "writer", "mapping"] = "mapping" if reads_mappings else kind
    return Installed(as_what, said["name"], said["title"], package, version, None if fault else item, fault)


def _fault_of(kind: str, item: Any, protocol: type[Any]) -> str:
    """Return why an importer or writer cannot be used, "" where it can."""
    what = type(item).__name__
    if not isinstance(item, protocol):
        return f"{what} lacks something that every {kind} has"
    if not _NAME.fullmatch(item.name):
        return f"its name {item.name!r} is no word of small letters, digits, - and _"
    if kind == "writer":
        return ""
    return options.fault_of(item.Options) or misconduct(item)


def _without_twins(found: list[Installed]) -> list[Installed]:
    seen: dict[tuple[str, str], list[Installed]] = {}
    for each in found:
        if each.item is not None:
            seen.setdefault((each.kind, each.name), []).append(each)
    twins = {key: same for key, same in seen.items() if len(same) > 1}

    def judged(each: Installed) -> Installed:
        same = twins.get((each.kind, each.name))
        if each.item is None or same is None:
            return each
        if any(twin.package == OURSELVES for twin in same):
            if each.package == OURSELVES:
                return each
            return dataclasses.replace(each, item=None, fault=f"its name is that of a built-in {each.kind}; change it")
        owners = " and ".join(sorted(f"{twin.package} {twin.version}" for twin in same))
        return dataclasses.replace(each, item=None, fault=f"its name is used twice, by {owners}; uninstall one")

    return [judged(each) for each in found]
