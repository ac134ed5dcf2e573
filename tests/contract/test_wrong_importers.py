"""A zoo of wrong importers: whatever one does, its source ends with a reason, and no other source suffers."""

from __future__ import annotations

import hashlib
import io
import warnings
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from types import MappingProxyType
from typing import Any, ClassVar

import numpy as np
import pytest

from vambrace.dataset import Occurrence, Record, ShardWriter
from vambrace.pipeline import Plan, convert_source
from vambrace.plugin import Claim, Column, DamagedFile, Event, Head, Recording, Refused, Rejected, SourceBatch, Times
from vambrace.registry import Registry
from vambrace.rules import RULES


@dataclass(frozen=True)
class NoOptions:
    """None."""


class Toy:
    """Yields what it is told."""

    name = "toy"
    version = "1"
    title = "Toy"
    Options: ClassVar[type] = NoOptions
    end_mark = False

    def __init__(self, items: Callable[[], Iterator[Any]]) -> None:
        self.items = items

    def recognise(self, head: Head) -> Claim:
        return Claim.SIGNATURE

    def read(self, source: Any) -> Iterator[Any]:
        yield from self.items()


def batch(
    values: list[Any] | np.ndarray[Any, Any],
    *,
    signal: str = "heart_rate",
    unit: str = "/min",
    record: list[int] | None = None,
    recording: int = 1,
) -> SourceBatch:
    n = len(values)
    numbers = np.array(record if record is not None else range(1, n + 1), np.int64)
    times = Times(1_700_000_000 + numbers, unit="s", basis="utc")
    return SourceBatch(numbers, times, (Column(signal, values, unit),), recording)


def run(folder: Path, items: Callable[[], Iterator[Any]], *, salvage: bool = False) -> Record:
    data = b"x"
    plan = Plan(
        opener=partial(io.BytesIO, data),  # type: ignore[arg-type]
        sha256=hashlib.sha256(data).hexdigest(),
        size=1,
        content_size=1,
        name="x.toy",
        occurrences=(Occurrence("in", "x.toy"),),
        importer="toy",
        salvage=salvage,
    )
    registry = Registry(MappingProxyType({"toy": Toy(items)}), MappingProxyType({}), ())
    with ShardWriter(folder) as writer:
        return convert_source(plan, registry, writer).record


def two_of_a_kind() -> Iterator[Any]:
    yield SourceBatch(
        np.array([1]),
        Times([1_700_000_000], unit="s", basis="utc"),
        (Column("heart_rate", [60], "/min"), Column("heart_rate", [61], "/min")),
    )


def ragged() -> Iterator[Any]:
    yield SourceBatch(
        np.array([1, 2]), Times(["2024-03-01T00:00:00Z"]), (Column("heart_rate", np.array([1.0, 2.0]), "/min"),)
    )


def too_few_flags() -> Iterator[Any]:
    times = Times([1_700_000_000, 1_700_000_001], unit="s", basis="utc")
    yield SourceBatch(np.array([1, 2]), times, (Column("heart_rate", [60, 61], "/min", flags=["x"]),))


def falling() -> Iterator[Any]:
    yield batch([60, 61], record=[5, 6])
    yield batch([62], record=[6])


def plain_lists() -> Iterator[Any]:
    times = Times([1_700_000_000, 1_700_000_001, 1_700_000_002], unit="s", basis="utc")
    yield SourceBatch(np.array([1, 2, 3]), times, (Column("heart_rate", [60, None, 62.5], "bpm"),))


def broken_off() -> Iterator[Any]:
    yield batch([60, 61])
    raise DamagedFile("it breaks off", where="byte 7", todo="Export it again")


def crash() -> Iterator[Any]:
    yield batch([60])
    raise ZeroDivisionError("division by zero")


def leaves() -> Iterator[Any]:
    yield batch([60])
    raise SystemExit(3)


