"""The class that a writer's author inherits from, and the checks that it runs."""

from __future__ import annotations

from collections.abc import Callable
from types import MappingProxyType
from typing import ClassVar, TypeAlias

import pyarrow as pa

from vambrace.plugin import Writer
from vambrace.testing.failure import Failure
from vambrace.testing.readers import READERS
from vambrace.testing.writer_checks import (
    WriterSubject,
    describes_itself,
    leaves_the_target_open,
    passes_errors_on,
    refuses_nothing_silently,
    writes_any_table,
    writes_any_text,
    writes_empty_tables,
    writes_extremes,
    writes_nulls,
    writes_several_batches,
    writes_the_same_bytes_again,
)

WriterCheck: TypeAlias = Callable[[WriterSubject], None]

WRITER_CHECKS = MappingProxyType(
    {
        check.__name__: check
        for check in (
            describes_itself,
            writes_empty_tables,
            writes_nulls,
            writes_extremes,
            writes_any_text,
            writes_several_batches,
            writes_any_table,
            writes_the_same_bytes_again,
            leaves_the_target_open,
            passes_errors_on,
            refuses_nothing_silently,
        )
    }
)
"""Every check of a writer by its name; each takes a WriterSubject and raises Failure."""


class WriterConformance:
    """The tests of a writer: inherit, and say which writer.

        class TestMyWriter(WriterConformance):
            writer = MyWriter()

            def read_back(self, data: bytes, schema: pa.Schema, suffix: str) -> pa.Table:
                return my_reader(data)

    `read_back` returns the table that stands in a file, best through a reader that somebody else wrote; the kit has
    its own for Parquet, Arrow and CSV. `keeps_metadata` is False for a format that has no place for a schema's
    metadata.
    """

    writer: ClassVar[Writer]
    keeps_metadata: ClassVar[bool] = True

    def read_back(self, data: bytes, schema: pa.Schema, suffix: str) -> pa.Table:
        """Return the table that stands in a file; `schema` says the types where the format does not."""
        if suffix not in READERS:
            todo = "Override the method `read_back(self, data, schema, suffix)` so that it returns a pyarrow.Table."
            raise Failure(f"the kit has no reader for {suffix}", where=type(self).__name__, todo=todo)
        return READERS[suffix](data, schema)

    def subject(self) -> WriterSubject:
        """Return what the checks look at; raise Failure where the class does not say it."""
        writer = getattr(self, "writer", None)
        if writer is None or isinstance(writer, type):
            todo = "Write `writer = MyWriter()`, an instance, in the class that inherits from WriterConformance."
            raise Failure("there is no writer to check", where=type(self).__name__, todo=todo)
        return WriterSubject(writer, self.read_back, self.keeps_metadata)

    def test_describes_itself(self) -> None:
        """Run the check of that name."""
        describes_itself(self.subject())

    def test_writes_empty_tables(self) -> None:
        """Run the check of that name."""
        writes_empty_tables(self.subject())

    def test_writes_nulls(self) -> None:
        """Run the check of that name."""
        writes_nulls(self.subject())

    def test_writes_extremes(self) -> None:
        """Run the check of that name."""
        writes_extremes(self.subject())

    def test_writes_any_text(self) -> None:
        """Run the check of that name."""
        writes_any_text(self.subject())

    def test_writes_several_batches(self) -> None:
        """Run the check of that name."""
        writes_several_batches(self.subject())

    def test_writes_any_table(self) -> None:
        """Run the check of that name."""
        writes_any_table(self.subject())

    def test_writes_the_same_bytes_again(self) -> None:
        """Run the check of that name."""
        writes_the_same_bytes_again(self.subject())

    def test_leaves_the_target_open(self) -> None:
        """Run the check of that name."""
        leaves_the_target_open(self.subject())

    def test_passes_errors_on(self) -> None:
        """Run the check of that name."""
        passes_errors_on(self.subject())

    def test_refuses_nothing_silently(self) -> None:
        """Run the check of that name."""
        refuses_nothing_silently(self.subject())
