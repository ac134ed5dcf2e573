"""Parquet as a dataset writes it: the same rows give the same bytes, and a flipped bit does not pass as a value."""

from __future__ import annotations

import contextlib
import hashlib
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import BinaryIO

import pyarrow as pa
import pyarrow.parquet as pq

from vambrace.dataset.files import FileOps, sha256_of
from vambrace.dataset.records import Stamp
from vambrace.errors import VambraceError

# Arrow reads some names without asking whether they are UTF-8.
_UNREADABLE = (pa.ArrowException, OSError, UnicodeDecodeError)


class _HashingSink:
    """A stream that Arrow writes to, which hashes and counts what passes through."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self._hash = hashlib.sha256()
        self.written = 0
        self.closed = self.abandoned = False

    def write(self, data: bytes | memoryview) -> int:
        """Pass bytes on."""
        if self.abandoned:
            return len(data)
        self._hash.update(data)
        self._stream.write(data)
        self.written += len(data)
        return len(data)

    def tell(self) -> int:
        """Return how many bytes have passed."""
        return self.written

    def flush(self) -> None:
        """Do nothing: the owner of the stream brings it to the disk."""

    def close(self) -> None:
        """Do nothing: the owner of the stream closes it."""

    def hexdigest(self) -> str:
        """Return the SHA-256 of what has passed, in hex."""
        return self._hash.hexdigest()


class TableFile:
    """Writes one Parquet file to an open stream; each `write` gives one row group.

    Use it in a `with` block: Arrow would write the end of a file that was given up to its closed stream.
    """

    def __init__(self, stream: BinaryIO, schema: pa.Schema) -> None:
        """Begin the file."""
        self._sink = _HashingSink(stream)
        self._writer = _writer(self._sink, schema)
        self._rows = 0

    def __enter__(self) -> TableFile:
        return self

    def __exit__(self, kind: object, error: object, trace: object) -> None:
        self._sink.abandoned = True
        self._writer.close()

    def write(self, table: pa.Table) -> None:
        """Write rows as one row group; none for an empty table."""
        if table.num_rows:
            self._writer.write_table(table, row_group_size=table.num_rows)
            self._rows += table.num_rows

    def close(self) -> Stamp:
        """Write the end of the file and return its stamp; the stream stays open for its owner."""
        self._writer.close()
        return Stamp(rows=self._rows, bytes=self._sink.written, sha256=self._sink.hexdigest())


def _writer(sink: _HashingSink, schema: pa.Schema) -> pq.ParquetWriter:
    """Return a writer with the encodings that measured best: deltas for counts, split bytes for values."""
    words = [field.name for field in schema if _is_text(field.type)]
    encodings = {field.name: code for field in schema if (code := _encoding(field.type))}
    return pq.ParquetWriter(
        sink,
        schema,
        version="2.6",
        compression="zstd",
        use_dictionary=words,
        column_encoding=encodings or None,
        write_page_checksum=True,
        store_schema=True,
    )


def _is_text(kind: pa.DataType) -> bool:
    return bool(pa.types.is_string(kind) or pa.types.is_dictionary(kind))


def _encoding(kind: pa.DataType) -> str | None:
    if pa.types.is_timestamp(kind) or pa.types.is_int64(kind):
        return "DELTA_BINARY_PACKED"
    return "BYTE_STREAM_SPLIT" if pa.types.is_float64(kind) else None


def read_batches(
    ops: FileOps,
    path: Path,
    columns: list[str] | None = None,
    *,
    moved: Path | None = None,
    stamp: Stamp | None = None,
) -> Iterator[pa.RecordBatch]:
    """Yield the rows of one of our own Parquet files; raise VambraceError for damage.

    `moved` is where the file stands once a writer has superseded it: who reads holds no lock. Page checksums are
    verified, and with a stamp all bytes before the first row is given: headers of pages and the file's end have no
    checksum, and a flipped bit there can rename a recording or take rows away.
    """
    try:
        with _opened(ops, [path, moved or path, path]) as stream:
            if stamp is not None and sha256_of(stream) != stamp.sha256:
                raise _damaged(path, "its bytes are not those that were committed")
            stream.seek(0)
            file = pq.ParquetFile(stream, page_checksum_verification=True)
            yield from file.iter_batches(columns=columns)
    except FileNotFoundError as error:
        raise _damaged(path, "the file is missing") from error
    except _UNREADABLE as error:
        raise _damaged(path, f"the file cannot be read: {error}") from error


def _opened(ops: FileOps, places: Sequence[Path]) -> BinaryIO:
    """Open a file at the first of the places where it stands."""
    for place in places[:-1]:
        with contextlib.suppress(FileNotFoundError):
            return ops.open_old(place)
    return ops.open_old(places[-1])


def read_schema(ops: FileOps, path: Path) -> pa.Schema:
    """Return the schema of one of our own Parquet files; raise VambraceError for damage."""
    try:
        with ops.open_old(path) as stream:
            return pq.read_schema(stream)
    except FileNotFoundError as error:
        raise _damaged(path, "the file is missing") from error
    except _UNREADABLE as error:
        raise _damaged(path, f"the file cannot be read: {error}") from error


def _damaged(path: Path, what: str) -> VambraceError:
    return VambraceError(
        what, where=str(path), todo="Restore the file from a copy, or convert the sources into a new dataset"
    )