WRONG: dict[str, tuple[Callable[[], Iterator[Any]], str, str]] = {
    "crashes": (crash, "plugin-fault", "ZeroDivisionError: division by zero"),
    "ends the process": (leaves, "plugin-fault", "SystemExit: 3"),
    "yields a stranger": (lambda: iter([{"heart_rate": 60}]), "plugin-fault", "it yielded a dict"),
    "invents a signal": (lambda: iter([batch([1], signal="vigour")]), "plugin-fault", "'vigour' is no signal"),
    "sets an unknown signal aside": (
        lambda: iter([Rejected("vigour", 1, "not-a-number", "x")]),
        "plugin-fault",
        "'vigour', which is no signal",
    ),
    "says a signal twice": (two_of_a_kind, "plugin-fault", "the same signal"),
    "hands over ragged columns": (ragged, "plugin-fault", "columns of"),
    "hands over too few flags": (too_few_flags, "plugin-fault", "columns of"),
    "counts records backwards": (falling, "plugin-fault", "do not rise"),
    "uses a unit that the signal does not have": (
        lambda: iter([batch([60], unit="parsec")]),
        "unknown-unit",
        "parsec",
    ),
    "cannot decide": (
        lambda: (_ for _ in ()).throw(Refused("two-readings", "day or month first", todo="Say which")),
        "two-readings",
        "day or month first",
    ),
    "raises the operating system's words": (
        lambda: (_ for _ in ()).throw(OSError(5, "Input/output error")),
        "unreadable",
        "Input/output error",
    ),
    "runs out of memory": (lambda: (_ for _ in ()).throw(MemoryError()), "too-large", "memory"),
}


@pytest.mark.parametrize("name", WRONG)
def test_a_wrong_importer_gives_a_reason_and_no_row(name: str, tmp_path: Path) -> None:
    items, code, says = WRONG[name]
    record = run(tmp_path, items)
    assert (record.status, record.code) == ("rejected", code)
    assert says in (record.reason or "")
    assert record.rows_read == 0
    assert record.shard is None
    assert [path for path in tmp_path.rglob("*") if path.is_file()] == []


def test_plain_lists_of_numbers_are_as_good_as_columns(tmp_path: Path) -> None:
    record = run(tmp_path, plain_lists)
    assert (record.status, record.rows_kept, record.rows_absent) == ("converted", 2, 1)
    assert record.recordings[0].start_us == 1_700_000_000_000_000


def test_the_zoo_differs_from_a_right_importer(tmp_path: Path) -> None:
    record = run(tmp_path, lambda: iter([batch([60, 0, 400])]))
    assert (record.status, record.rows_kept, record.rows_set_aside, record.rows_absent) == ("converted", 1, 1, 1)


@pytest.mark.parametrize(("salvage", "status", "kept"), [(False, "rejected", 0), (True, "partial", 2)])
def test_what_stands_before_a_damage_stays_only_where_it_is_wanted(
    salvage: bool, status: str, kept: int, tmp_path: Path
) -> None:
    record = run(tmp_path, broken_off, salvage=salvage)
    assert (record.status, record.rows_kept) == (status, kept)
    assert "byte 7: it breaks off. Export it again." in (record.reason or "")
    assert all(row.complete is False for row in record.recordings)


def test_warnings_of_a_decoder_become_one_counted_finding(tmp_path: Path) -> None:
    def noisy() -> Iterator[Any]:
        for _ in range(500):
            warnings.warn("odd field size", stacklevel=1)
        yield batch([60])

    record = run(tmp_path, noisy)
    assert [(row.rule, row.count) for row in record.findings if row.rule not in RULES] == [("decoder-warning", 500)]


def test_nothing_carried_is_converted_with_no_recording_and_says_so(tmp_path: Path) -> None:
    record = run(tmp_path, lambda: iter([Recording(1, not_carried={"mood": 3}), Event("lap", Times(["x"]), ["1"])]))
    assert (record.status, record.recordings) == ("converted", ())
    assert "no value of any signal" in (record.reason or "")
    assert {(row.rule, row.count) for row in record.findings} == {("not-carried", 3), ("event-without-time", 1)}


def test_every_row_set_aside_is_a_rejection_that_counts_reasons(tmp_path: Path) -> None:
    record = run(tmp_path, lambda: iter([batch([999, 998])]))
    assert (record.status, record.code, record.rows_set_aside) == ("rejected", "all-set-aside", 2)
    assert "2 outside-domain" in (record.reason or "")
