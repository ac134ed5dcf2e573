"""A right writer, and wrong ones: each breaks one promise, and one check must see it."""

from __future__ import annotations

import io
import uuid
from collections.abc import Iterable, Iterator
from contextlib import suppress
from typing import BinaryIO

import pyarrow as pa
import pyarrow.compute as pc

from vambrace_plugins.writers.arrow import ArrowWriter

Batches = Iterable[pa.RecordBatch]


class Right:
    """Writes Arrow IPC files through the writer that ships with Vambrace, and keeps every promise."""

    name = "toy"
    title = "Toy"
    suffixes: tuple[str, ...] = (".arrow", ".feather")

    def write(self, target: BinaryIO, schema: pa.Schema, batches: Batches) -> None:
        ArrowWriter().write(target, self.schema(schema), self.changed(schema, batches))

    def schema(self, schema: pa.Schema) -> pa.Schema:
        return schema

    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        yield from batches


def with_columns(batch: pa.RecordBatch, kind: type | pa.DataType, change: object) -> pa.RecordBatch:
    """Return a batch whose columns of a type went through a function."""
    columns = [change(column) if column.type == kind else column for column in batch.columns]  # type: ignore[operator]
    return pa.record_batch(columns, schema=batch.schema)


class NoTitle(Right):
    title = ""


class NoSuffix(Right):
    suffixes = ()


class LoudSuffix(Right):
    suffixes = (".ARROW",)


class NothingForNothing(Right):
    def write(self, target: BinaryIO, schema: pa.Schema, batches: Batches) -> None:
        held = [batch for batch in batches if len(batch)]
        if held:
            super().write(target, schema, held)


class LosesMetadata(Right):
    def schema(self, schema: pa.Schema) -> pa.Schema:
        return schema.remove_metadata()

    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        for batch in batches:
            yield pa.record_batch(batch.columns, schema=self.schema(schema))


class FillsNulls(Right):
    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        for batch in batches:
            yield with_columns(batch, pa.string(), lambda column: pc.fill_null(column, ""))


class KnowsNoLists(Right):
    def write(self, target: BinaryIO, schema: pa.Schema, batches: Batches) -> None:
        if any(pa.types.is_list(field.type) for field in schema):
            raise ValueError("a list")
        super().write(target, schema, batches)


class NanForNull(Right):
    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        for batch in batches:
            yield with_columns(batch, pa.float64(), lambda column: pc.fill_null(column, float("nan")))


class RoundsFloats(Right):
    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        for batch in batches:
            yield with_columns(batch, pa.float64(), lambda column: column.cast(pa.float32(), safe=False).cast("double"))


class WholeMilliseconds(Right):
    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        kind = pa.timestamp("us", "UTC")
        for batch in batches:
            yield with_columns(
                batch, kind, lambda column: column.cast(pa.timestamp("ms", "UTC"), safe=False).cast(kind)
            )


class LosesTheSignOfZero(Right):
    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        for batch in batches:
            yield with_columns(batch, pa.float64(), lambda column: pc.add(column, 0.0))


class Trims(Right):
    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        for batch in batches:
            yield with_columns(batch, pa.string(), pc.utf8_trim_whitespace)


class Normalises(Right):
    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        for batch in batches:
            yield with_columns(batch, pa.string(), lambda column: pc.utf8_normalize(column, form="NFC"))


class LastBatchOnly(Right):
    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        yield from list(batches)[-1:]


class FirstWordsOnly(Right):
    """Takes the words of the first batch for those of all."""

    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        words: dict[int, pa.Array] = {}
        for batch in batches:
            columns = list(batch.columns)
            for place, column in enumerate(columns):
                if pa.types.is_dictionary(column.type):
                    known = words.setdefault(place, column.dictionary)
                    codes = pc.if_else(pc.less(column.indices, len(known)), column.indices, None)
                    columns[place] = pa.DictionaryArray.from_arrays(codes, known)
            yield pa.record_batch(columns, schema=batch.schema)


class DropsTheSuspect(Right):
    """Leaves out what no table of the kit's own holds, but samples do."""

    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        for batch in batches:
            if "quality" in schema.names:
                yield batch.filter(pc.not_equal(batch["quality"].cast(pa.string()), "suspect"))
            else:
                yield batch


class NamesItself(Right):
    def schema(self, schema: pa.Schema) -> pa.Schema:
        return schema.with_metadata({**(schema.metadata or {}), b"written": uuid.uuid4().bytes})


class Closes(Right):
    def write(self, target: BinaryIO, schema: pa.Schema, batches: Batches) -> None:
        super().write(target, schema, batches)
        target.close()


class Swallows(Right):
    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        with suppress(Exception):
            yield from batches


class SwallowsFullDisks(Right):
    def write(self, target: BinaryIO, schema: pa.Schema, batches: Batches) -> None:
        held = io.BytesIO()
        super().write(held, schema, batches)
        with suppress(OSError):
            target.write(held.getvalue())


class SaysSomethingElse(Right):
    def write(self, target: BinaryIO, schema: pa.Schema, batches: Batches) -> None:
        try:
            super().write(target, schema, batches)
        except Exception:
            failed = True
        else:
            failed = False
        if failed:
            raise ValueError("something went wrong")


class LeavesOddColumnsOut(Right):
    def schema(self, schema: pa.Schema) -> pa.Schema:
        return pa.schema([field for field in schema if not pa.types.is_struct(field.type)], schema.metadata)

    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        for batch in batches:
            yield batch.select(self.schema(schema).names)


class ChangesOddColumns(Right):
    def schema(self, schema: pa.Schema) -> pa.Schema:
        fields = [pa.field(field.name, pa.string() if pa.types.is_date(field.type) else field.type) for field in schema]
        return pa.schema(fields, schema.metadata)

    def changed(self, schema: pa.Schema, batches: Batches) -> Iterator[pa.RecordBatch]:
        for batch in batches:
            columns = [column.cast(pa.string()) if pa.types.is_date(column.type) else column for column in batch]
            yield pa.record_batch(columns, schema=self.schema(schema))


WRONG: dict[str, list[tuple[type[Right], str]]] = {
    "describes_itself": [(NoTitle, "no title"), (NoSuffix, "no suffix"), (LoudSuffix, "'.ARROW'")],
    "writes_empty_tables": [(NothingForNothing, "cannot be read back"), (LosesMetadata, "metadata")],
    "writes_nulls": [
        (FillsNulls, "was None and is ''"),
        (NanForNull, "was None and is nan"),
        (KnowsNoLists, "writing raises ValueError: a list"),
    ],
    "writes_extremes": [
        (RoundsFloats, "was 0.1 and is"),
        (WholeMilliseconds, "column time"),
        (LosesTheSignOfZero, "was -0.0 and is 0.0"),
    ],
    "writes_any_text": [(Trims, "was ' ' and is ''"), (Normalises, "column text")],
    "writes_several_batches": [
        (LastBatchOnly, "9 rows were written, and 1 stand there"),
        (FirstWordsOnly, "column word"),
    ],
    "writes_any_table": [(DropsTheSuspect, "random samples")],
    "writes_the_same_bytes_again": [(NamesItself, "differ from byte")],
    "leaves_the_target_open": [(Closes, "closed its target")],
    "passes_errors_on": [
        (Swallows, "error of the batches is swallowed"),
        (SwallowsFullDisks, "full disk is swallowed"),
        (SaysSomethingElse, "comes out as ValueError"),
    ],
    "refuses_nothing_silently": [(LeavesOddColumnsOut, "a structure"), (ChangesOddColumns, "a date")],
}
"""The wrong writers of each check, each with words that the check's sentence must hold."""
