"""Derived tables as columns: pure functions from records to the contract's rows."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, TypeAlias

import pyarrow as pa

from vambrace.dataset.ledger import Line, status_of
from vambrace.dataset.records import ChannelRow, FindingRow, Occurrence, Record
from vambrace.dataset.schemas import TABLES
from vambrace.dataset.texts import byte_order, text_array

Row: TypeAlias = tuple[Any, ...]


def table_of(name: str, rows: Sequence[Row]) -> pa.Table:
    """Return rows of a table as Arrow columns of the contract's types."""
    schema = TABLES[name]
    columns = zip(*rows, strict=True) if rows else ([] for _ in schema)
    arrays = [_array(list(values), field.type) for values, field in zip(columns, schema, strict=True)]
    return pa.table(arrays, schema=schema)


def _array(values: list[Any], kind: pa.DataType) -> pa.Array:
    if pa.types.is_string(kind):
        return text_array(values)
    if pa.types.is_list(kind):
        offsets = [0]
        for one in values:
            offsets.append(offsets[-1] + len(one))
        return pa.ListArray.from_arrays(pa.array(offsets, pa.int32()), text_array([x for one in values for x in one]))
    return pa.array(values, kind)


def files_row(line: Line, record: Record) -> Row:
    """Return one row of the ledger; nothing is counted for a duplicate, so that sums over the ledger hold."""
    status, reason = status_of(line, record)
    counts = (
        len(record.recordings),
        record.rows_read,
        record.rows_kept,
        record.rows_set_aside,
        record.rows_outside,
        record.rows_absent,
    )
    if line.place != line.first:
        counts = (0, 0, 0, 0, 0, 0)
    return (line.place.path, line.place.root, record.sha256, record.bytes, status, reason, *counts)


def recordings_rows(record: Record, place: Occurrence) -> list[Row]:
    """Return the record's rows of `recordings`, ordered by recording."""
    return [
        (
            row.recording,
            place.path,
            record.sha256,
            row.format,
            record.importer,
            record.importer_version,
            row.manufacturer,
            row.product,
            row.serial,
            row.firmware,
            place.root,
            row.zone,
            row.zone_known_by,
            row.start_us,
            row.end_us,
            row.complete,
            row.conversions,
        )
        for row in sorted(record.recordings, key=lambda row: row.recording)
    ]


def channels_rows(record: Record) -> list[Row]:
    """Return the record's rows of `channels`, ordered by recording and signal; fields not carried come last."""
    return [
        (
            row.recording,
            row.signal,
            row.n,
            row.n_set_aside,
            row.n_suspect,
            row.n_absent,
            row.field_in_source,
            row.unit_in_source,
            row.statistic,
            row.counts,
            row.sensor,
            row.median_interval_s,
            row.gaps,
            row.longest_gap_s,
        )
        for row in sorted(record.channels, key=_channel_order)
    ]


def _channel_order(row: ChannelRow) -> tuple[str, bool, str, bytes]:
    return row.recording, row.signal is None, row.signal or "", byte_order(row.field_in_source or "")


def events_rows(record: Record) -> list[Row]:
    """Return the record's rows of `events`, ordered by recording, time and kind."""
    never = -(1 << 63)
    order = sorted(
        record.events,
        key=lambda row: (row.recording, never if row.time_us is None else row.time_us, row.kind, row.text or ""),
    )
    return [(row.recording, row.time_us, row.kind, row.text) for row in order]


def findings_rows(findings: Iterable[FindingRow], place: Occurrence) -> list[Row]:
    """Return rows of `findings` of one source, ordered by rule, recording, signal, first time and message."""
    order = sorted(
        findings,
        key=lambda row: (row.rule, row.recording or "", row.signal or "", row.first_us or 0, row.message),
    )
    return [
        (
            row.rule,
            row.severity,
            place.path,
            row.recording,
            row.signal,
            row.first_us,
            row.last_us,
            row.count,
            row.message,
        )
        for row in order
    ]
