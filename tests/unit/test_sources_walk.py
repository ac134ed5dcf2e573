"""Folders: each kind of entry, the order of entries, odd names, roots, patterns, and files that change."""

from __future__ import annotations

import hashlib
import os
import pickle
import socket
import subprocess
import sys
import tracemalloc
from pathlib import Path

import pytest

from archives import content, entries
from vambrace.errors import Refused, VambraceError
from vambrace.sources import open_entry, scan, walk

posix = pytest.mark.skipif(os.name != "posix", reason="needs the special files and byte names of POSIX")


def test_every_kind_of_entry_has_a_row_and_only_folders_have_none(tmp_path: Path) -> None:
    (tmp_path / "empty").mkdir()
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub/plain.csv").write_bytes(b"1")
    (tmp_path / "nothing.fit").write_bytes(b"")
    (tmp_path / "notes.txt").write_bytes(b"12")
    (tmp_path / "alias.csv").symlink_to("sub/plain.csv")
    (tmp_path / "broken").symlink_to("gone")
    (tmp_path / "circle").symlink_to("circle")
    (tmp_path / "linked").symlink_to("sub")
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "device").symlink_to("/dev/zero")
    with socket.socket(socket.AF_UNIX) as listener:
        listener.bind(os.path.relpath(tmp_path / "socket"))
        found = entries(tmp_path, ignore=("*.txt",))
    told = {path: (entry.kind, entry.code, entry.size) for path, entry in found.items()}
    assert told == {
        "alias.csv": ("content", "", 1),
        "broken": ("problem", "broken-link", None),
        "circle": ("problem", "broken-link", None),
        "device": ("problem", "special-file", None),
        "linked": ("problem", "linked-folder", None),
        "nothing.fit": ("content", "", 0),
        "notes.txt": ("ignored", "", 2),
        "pipe": ("problem", "special-file", None),
        "socket": ("problem", "special-file", None),
        "sub/plain.csv": ("content", "", 1),
    }
    assert {entry.root for entry in found.values()} == {str(tmp_path)}
    assert "a pipe" in found["pipe"].reason
    assert "a socket" in found["socket"].reason
    assert "not followed" in found["linked"].reason
    assert "leads to nothing" in found["broken"].reason
    assert all(entry.reason.endswith(".") for entry in found.values() if entry.kind == "problem")
    with pytest.raises(Refused, match="a pipe"):
        open_entry(found["pipe"])


@posix
def test_a_pipe_without_a_writer_keeps_nobody_waiting(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "b.csv").write_bytes(b"1")
    program = (
        "import sys; from vambrace.sources import walk, scan\n"
        "print([e.kind for e in walk([sys.argv[1], sys.argv[1] + '/pipe'])])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path)], capture_output=True, text=True, timeout=60, check=True
    )
    assert done.stdout.strip() == "['content', 'problem', 'problem']"


@posix
def test_a_pipe_in_the_place_of_a_listed_file_is_refused_at_once(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"1")
    entry = entries(tmp_path)["a.csv"]
    (tmp_path / "a.csv").unlink()
    os.mkfifo(tmp_path / "a.csv")
    with pytest.raises(Refused, match="a pipe"):
        scan(entry)


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read every file")
def test_an_unreadable_file_and_folder_are_problems(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"1")
    (tmp_path / "sub").mkdir()
    (tmp_path / "a.csv").chmod(0)
    (tmp_path / "sub").chmod(0)
    found = entries(tmp_path)
    (tmp_path / "sub").chmod(0o700)
    assert {path: entry.code for path, entry in found.items()} == {"a.csv": "unreadable", "sub": "unreadable"}


def test_what_the_system_does_not_let_us_read_is_a_problem_in_its_words(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "a.csv").write_bytes(b"1")
    (tmp_path / "b.csv").write_bytes(b"2")
    (tmp_path / "sub").mkdir()
    (tmp_path / "sub-1").write_bytes(b"3")
    real_open, real_scandir = os.open, os.scandir

    def denied(path: str, *rest: int) -> int:
        if str(path).endswith("a.csv"):
            raise PermissionError(13, "Permission denied", path)
        return real_open(path, *rest)

    def unlisted(path: str) -> object:
        if str(path).endswith("sub"):
            raise PermissionError(13, "Permission denied", path)
        return real_scandir(path)

    monkeypatch.setattr(os, "open", denied)
    monkeypatch.setattr(os, "scandir", unlisted)
    found = entries(tmp_path)
    assert {path: entry.code for path, entry in found.items()} == {
        "a.csv": "unreadable",
        "b.csv": "",
        "sub": "unreadable",
        "sub-1": "",
    }
    assert list(found) == sorted(found)
    assert "Permission denied" in found["a.csv"].reason
    assert "the folder cannot be read: Permission denied" in found["sub"].reason
    assert found["a.csv"].size == 1


