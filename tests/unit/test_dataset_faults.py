"""Whatever moment a run dies at: each source is there wholly or not at all, and running again completes."""

from __future__ import annotations

import errno
import itertools
from pathlib import Path

import pytest

from converted import digest
from datasets import FaultyFiles, Killed, Made, entry, rows_of
from vambrace.dataset import DERIVED, TABLES, Store
from vambrace.dataset.files import FileOps
from vambrace.errors import VambraceError

OLD = Made("content a", settings={"importer": "made", "zone": None})
NEW = Made("content a", settings={"importer": "made", "zone": "UTC"})
EXPORT = Made("export of May", rows=3, aside=0, places=(("exports", "b.csv"),))
NEWER = Made("export of May and June", rows=6, aside=1, places=(("exports", "b.csv"),))
PIPE = entry("exports", "pipe")


def first_run(folder: Path, ops: FileOps | None = None) -> None:
    """Convert two sources and a pipe, as far as that has not happened yet."""
    store = Store.begin(folder, ops)
    with store.writing():
        for made in (OLD, EXPORT):
            if not store.find(made.sha256):
                made.commit(store, ops=ops)
        if not store.find_entry("exports", "pipe"):
            store.commit(PIPE, None)
        store.rebuild()


def second_run(folder: Path, ops: FileOps | None = None) -> None:
    """Convert again: other settings for one, a newer export for the other, and a copy of the first."""
    store = Store.begin(folder, ops)
    with store.writing():
        if [record.key for record in store.find(NEW.sha256)] != [NEW.key]:
            NEW.commit(store, ops=ops)
        if not store.find(NEWER.sha256):
            NEWER.commit(store, store.find_entry("exports", "b.csv"), ops=ops)
        (record,) = store.find(NEW.sha256)
        store.add_occurrence(record, "exports", "copy of a.csv")
        store.rebuild()


def operations(run: object, folder: Path) -> int:
    """Count the operations of a run that is not disturbed."""
    ops = FaultyFiles()
    run(folder, ops)  # type: ignore[operator]
    return ops.count


def copy_of(source: Path, target: Path) -> Path:
    import shutil

    shutil.copytree(source, target)
    return target


def stands_whole(folder: Path) -> None:
    """Assert that a reader finds whole sources only, each once, and nothing of a source that is not there."""
    if not (folder / "vambrace.json").exists():
        with pytest.raises(VambraceError, match="no dataset"):
            Store.open(folder)
        return
    store = Store.open(folder)
    assert list(store.verify()) == []
    expected = []
    for alternatives in ((OLD, NEW), (EXPORT, NEWER)):
        there = [made for made in alternatives for record in store.find(made.sha256) if record.key == made.key]
        assert len(there) <= 1
        expected += [(made.recording, k + 1, made.values()[k]) for made in there for k in range(made.rows)]
    assert sorted(rows_of(store)) == sorted(expected)
    for name in DERIVED:
        assert store.read_table(name).schema == TABLES[name]
    ledger = store.read_table("files").to_pylist()
    assert sum(row["rows_kept"] for row in ledger if row["status"] == "converted") == len(expected)


def complete(folder: Path) -> dict[str, str]:
    """Return the digests of a finished dataset; the generation counts rebuilds, which differ after a fault."""
    found = digest(folder)
    document = (folder / "vambrace.json").read_text("utf-8")
    found["vambrace.json"] = "\n".join(line for line in document.splitlines() if "generation" not in line)
    return found


@pytest.fixture(scope="module")
def after_first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("first") / "dataset"
    first_run(folder)
    return folder


@pytest.fixture(scope="module")
def after_second(after_first: Path, tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    folder = copy_of(after_first, tmp_path_factory.mktemp("second") / "dataset")
    second_run(folder)
    stands_whole(folder)
    (replaced,) = Store.open(folder).find_superseded(EXPORT.sha256)
    assert replaced.key == EXPORT.key
    return complete(folder)


def test_killed_in_the_first_run_at_every_other_operation(tmp_path: Path, after_first: Path) -> None:
    count = operations(first_run, tmp_path / "whole")
    assert count > 60
    for at in range(1, count + 1, 2):
        folder = tmp_path / f"{at}"
        with pytest.raises(Killed):
            first_run(folder, FaultyFiles(at, power_cut=at % 4 == 1))
        stands_whole(folder)
        first_run(folder, FaultyFiles())
        assert complete(folder) == complete(after_first), at


def test_killed_in_a_replacement_at_every_operation(
    tmp_path: Path, after_first: Path, after_second: dict[str, str]
) -> None:
    count = operations(second_run, copy_of(after_first, tmp_path / "whole"))
    assert count > 60
    for at in range(1, count + 1):
        folder = copy_of(after_first, tmp_path / f"{at}")
        with pytest.raises(Killed):
            second_run(folder, FaultyFiles(at, power_cut=True))
        stands_whole(folder)
        store = Store.open(folder)
        # What was committed before is never lost: at least the old one of each is there.
        assert len(store.find(OLD.sha256)) == 1
        assert len(store.find(EXPORT.sha256)) + len(store.find(NEWER.sha256)) == 1
        second_run(folder, FaultyFiles())
        assert complete(folder) == after_second, at


def test_killed_again_while_putting_things_in_order(
    tmp_path: Path, after_first: Path, after_second: dict[str, str]
) -> None:
    count = operations(second_run, copy_of(after_first, tmp_path / "whole"))
    for number, (first, second) in enumerate(itertools.product(range(8, count, 13), range(3, 40, 9))):
        folder = copy_of(after_first, tmp_path / f"{number}")
        with pytest.raises(Killed):
            second_run(folder, FaultyFiles(first, power_cut=True))
        with pytest.raises(Killed):
            second_run(folder, FaultyFiles(second, power_cut=True))
        stands_whole(folder)
        second_run(folder, FaultyFiles())
        assert complete(folder) == after_second, (first, second)


def test_a_disk_that_is_full_for_a_moment_gives_a_sentence_and_loses_nothing(
    tmp_path: Path, after_first: Path, after_second: dict[str, str]
) -> None:
    count = operations(second_run, copy_of(after_first, tmp_path / "whole"))
    told = set()
    for at in range(1, count + 1, 3):
        folder = copy_of(after_first, tmp_path / f"{at}")
        ops = FaultyFiles(at, OSError(errno.ENOSPC, "No space left on device"))
        try:
            second_run(folder, ops)
        except (VambraceError, OSError) as error:
            told.add((type(error), "No space left on device" in str(error)))
        stands_whole(folder)
        second_run(folder, FaultyFiles())
        assert complete(folder) == after_second, at
    # The writer of shards runs in a worker, which turns the disk's words into a sentence itself.
    assert told == {(VambraceError, True), (OSError, True)}
