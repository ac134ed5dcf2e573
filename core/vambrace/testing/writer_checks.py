"""What a writer must do: what it writes reads back as it was."""

from __future__ import annotations

import io
import re
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, cast

import pyarrow as pa

from vambrace.dataset.schemas import TABLES
from vambrace.plugin import Writer
from vambrace.testing import tables
from vambrace.testing.failure import Failure

__tracebackhide__ = True  # pytest then shows where the check was called, and its sentence

RANDOM_TABLES = 25
"""How many tables the strategy makes for each suffix; the same each time."""


@dataclass(frozen=True)
class WriterSubject:
    """A writer under test. `read_back` takes the bytes of a file, the schema that was written, and the suffix.

    `keeps_metadata` says that the schema's metadata must read back too.
    """

    writer: Writer
    read_back: Callable[[bytes, pa.Schema, str], pa.Table]
    keeps_metadata: bool = True


class _Stop(Exception):
    """Comes out of the batches, to see whether a writer passes it on."""


def describes_itself(subject: WriterSubject) -> None:
    """Hold that the writer has a name, a title and suffixes in small letters, as the door asks."""
    writer = subject.writer
    where = type(writer).__name__
    for what in ("name", "title"):
        if not isinstance(getattr(writer, what, None), str) or not getattr(writer, what):
            todo = f"Give the class a line `{what} = ...` with a text."
            raise Failure(f"the writer has no {what}", where=where, todo=todo)
    suffixes = getattr(writer, "suffixes", ())
    if not isinstance(suffixes, tuple) or not suffixes:
        raise Failure("the writer names no suffix", where=where, todo='Write suffixes = (".xyz",), a tuple.')
    for suffix in suffixes:
        if not re.fullmatch(r"\.[a-z0-9_]+", str(suffix)):
            todo = 'Write it with one dot and in small letters, as in ".xyz".'
            raise Failure(
                f"no file name ends with {suffix!r} in the way that files are looked up", where=where, todo=todo
            )


def writes_empty_tables(subject: WriterSubject) -> None:
    """Hold that tables without rows read back with their columns and types, each table of a dataset among them."""
    for schema in (tables.SCHEMA, *TABLES.values()):
        _hold_round_trip(subject, schema, [], "no batch at all")
        _hold_round_trip(subject, schema, [_empty(schema)], "one batch without rows")


def _empty(schema: pa.Schema) -> pa.RecordBatch:
    return pa.record_batch([pa.array([], field.type) for field in schema], schema=schema)


def writes_nulls(subject: WriterSubject) -> None:
    """Hold that a null of each type reads back as one, and differs from 0, NaN, False and the empty text."""
    _hold_round_trip(subject, tables.SCHEMA, [tables.nulls()], "nulls")


def writes_extremes(subject: WriterSubject) -> None:
    """Hold that the largest and smallest numbers, infinities, NaN, -0.0 and far times read back to the last bit."""
    _hold_round_trip(subject, tables.SCHEMA, [tables.extremes()], "extremes")


def writes_any_text(subject: WriterSubject) -> None:
    """Hold that texts of any writing system, with quotes, line ends and words such as null, read back as they were."""
    _hold_round_trip(subject, tables.SCHEMA, [tables.texts()], "texts")


def writes_several_batches(subject: WriterSubject) -> None:
    """Hold that several batches, empty ones and ones with other words among them, read back in order."""
    _hold_round_trip(subject, tables.SCHEMA, tables.several(), "several batches")


def writes_any_table(subject: WriterSubject) -> None:
    """Hold that random tables of samples, in random batches, read back as they were."""
    from hypothesis import given, settings

    from vambrace.testing.strategies import canonical_tables

    @settings(max_examples=RANDOM_TABLES, deadline=None, derandomize=True, database=None)
    @given(table=canonical_tables())
    def holds(table: pa.Table) -> None:
        _hold_round_trip(subject, table.schema, table.to_batches(), "random samples")

    holds()


def writes_the_same_bytes_again(subject: WriterSubject) -> None:
    """Hold that the same batches, written twice, give the same bytes."""
    for suffix in subject.writer.suffixes:
        first, second = (_written(subject, suffix, tables.SCHEMA, tables.several()) for _ in range(2))
        if first != second:
            at = next(
                (at for at, pair in enumerate(zip(first, second, strict=False)) if pair[0] != pair[1]), len(first)
            )
            todo = "Write no time of writing, no random name, nothing that comes out of a set in any order."
            raise Failure(f"written twice, the files differ from byte {at} on", where=f"suffix {suffix}", todo=todo)


def leaves_the_target_open(subject: WriterSubject) -> None:
    """Hold that the writer leaves the target open: the core, which opened it, sees that all is on the disk."""
    for suffix in subject.writer.suffixes:
        with tempfile.TemporaryDirectory() as folder, _target(Path(folder), suffix) as target:
            subject.writer.write(target, tables.SCHEMA, iter(tables.several()))
            if target.closed:
                todo = "Close what you opened, and not the target; detach a wrapper of it at the end."
                raise Failure("the writer closed its target", where=f"suffix {suffix}", todo=todo)


