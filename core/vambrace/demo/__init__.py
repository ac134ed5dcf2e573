"""The invented study "Loom and ladder": the files that `vambrace demo` shows the work on."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from vambrace.errors import VambraceError

if TYPE_CHECKING:
    from importlib.resources.abc import Traversable

DEMO_TITLE = "Loom and ladder: an invented study of four coded devices"
DEMO_ZONE = "Atlantic/Azores"
"""The zone of the workshop's wall clock, which the ring's files do not say."""


def copy_demo(target: Path) -> list[Path]:
    """Copy the study's files into a new or empty folder and return their paths, sorted by name.

    Raise VambraceError where something stands there already, or where it cannot be written.
    """
    from importlib.resources import files

    try:
        if target.exists() and (not target.is_dir() or any(target.iterdir())):
            raise VambraceError(
                "something stands there already, and nothing is written over",
                where=str(target),
                todo="Give a new folder, or an empty one",
            )
        return [_copy(entry, target / name) for name, entry in _walk(files(__name__) / "data", "")]
    except OSError as error:
        raise VambraceError(
            f"the demo's files cannot be written ({error.strerror or error})",
            where=str(error.filename or target),
            todo="Give a folder that you may write to",
        ) from error


def _walk(folder: Traversable, prefix: str) -> Iterator[tuple[str, Traversable]]:
    for entry in sorted(folder.iterdir(), key=lambda entry: entry.name):
        if entry.is_dir():
            yield from _walk(entry, f"{prefix}{entry.name}/")
        else:
            yield prefix + entry.name, entry


def _copy(entry: Traversable, path: Path) -> Path:
    path.parent.mkdir(parents=True, exist_ok=True)
    with path.open("xb") as out:
        out.write(entry.read_bytes())
    return path
