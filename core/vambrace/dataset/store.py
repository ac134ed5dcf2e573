"""The dataset folder: what is committed stands wholly, whatever happens; readers never wait."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pyarrow as pa

from vambrace.dataset.build import Builder, is_stamped, write_tables
from vambrace.dataset.commit import refuse_same_name, replaced_by, settled, with_place, without_place
from vambrace.dataset.document import Document, document_from_json
from vambrace.dataset.files import TEMPORARY, FileOps, RealFiles, read_bytes, sha256_of, write_atomically
from vambrace.dataset.index import Index, load_index, read_record
from vambrace.dataset.layout import FOLDERS, SAMPLES, TABLES_FOLDER, Layout
from vambrace.dataset.ledger import Known
from vambrace.dataset.lock import LOCK, OWNER, exclusive
from vambrace.dataset.package import descriptor
from vambrace.dataset.parquet import read_batches
from vambrace.dataset.records import Occurrence, Record, Stamp, record_to_json
from vambrace.dataset.recovery import forget_superseded, recover, retire, sweep_temporary
from vambrace.dataset.schemas import DERIVED, TABLES
from vambrace.dataset.shard import Finished
from vambrace.errors import VambraceError

WAIT_S = 10.0
"""How long a second writer waits for the first."""


class Store:
    """A dataset that is open: `begin` and `open` give one; what changes it happens inside `writing`."""

    def __init__(self, folder: Path, ops: FileOps) -> None:
        """Open a folder that holds a dataset; raise VambraceError where it holds none, or a newer one."""
        self.folder = folder
        self._ops = ops
        self._layout = Layout(folder)
        self._held: Index | None = None
        self._locked = False
        self.document = self._read_document()

    @classmethod
    def begin(cls, path: Path | str, ops: FileOps | None = None, settings: Mapping[str, Any] | None = None) -> Store:
        """Open the dataset in a folder, or begin one in a folder that is empty or does not exist."""
        ops, folder = ops or RealFiles(), Path(path)
        layout = Layout(folder)
        with _on_disk(folder):
            _refuse_foreign(ops, layout)
            ops.make_folder(folder)
            if not _is_dataset(ops, layout):
                with exclusive(ops, folder, WAIT_S):
                    # Another process may have begun it meanwhile, and be far ahead of an empty one.
                    if not _is_dataset(ops, layout):
                        write_atomically(ops, layout.document, Document(settings=settings or {}).to_json())
        return cls(folder, ops)

    @classmethod
    def open(cls, path: Path | str, ops: FileOps | None = None) -> Store:
        """Open a dataset for reading; raise VambraceError where the folder holds none, or a newer one."""
        return cls(Path(path), ops or RealFiles())

    # -- reading ---------------------------------------------------------------------------------------------------

    def records(self) -> Iterator[Record]:
        """Yield the current records, sorted by key."""
        return (self._record(key) for key in sorted(self._index.current))

    def find(self, sha256: str) -> list[Record]:
        """Return the current records of a content: one, or none."""
        return [self._record(known.key) for known in self._index.of_content(sha256)]

    def find_superseded(self, sha256: str) -> list[Record]:
        """Return what was superseded of a content, the latest last."""
        known = [one for one in self._index.superseded.values() if one.sha256 == sha256]
        return [self._record(one.key) for one in sorted(known, key=lambda one: (one.revision, one.key))]

    def find_entry(self, root: str, path: str) -> list[Record]:
        """Return the current records of what was found at a place: several where its bytes changed over time."""
        return [self._record(known.key) for known in self._index.of_place(Occurrence(root, path))]

    def shards(self) -> list[Path]:
        """Return the current shards in the order of their recordings."""
        return [self._layout.shard(known.key) for known in self._index.ordered() if known.shard is not None]

    def read_shard(self, path: Path, columns: Sequence[str] | None = None) -> Iterator[pa.RecordBatch]:
        """Yield the rows of a shard if its bytes are those that were committed; else raise VambraceError."""
        known = self._index.current.get(path.stem) or self._index.superseded.get(path.stem)
        return read_batches(
            self._ops,
            path,
            None if columns is None else list(columns),
            moved=self._layout.shard(path.stem, superseded=True),
            stamp=known.shard if known else None,
        )

    def table_path(self, name: str) -> Path:
        """Return the path of a derived table, which `rebuild` brings up to date."""
        return self._layout.table(name)

    def table_batches(self, name: str) -> Iterator[pa.RecordBatch]:
        """Yield the rows of a derived table: from its file if that is up to date, else from the records."""
        document = self._read_document()
        if document.tables_current and is_stamped(self._ops, self._layout.table(name), document.state):
            yield from read_batches(self._ops, self._layout.table(name))
            return
        for _, table in self._builder(load_index(self._ops, self.folder)).tables((name,)):
            yield from table.to_batches()

    def read_table(self, name: str) -> pa.Table:
        """Return a derived table with its columns and types, even without rows."""
        batches = [batch.replace_schema_metadata(None) for batch in self.table_batches(name)]
        return pa.Table.from_batches(batches, schema=TABLES[name])

    def verify(self) -> Iterator[tuple[Path, str]]:
        """Yield each committed file that is not what its record says, with a sentence."""
        for known in self._index.ordered():
            for path, stamp in self._files_of(known):
                if stamp is not None and (fault := self._fault(path, stamp)):
                    yield path, fault

    def refresh(self) -> None:
        """Forget what was read of the folder, so that the next call reads it again."""
        self._held = None
        self.document = self._read_document()

    # -- writing ---------------------------------------------------------------------------------------------------

    @contextlib.contextmanager
    def writing(self, wait_s: float = WAIT_S) -> Iterator[Store]:
        """Hold the dataset for writing; first put in order what a dead run left behind."""
        with exclusive(self._ops, self.folder, wait_s):
            with _on_disk(self.folder):
                for name in FOLDERS:
                    self._ops.make_folder(self.folder / name)
                self.refresh()
                recover(self._ops, self._layout, self._index)
            self._locked = True
            try:
                yield self
            finally:
                self._locked = False
                with contextlib.suppress(OSError):
                    sweep_temporary(self._ops, self._layout)

    def commit(self, record: Record, finished: Finished | None, replaces: Sequence[Record] = ()) -> Record:
        """Add a source in one step, take the place of others, and return the record as it stands.

        A crash at any point leaves the source there wholly or not at all. Current records of the same content are
        replaced whether named or not, and their places kept.
        """
        _check_stamps(record, finished)
        with self._changing():
            refuse_same_name(record, self._index)
            gone = replaced_by(record, [one.key for one in replaces], self._index)
            whole = settled(record, gone, self._index)
            if finished is not None:
                self._place(finished.samples, self._layout.shard(record.key))
                self._place(finished.aside, self._layout.aside(record.key))
            self._put(whole)
            self._retire(gone)
            if record.key in self._index.superseded:
                forget_superseded(self._ops, self._layout, record.key)
                del self._index.superseded[record.key]
        return whole

    def add_occurrence(self, record: Record, root: str, path: str) -> Record:
        """Note one more place where a content was found, and return the record as it stands."""
        place = Occurrence(root, path)
        if place in record.occurrences:
            return record
        with self._changing():
            more = with_place(record, place)
            stands = record.key in self._index.current
            gone = replaced_by(more, (), self._index) if stands else []
            whole = settled(more, gone, self._index)
            self._put(whole, superseded=not stands)
            self._retire(gone)
        return whole

    def drop_occurrence(self, record: Record, root: str, path: str) -> Record:
        """Forget a place where a content was found, and return the record; the last one cannot be dropped."""
        whole = without_place(record, Occurrence(root, path))
        with self._changing():
            self._put(whole, superseded=record.key not in self._index.current)
        return whole

    def rebuild(self) -> bool:
        """Bring tables and descriptor up to date; return whether anything had changed."""
        self._require_lock()
        with _on_disk(self.folder):
            state = self._index.state()
            if self._tables_stand(state):
                self._write_document(replace(self.document, tables_current=True))
                return False
            self._build(state)
        return True

    def repair(self, wait_s: float = WAIT_S) -> None:
        """Build tables and descriptor anew from the records, whatever stands there, and touch nothing else."""
        with exclusive(self._ops, self.folder, wait_s), _on_disk(self.folder):
            self._ops.make_folder(self.folder / TABLES_FOLDER)
            self.refresh()
            self._build(self._index.state())

    # -- inside ----------------------------------------------------------------------------------------------------

    @property
    def _index(self) -> Index:
        if self._held is None:
            self._held = load_index(self._ops, self.folder)
        return self._held

    def _read_document(self) -> Document:
        path = self._layout.document
        try:
            return document_from_json(read_bytes(self._ops, path), str(path))
        except (FileNotFoundError, NotADirectoryError) as error:
            raise VambraceError(
                "this folder is no dataset",
                where=str(self.folder),
                todo="Give the folder that `vambrace convert SOURCE... --to DATASET` wrote",
            ) from error

    def _build(self, state: str) -> None:
        write_tables(self._ops, self.folder / TABLES_FOLDER, self._builder(self._index), state)
        shards = [f"{SAMPLES}/{path.name}" for path in self.shards()]
        write_atomically(self._ops, self._layout.package, descriptor(shards))
        generation = self.document.generation + 1
        self._write_document(replace(self.document, generation=generation, state=state, tables_current=True))

    def _write_document(self, document: Document) -> None:
        if document != self.document:
            write_atomically(self._ops, self._layout.document, document.to_json())
            self.document = document

    def _record(self, key: str) -> Record:
        """Read a record; one that is being superseded by another process stands in its new place."""
        try:
            return read_record(self._ops, self._layout.record(key))[0]
        except FileNotFoundError:
            return read_record(self._ops, self._layout.record(key, superseded=True))[0]

    def _builder(self, index: Index) -> Builder:
        def aside(key: str) -> tuple[Path, Path]:
            return self._layout.aside(key), self._layout.aside(key, superseded=True)

        return Builder(self._ops, index, self._record, aside)

    def _files_of(self, known: Known) -> tuple[tuple[Path, Stamp | None], tuple[Path, Stamp | None]]:
        return (self._layout.shard(known.key), known.shard), (self._layout.aside(known.key), known.aside)

    def _fault(self, path: Path, stamp: Stamp) -> str:
        try:
            with self._ops.open_old(path) as stream:
                right = sha256_of(stream) == stamp.sha256
        except OSError as error:
            return f"the file cannot be read: {error.strerror or error}"
        return "" if right else "its bytes are not those that were committed"

    def _tables_stand(self, state: str) -> bool:
        """Tell whether tables and descriptor were built from this state of the records."""
        names = self._ops.list_folder(self.folder)
        return (
            self.document.state == state
            and self._layout.package.name in names
            and all(is_stamped(self._ops, self._layout.table(name), state) for name in DERIVED)
        )

    def _require_lock(self) -> None:
        if not self._locked:
            raise RuntimeError("a dataset is changed only inside `with store.writing():`")

    @contextlib.contextmanager
    def _changing(self) -> Iterator[None]:
        """Mark the tables as stale before the first change; forget the index where a change fails half-way."""
        self._require_lock()
        try:
            with _on_disk(self.folder):
                self._write_document(replace(self.document, tables_current=False))
                yield
        except BaseException:
            self._held = None
            raise

    def _place(self, staged: Path | None, target: Path) -> None:
        if staged is not None:
            self._ops.rename(staged, target)
            self._ops.fsync_folder(target.parent)

    def _put(self, record: Record, *, superseded: bool = False) -> None:
        """Write a record where it stands, and remember it: the commit point."""
        data = record_to_json(record)
        write_atomically(self._ops, self._layout.record(record.key, superseded=superseded), data)
        known = Known.of(record, hashlib.sha256(data).hexdigest())
        if superseded:
            self._index.superseded[record.key] = known
        else:
            self._index.put(known)

    def _retire(self, gone: Sequence[Known]) -> None:
        """Move what was replaced aside, after what replaces it stands."""
        for known in gone:
            retire(self._ops, self._layout, known.key)
            self._index.remove(known.key)
            self._index.superseded[known.key] = known


def _check_stamps(record: Record, finished: Finished | None) -> None:
    """Raise ValueError where a record names other files than those that wait."""
    waiting = (finished.samples_stamp, finished.aside_stamp) if finished else (None, None)
    if (record.shard, record.aside) != waiting:
        raise ValueError(f"the record stamps {record.shard} and {record.aside}, but {waiting} wait for the commit")


def _is_dataset(ops: FileOps, layout: Layout) -> bool:
    return layout.document.name in ops.list_folder(layout.folder)


def _refuse_foreign(ops: FileOps, layout: Layout) -> None:
    """Raise VambraceError where the path is a file, or a folder with other things in it and no dataset."""
    if layout.folder.exists() and not layout.folder.is_dir():
        raise VambraceError("a file stands where the dataset should be", where=str(layout.folder), todo="Give a folder")
    own = {LOCK, OWNER}
    foreign = [name for name in ops.list_folder(layout.folder) if name not in own and not name.startswith(TEMPORARY)]
    if foreign and layout.document.name not in foreign:
        raise VambraceError(
            f"the folder is not empty and is no dataset; it holds {foreign[0]!r}",
            where=str(layout.folder),
            todo="Give a new or empty folder, or one that an earlier conversion wrote",
        )


@contextlib.contextmanager
def _on_disk(folder: Path) -> Iterator[None]:
    """Turn what the disk refuses into a sentence."""
    try:
        yield
    except OSError as error:
        raise VambraceError(
            f"writing failed: {error.strerror or error}",
            where=str(error.filename or folder),
            todo="What was committed before stands; make room or permission, then run the command again",
        ) from error