def passes_errors_on(subject: WriterSubject) -> None:
    """Hold that an error in the midst of the batches, or a full disk, comes out of `write`."""
    for suffix in subject.writer.suffixes:
        _hold_passed_on(subject, suffix, _broken_off(), None)
        _hold_passed_on(subject, suffix, iter(tables.several()), _Full())


def _hold_passed_on(
    subject: WriterSubject, suffix: str, batches: Iterator[pa.RecordBatch], full: BinaryIO | None
) -> None:
    what = "an error of the batches" if full is None else "the error of a full disk"
    with tempfile.TemporaryDirectory() as folder, _target(Path(folder), suffix) as target:
        try:
            subject.writer.write(full or target, tables.SCHEMA, batches)
        except (_Stop, OSError):
            return
        except Exception as error:
            if isinstance(error.__cause__ or error.__context__, _Stop | OSError):
                return
            todo = "Let it through, or raise your own error `from` it."
            raise Failure(f"{what} comes out as {error!r}", where=f"suffix {suffix}", todo=todo) from error
    todo = "Catch no error that you cannot mend: half of a table must not pass as a whole one."
    raise Failure(f"{what} is swallowed", where=f"suffix {suffix}", todo=todo)


def _broken_off() -> Iterator[pa.RecordBatch]:
    yield tables.several()[0]
    raise _Stop


class _Full(io.BytesIO):
    """A target on a full disk."""

    def write(self, data: object, /) -> int:
        """Raise what a full disk raises."""
        raise OSError(28, "No space left on device")


def refuses_nothing_silently(subject: WriterSubject) -> None:
    """Hold that a column of an unusual type is written as it is, or refused with an error; not changed."""
    for what, column in tables.ODD.items():
        batch = pa.record_batch([column], names=["odd"])
        for suffix in subject.writer.suffixes:
            try:
                data = _written(subject, suffix, batch.schema, [batch])
            except Exception:  # noqa: S112 - to refuse is right
                continue
            todo = "Raise an error in `write` for a type that the format cannot carry."
            _hold_same(subject, data, suffix, pa.Table.from_batches([batch]), what, todo)


def _hold_round_trip(subject: WriterSubject, schema: pa.Schema, batches: Sequence[pa.RecordBatch], what: str) -> None:
    expected = pa.Table.from_batches(batches, schema)
    for suffix in subject.writer.suffixes:
        try:
            data = _written(subject, suffix, schema, batches)
        except Exception as error:
            where = f"suffix {suffix}, {what}"
            todo = "Every type of the dataset's tables must be written: text, words, time, float, count, flag and list."
            raise Failure(f"writing raises {type(error).__name__}: {error}", where=where, todo=todo) from error
        _hold_same(subject, data, suffix, expected, what, "Mend `write`, or the reader that the test class names.")


def _written(subject: WriterSubject, suffix: str, schema: pa.Schema, batches: Iterable[pa.RecordBatch]) -> bytes:
    """Return what the writer puts into a file of this suffix; it may go through the batches once."""
    with tempfile.TemporaryDirectory() as folder, _target(Path(folder), suffix) as target:
        subject.writer.write(target, schema, iter(list(batches)))
        if not target.closed:
            target.flush()
        return Path(folder, f"table{suffix}").read_bytes()


def _target(folder: Path, suffix: str) -> BinaryIO:
    return cast(BinaryIO, Path(folder, f"table{suffix}").open("w+b"))


def _hold_same(subject: WriterSubject, data: bytes, suffix: str, expected: pa.Table, what: str, todo: str) -> None:
    """Raise Failure where what stands in a file is not the table that was written."""
    where = f"suffix {suffix}, {what}"
    try:
        found = subject.read_back(data, expected.schema, suffix)
    except Failure:
        raise
    except Exception as error:
        said = f"what was written ({len(data)} bytes) cannot be read back: {type(error).__name__}: {error}"
        raise Failure(said, where=where, todo=todo) from error
    if found.schema.remove_metadata() != expected.schema.remove_metadata():
        said = f"the columns are {_columns(found.schema)} and were {_columns(expected.schema)}"
        raise Failure(said, where=where, todo=todo)
    if subject.keeps_metadata and not _metadata(expected.schema) <= _metadata(found.schema):
        said = "the schema's metadata, which hold units and codes, are lost"
        raise Failure(said, where=where, todo="Store them; or set keeps_metadata = False where the format cannot.")
    if len(found) != len(expected):
        raise Failure(f"{len(expected)} rows were written, and {len(found)} stand there", where=where, todo=todo)
    for name in expected.schema.names:
        _hold_same_cells(expected[name].to_pylist(), found[name].to_pylist(), f"{where}, column {name}", todo)


def _hold_same_cells(expected: list[object], found: list[object], where: str, todo: str) -> None:
    for row, (was, is_) in enumerate(zip(expected, found, strict=True)):
        # The text of a float tells NaN from null and -0.0 from 0.0.
        if repr(was) != repr(is_):
            raise Failure(f"row {row + 1} was {was!r:.200} and is {is_!r:.200}", where=where, todo=todo)


def _columns(schema: pa.Schema) -> str:
    return ", ".join(f"{field.name} ({field.type})" for field in schema)


def _metadata(schema: pa.Schema) -> set[tuple[bytes, bytes]]:
    return set((schema.metadata or {}).items())
