"""Examples of what is refused in a folder before anything is read of its content."""

from __future__ import annotations

import os
import tarfile
import tempfile
from pathlib import Path
from unittest import mock

from refusal_example import TABLE, Call, File

from vambrace.sources import Entry, close_spools, open_entry, walk


def gone(folder: Path) -> None:
    (folder / "a.csv").write_text("time,heart_rate\n")
    (entry,) = walk([folder])
    (folder / "a.csv").unlink()
    open_entry(entry)


def still_there(folder: Path) -> None:
    (folder / "a.csv").write_text("time,heart_rate\n")
    (entry,) = walk([folder])
    open_entry(entry).close()


def changed(folder: Path) -> None:
    (folder / "a.csv").write_text("time,heart_rate\n")
    (entry,) = walk([folder])
    (folder / "a.csv").write_text("time,heart_rate,power\n")
    open_entry(entry)


def broken_link(folder: Path) -> None:
    (folder / "a.csv").symlink_to("nothing.csv")


def linked_folder(folder: Path) -> None:
    other = folder.parent / "other"
    other.mkdir()
    (folder / "other").symlink_to(other, target_is_directory=True)


def pipe(folder: Path) -> None:
    os.mkfifo(folder / "a.csv")


def without_pipe(folder: Path) -> None:
    (folder / "a.csv").unlink()


def no_room(folder: Path) -> Entry:
    (folder / "a.csv").write_text("time,heart_rate\n")
    with tarfile.open(folder / "a.tgz", "w:gz") as box:
        box.add(folder / "a.csv", "a.csv")
    close_spools()
    with mock.patch.object(tempfile, "tempdir", str(folder / "no such folder")):
        return next(entry for entry in walk([folder]) if entry.path == "a.tgz")


EXAMPLES = (
    File("empty-file", "The file holds no byte.", "", mended=TABLE),
    Call(
        "unreadable",
        "The operating system does not let the file or the folder be read; its own words say why.",
        gone,
        still_there,
    ),
    Call("changed", "Something wrote to the file while it was read.", changed, still_there),
    File("broken-link", "A link leads to nothing.", broken_link, {"ignore": "a.csv"}),
    File(
        "linked-folder",
        "A link leads to a folder. Linked folders are not followed, since a link may lead in a circle.",
        linked_folder,
        {"ignore": "other"},
    ),
    File(
        "special-file",
        "What stands there is no file: a pipe, a socket or a device.",
        pipe,
        mended=without_pipe,
    ),
    Call(
        "no-room",
        "An archive has to be unpacked to a temporary file to be read, and that cannot be written.",
        no_room,
    ),
)
