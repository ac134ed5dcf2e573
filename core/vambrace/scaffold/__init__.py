"""Writes the skeleton of a new importer, which installs and passes its tests as it stands; and drafts of mappings."""

from __future__ import annotations

import importlib.util
import re
import string
from collections.abc import Collection, Iterable
from importlib import resources
from pathlib import Path

from vambrace.api import plugins
from vambrace.errors import VambraceError
from vambrace.scaffold.drafting import Draft, draft_mapping

__all__ = ["Draft", "draft_mapping", "new_importer"]

_NAME = re.compile(r"[a-z][a-z0-9]*(?:-[a-z0-9]+)*")
_LONGEST = 40
_FILES = {
    "pyproject.toml": "pyproject.toml",
    "README.md": "README.md",
    "init.py": "src/${package}/__init__.py",
    "importer.py": "src/${package}/importer.py",
    "sample.txt": "tests/samples/morning.${suffix}",
    "test.py": "tests/test_${package}.py",
    "gitignore": ".gitignore",
}
"""The templates, and where each stands in the project."""


def new_importer(name: str, into: Path | str = ".") -> list[Path]:
    """Write the project of an importer into a new folder below `into`, and return its files.

    Raise VambraceError for a name that cannot be one or is in use, and for a folder that is there already.
    """
    _check(name, {each.name for each in plugins()})
    words = _words(name)
    target = Path(into) / words["project"]
    try:
        if not Path(into).is_dir():
            Path(into).mkdir(parents=True)
        return [_written(target, template, place, words) for template, place in _made(target)]
    except OSError as error:
        what = f"the project cannot be written: {error.strerror or error}"
        raise VambraceError(what, where=str(target), todo="Give a folder that you may write to with --into") from error


def _made(target: Path) -> Iterable[tuple[str, str]]:
    """Make the project's folder, and return the templates that go there with their places."""
    try:
        target.mkdir()
    except FileExistsError as error:
        what = "it is there already, and nothing in it is overwritten"
        raise VambraceError(what, where=str(target), todo="Give another name, or another folder with --into") from error
    return _FILES.items()


def _check(name: str, taken: Collection[str]) -> None:
    if not _NAME.fullmatch(name) or len(name) > _LONGEST:
        what = f"{name!r} is no name for an importer: it takes small letters and digits, in words joined by hyphens"
        raise VambraceError(f"{what}, a letter first, {_LONGEST} in all", todo=_better(name))
    if name in taken:
        what = f"an importer named {name!r} is installed already, and two of one name cannot be used"
        raise VambraceError(what, todo=f"Give another name, such as my-{name}")
    package = _words(name)["package"]
    if importlib.util.find_spec(package) is not None:
        what = f"the importer {name!r} would be the package {package}, and one of that name is installed already"
        raise VambraceError(what, todo=f"Give another name, such as my-{name}")


def _better(name: str) -> str:
    near = "-".join(re.findall(r"[a-z0-9]+", name.lower()))[:_LONGEST].strip("-")
    return f"Try {near}" if _NAME.fullmatch(near) else "Try a name such as my-export"


def _words(name: str) -> dict[str, str]:
    parts = name.split("-")
    return {
        "name": name,
        "project": f"vambrace-{name}",
        "package": f"vambrace_{'_'.join(parts)}",
        "title": "".join(part.capitalize() for part in parts),
        "suffix": "".join(parts)[:12],
        "mark": f"{name.upper()} 1",
    }


def _written(target: Path, template: str, place: str, words: dict[str, str]) -> Path:
    source = resources.files(__package__).joinpath("project", f"{template}.template")
    path = target / string.Template(place).substitute(words)
    path.parent.mkdir(parents=True, exist_ok=True)
    text = string.Template(source.read_text("utf-8")).substitute(words)
    path.write_text(text, encoding="utf-8", newline="\n")
    return path
