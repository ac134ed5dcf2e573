"""What an example of a refusal is, and what the program says of it when it is run now."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import vambrace
from vambrace.errors import SourceError
from vambrace.sources import Entry

T = "2031-03-04T09:00:00Z"
TABLE = f"time,heart_rate\n{T},60\n"
"""A table that is read."""


@dataclass(frozen=True, eq=False)
class File:
    """A file that is refused when its folder is converted, and what is read instead.

    `made` is its content, or a function that puts it into a folder. `said` are the options of the refused run, `way`
    those of the run in which nothing is refused: names of the CSV importer, or zone, ignore, salvage. `mended` is
    the content of the second run, or a function that changes the folder. `readings` are words of both readings.
    """

    code: str
    meaning: str
    made: str | bytes | Callable[[Path], object]
    way: Mapping[str, str] = field(default_factory=dict)
    mended: str | bytes | Callable[[Path], object] = ""
    said: Mapping[str, str] = field(default_factory=dict)
    name: str = "a.csv"
    readings: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class Call:
    """A call that is refused, by an error or by the entry that it returns, and perhaps one that is not."""

    code: str
    meaning: str
    call: Callable[[Path], object]
    mended: Callable[[Path], object] | None = None
    readings: tuple[str, ...] = ()


Example = File | Call


@dataclass(frozen=True)
class Refusal:
    """What is said of one refused source: its place in the folder ("" for a call), code, status and sentence."""

    place: str
    code: str
    status: str
    sentence: str


@cache
def refused(example: Example) -> tuple[Refusal, ...]:
    """Return what is refused when the example is run."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made).resolve() / "folder"
        folder.mkdir()
        if isinstance(example, Call):
            return _called(example.call, folder)
        _put(folder, example.name, example.made)
        return _converted(folder, dict(example.said))


@cache
def refused_after(example: Example) -> tuple[Refusal, ...]:
    """Return what is still refused on the way on; nothing, if the example is right."""
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made).resolve() / "folder"
        folder.mkdir()
        if isinstance(example, Call):
            return () if example.mended is None else _called(example.mended, folder)
        _put(folder, example.name, example.made)
        if example.mended:
            _put(folder, example.name, example.mended)
        return _converted(folder, {**example.said, **example.way})


def has_way(example: Example) -> bool:
    """Say whether the example shows a way on."""
    return bool(example.mended or (isinstance(example, File) and example.way))


def _put(folder: Path, name: str, made: str | bytes | Callable[[Path], object]) -> None:
    if callable(made):
        made(folder)
    else:
        (folder / name).write_bytes(made if isinstance(made, bytes) else made.encode())


def _converted(folder: Path, options: dict[str, str]) -> tuple[Refusal, ...]:
    """Convert the folder and return what the ledger says of what was refused."""
    zone, ignore, salvage = (options.pop(name, "") for name in ("zone", "ignore", "salvage"))
    to = folder.parent / "dataset"
    said = {"csv": options} if options else None
    vambrace.convert(
        [folder], to, zone=zone or None, options=said, ignore=[ignore] if ignore else [], salvage=bool(salvage), jobs=1
    )
    rows = [json.loads(path.read_text("utf-8")) for path in to.glob("sources/*.json")]
    found = [
        Refusal(row["occurrences"][0]["path"], row["code"], row["status"], _shown(row["reason"], folder))
        for row in rows
        if row["status"] in {"rejected", "unrecognised"}
    ]
    return tuple(sorted(found, key=lambda each: each.place))


def _called(call: Callable[[Path], object], folder: Path) -> tuple[Refusal, ...]:
    try:
        found = call(folder)
    except SourceError as error:
        return (Refusal("", error.code, error.status, _shown(str(error), folder)),)
    entries = [found] if isinstance(found, Entry) else []
    return tuple(Refusal("", each.code, "rejected", _shown(each.reason, folder)) for each in entries if each.code)


def _shown(sentence: str, folder: Path) -> str:
    """Return a sentence without the name of the temporary folder."""
    return sentence.replace(str(folder), "folder")