@pytest.mark.skipif(not os.path.exists("/proc/self/mem"), reason="needs a file that opens and cannot be read")
def test_an_error_while_reading_is_ours(tmp_path: Path) -> None:
    (tmp_path / "memory").symlink_to("/proc/self/mem")
    entry = entries(tmp_path)["memory"]
    assert (entry.kind, entry.code) == ("problem", "unreadable")
    assert "Input/output error" in entry.reason


def test_entries_come_in_the_order_of_their_utf8_bytes(tmp_path: Path) -> None:
    # The last two change places where UTF-16 units are compared.
    names = ["A", "a", "a-1", "a.zip", "a/b", "a/b/c", "a0", "é", "ﬀ", "𝄞"]
    files = [name for name in names if name not in ("a", "a/b")]
    for name in reversed(files):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    assert [entry.path for entry in walk([tmp_path])] == sorted(files, key=str.encode)


def test_roots_come_in_order_once_each_and_as_given(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    for name in ("b", "a"):
        Path(name).mkdir()
        Path(name, "x.csv").write_bytes(b"")
    Path("c.csv").write_bytes(b"")
    Path("other").symlink_to("a")
    found = [(e.root, e.path) for e in walk(["b/", "other", "c.csv", "b", Path("a"), f"{tmp_path}/a"])]
    assert found == [
        (f"{tmp_path}/a", "x.csv"),
        ("a", "x.csv"),
        ("b", "x.csv"),
        ("c.csv", "c.csv"),
        ("other", "x.csv"),
    ]
    assert next((e.root, e.path) for e in walk(["."])) == (".", "a/x.csv")


def test_a_missing_source_is_told_before_anything_is_walked(tmp_path: Path) -> None:
    with pytest.raises(VambraceError, match=r"gone: there is no such file or folder\. Check how it is spelled"):
        walk([tmp_path, tmp_path / "gone"])


def test_the_dataset_itself_is_passed_over(tmp_path: Path) -> None:
    for name in ("data/samples/x.parquet", "data-2/x.csv", "x.csv"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    (tmp_path / "link").symlink_to(".")
    assert [e.path for e in walk([tmp_path], skip=[tmp_path / "data"])] == ["data-2/x.csv", "link", "x.csv"]
    assert [e.path for e in walk([tmp_path], skip=[tmp_path / "link/data"])] == ["data-2/x.csv", "link", "x.csv"]
    assert list(walk([tmp_path / "data"], skip=[tmp_path / "data"])) == []


@posix
def test_odd_names_stay_apart_and_lead_back_to_their_files(tmp_path: Path) -> None:
    names = [b"\xff.csv", b"\\xff.csv", b"new\nline", b"a.zip", b"a.zip!b", b"odd!", b"\xc3\xa9", b"e\xcc\x81", b" "]
    for number, name in enumerate(names):
        with open(os.path.join(os.fsencode(tmp_path), name), "wb") as file:
            file.write(b"%d" % number)
    found = entries(tmp_path)
    assert {path: int(content(entry)) for path, entry in found.items()} == {
        r"\xff.csv": 0,
        r"\x5cxff.csv": 1,
        "new\nline": 2,
        "a.zip": 3,
        r"a.zip\x21b": 4,
        "odd!": 5,
        "é": 6,
        "e\u0301": 7,
        " ": 8,
    }


@posix
@pytest.mark.parametrize("locale", ["C", "C.UTF-8"])
def test_names_do_not_depend_on_the_locale(tmp_path: Path, locale: str) -> None:
    folder = os.fsencode(tmp_path) + b"/\xc3\xa9\xff"
    os.mkdir(folder)
    with open(folder + b"/\xc3\xa9.csv", "wb") as file:
        file.write(b"1")
    program = (
        "import sys; from vambrace.sources import walk, scan\n"
        "for e in walk([sys.argv[1]]): print(ascii((e.path, e.root, scan(e).size)))"
    )
    settings = {**os.environ, "LC_ALL": locale, "PYTHONUTF8": "0", "PYTHONCOERCECLOCALE": "0"}
    command = [os.fsencode(sys.executable), b"-c", program.encode(), folder]
    done = subprocess.run(command, env=settings, capture_output=True, text=True, timeout=60, check=True)
    assert done.stdout.strip() == ascii(("é.csv", f"{tmp_path}/é\\xff", 1))


@pytest.mark.parametrize(
    ("pattern", "left"),
    [
        ("*.csv", ["a.fit", "sub/deep/c.fit"]),
        ("sub", ["a.fit", "b.csv"]),
        ("sub/", ["a.fit", "b.csv"]),
        ("sub/deep", ["a.fit", "b.csv", "sub/d.csv"]),
        ("deep", ["a.fit", "b.csv", "sub/d.csv"]),
        ("sub/*.csv", ["a.fit", "b.csv", "sub/deep/c.fit"]),
        ("**/*.fit", ["b.csv", "sub/d.csv"]),
        ("*.CSV", ["a.fit", "b.csv", "sub/d.csv", "sub/deep/c.fit"]),
        ("[ab].*", ["sub/d.csv", "sub/deep/c.fit"]),
        ("", ["a.fit", "b.csv", "sub/d.csv", "sub/deep/c.fit"]),
    ],
)
def test_ignore_patterns_name_files_folders_and_paths(tmp_path: Path, pattern: str, left: list[str]) -> None:
    for name in ("a.fit", "b.csv", "sub/d.csv", "sub/deep/c.fit"):
        (tmp_path / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / name).write_bytes(b"")
    found = entries(tmp_path, ignore=(pattern,))
    assert len(found) == 4
    assert [path for path, entry in found.items() if entry.kind == "content"] == left
    assert all(pattern in entry.reason for entry in found.values() if entry.kind == "ignored")


def test_an_entry_travels_between_processes_and_opens_as_often_as_wanted(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"0123456789" * 1000)
    entry = pickle.loads(pickle.dumps(entries(tmp_path)["a.csv"]))
    assert entry.name == "a.csv"
    assert content(entry) == content(entry) == b"0123456789" * 1000
    with open_entry(entry) as stream:
        assert stream.seek(9_995) == 9_995
        assert stream.read() == b"56789"
    scanned = scan(entry)
    assert scanned.sha256 == hashlib.sha256(b"0123456789" * 1000).hexdigest()
    assert (scanned.size, scanned.content_size, scanned.head) == (10_000, 10_000, (b"0123456789" * 410)[:4096])


def test_two_thousand_files_in_a_deep_folder_take_flat_memory(tmp_path: Path) -> None:
    place = tmp_path
    for _ in range(40):
        place = place / "f"
        place.mkdir()
        for number in range(50):
            (place / f"{number:03}.csv").write_bytes(b"x" * 5000)
    next(walk([tmp_path]))
    tracemalloc.start()
    try:
        count = sum(scan(entry).size == 5000 for entry in walk([tmp_path]))
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    assert count == 2000
    # All contents at once would be 10 MB; what is open at a time are a block and a few hundred names.
    assert peak < 3_000_000


@posix
def test_a_folder_too_deep_for_the_system_has_a_row(tmp_path: Path) -> None:
    at = os.open(tmp_path, os.O_RDONLY)
    for _ in range(25):
        os.mkdir("d" * 200, dir_fd=at)
        inner = os.open("d" * 200, os.O_RDONLY, dir_fd=at)
        os.close(at)
        at = inner
    os.close(at)
    found = list(walk([tmp_path]))
    assert [(entry.kind, entry.code) for entry in found] == [("problem", "unreadable")]
    assert "name too long" in found[0].reason


def test_a_file_that_changes_after_it_was_listed_is_refused(tmp_path: Path) -> None:
    target = tmp_path / "a.csv"
    target.write_bytes(b"1")
    entry = entries(tmp_path)["a.csv"]
    target.write_bytes(b"12")
    for read in (scan, content):
        with pytest.raises(Refused, match="changed after it was listed") as caught:
            read(entry)
        assert caught.value.code == "changed"
    assert content(entries(tmp_path)["a.csv"]) == b"12"


def test_a_file_that_grows_while_it_is_read_is_refused_at_its_end(tmp_path: Path) -> None:
    target = tmp_path / "a.csv"
    target.write_bytes(b"x" * (1 << 20))
    entry = entries(tmp_path)["a.csv"]
    with open_entry(entry) as stream:
        stream.read(10)
        with target.open("ab") as more:
            more.write(b"y")
        with pytest.raises(Refused, match="changed after it was listed"):
            stream.read()


def test_a_file_that_is_gone_when_it_is_read_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_bytes(b"1")
    entry = entries(tmp_path)["a.csv"]
    (tmp_path / "a.csv").unlink()
    with pytest.raises(Refused, match=r"a\.csv: it cannot be read: No such file"):
        scan(entry)
