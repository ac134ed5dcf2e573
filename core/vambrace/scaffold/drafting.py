"""Writes the draft of a mapping file for an unfamiliar export, whose open questions a person answers."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import BinaryIO, cast

from vambrace import registry
from vambrace.errors import SourceError, VambraceError
from vambrace.plugin import Source

_QUESTION = re.compile(r'^[\w"-]+ = "\?')


@dataclass(frozen=True, slots=True)
class Draft:
    """A draft that was written: its file, and the lines on which it asks something, counted from 1."""

    path: Path
    questions: tuple[int, ...]


def draft_mapping(export: Path | str, to: Path | str | None = None, *, overwrite: bool = False) -> Draft:
    """Write a mapping that explains an export as far as it explains itself; by default here, under the export's name.

    What is uncertain is an open question, with which the mapping does not load. Raise VambraceError for an export in
    which no rows can be seen, and for a file that is there already.
    """
    export = Path(export)
    target = Path(to) if to is not None else Path(f"{export.name.partition('.')[0] or 'export'}.toml")
    if target.exists() and not overwrite:
        what = "it is there already, and nothing is overwritten unasked"
        raise VambraceError(what, where=str(target), todo="Give another file with --to, or --overwrite")
    text = _drafted(export)
    try:
        target.write_text(text, encoding="utf-8", newline="\n")
    except OSError as error:
        what = f"the draft cannot be written: {error.strerror or error}"
        raise VambraceError(what, where=str(target), todo="Give a file that you may write with --to") from error
    lines = text.splitlines()
    return Draft(target, tuple(at for at, line in enumerate(lines, 1) if _QUESTION.match(line)))


def _drafted(export: Path) -> str:
    if export.is_dir():
        raise VambraceError("it is a folder", where=str(export), todo="Give one export of those inside")
    installed = registry.load()
    try:
        size = export.stat().st_size
        source = Source(export.name, size, cast("Callable[[], BinaryIO]", partial(io.open, export, "rb")))
        return registry.mapping_reader(installed).drafted(source, frozenset(installed.importers))
    except OSError as error:
        what = f"it cannot be read: {error.strerror or error}"
        raise VambraceError(what, where=str(export), todo="Give the path of an export") from error
    except SourceError as error:
        where = f"{export}, {error.where}" if error.where else str(export)
        raise VambraceError(error.what, where=where, todo=error.todo) from error
