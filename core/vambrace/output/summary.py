"""What a conversion, an inspection or a look at the plugins found: plain frozen values, to be printed or dumped."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from vambrace.dataset import Store


@dataclass(frozen=True, slots=True)
class Progress:
    """How far a run is: `done` of `total` (0 where it is not known yet); `phase` is `looking` or `reading`."""

    done: int
    total: int
    name: str
    phase: str


@dataclass(frozen=True, slots=True)
class Problem:
    """A source that gave no or not all of its rows, and the sentence that says why and what to do."""

    path: str
    root: str
    status: str
    reason: str


@dataclass(frozen=True, slots=True)
class Summary:
    """What a dataset holds, and what the conversion that has just ended did.

    `files_by_status` counts the rows of the ledger. `new`, `unchanged` and `rejected` count the sources of this
    conversion alone. Times are µs of Unix time, None without samples.
    """

    dataset: str
    files_by_status: Mapping[str, int]
    samples_by_signal: Mapping[str, int]
    recordings: int
    first_time_us: int | None
    last_time_us: int | None
    set_aside_by_reason: Mapping[str, int]
    problems: tuple[Problem, ...]
    findings_by_severity: Mapping[str, int]
    new: int = 0
    unchanged: int = 0
    rejected: int = 0
    warnings: tuple[str, ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the same as plain JSON values; times are ISO 8601 with `Z` and six decimals."""
        plain = asdict(self)
        for name in ("first_time", "last_time"):
            us = plain.pop(f"{name}_us")
            plain[name] = None if us is None else iso_utc(us)
        return plain


@dataclass(frozen=True, slots=True)
class Inspection:
    """What one source holds, how it would be read, and why; nothing is written.

    `recordings`, `channels`, `events` and `findings` hold the rows that the tables of these names would get, as plain
    values. `claim` is how strongly the importer claims the source, `claims` the same for every importer; `asked` adds
    the evidence of each, its package and whether it wins, `settled_by` what would settle a tie. `first_rows` holds
    the first rows of each channel in both forms; `first_set_aside` the first values of each reason; where
    `rows_discarded`, the source was refused after them and nothing of it is kept.
    """

    path: str
    root: str
    status: str
    reason: str | None
    bytes: int | None
    sha256: str | None = None
    importer: str | None = None
    importer_version: str | None = None
    claim: str | None = None
    notes: tuple[str, ...] = ()
    rows_read: int = 0
    rows_kept: int = 0
    rows_set_aside: int = 0
    rows_absent: int = 0
    recordings: tuple[Mapping[str, Any], ...] = ()
    channels: tuple[Mapping[str, Any], ...] = ()
    events: tuple[Mapping[str, Any], ...] = ()
    findings: tuple[Mapping[str, Any], ...] = ()
    claims: Mapping[str, str] = field(default_factory=dict)
    first_rows: tuple[Mapping[str, Any], ...] = ()
    first_set_aside: tuple[Mapping[str, Any], ...] = ()
    rows_discarded: bool = False
    asked: tuple[Mapping[str, Any], ...] = ()
    settled_by: str = ""

    def to_dict(self) -> dict[str, Any]:
        """Return the same as plain JSON values."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class PluginRow:
    """An importer or writer that is installed; `fault` says why it is not used, and is empty where it is.

    `options` holds what may be said to an importer: `name`, what it `takes`, its `default` and one line of `help`.
    """

    kind: str
    name: str
    title: str
    package: str
    version: str
    fault: str
    options: tuple[Mapping[str, str], ...] = ()

    def to_dict(self) -> dict[str, Any]:
        """Return the same as plain JSON values."""
        return asdict(self)


def iso_utc(us: int) -> str:
    """Return microseconds of Unix time as ISO 8601 in UTC with six decimals, as exports write it."""
    text: str = pc.cast(pa.scalar(us, pa.timestamp("us", "UTC")), pa.string()).as_py()
    return text.replace(" ", "T")


def summarise(
    store: Store, *, new: int = 0, unchanged: int = 0, rejected: int = 0, warnings: tuple[str, ...] = ()
) -> Summary:
    """Return what a dataset holds, from its derived tables; `new` and so on count what a conversion has just done."""
    statuses: dict[str, int] = {}
    problems: list[Problem] = []
    for row in _rows(store, "files", "path", "root", "status", "reason"):
        statuses[row["status"]] = statuses.get(row["status"], 0) + 1
        if row["status"] in ("rejected", "unrecognised", "partial"):
            problems.append(Problem(row["path"], row["root"], row["status"], row["reason"] or ""))
    recordings, first, last = _span(store)
    return Summary(
        dataset=str(store.folder),
        files_by_status=statuses,
        samples_by_signal=_sums(store, "channels", "signal", "n"),
        recordings=recordings,
        first_time_us=first,
        last_time_us=last,
        set_aside_by_reason=_sums(store, "set_aside", "reason", None),
        problems=tuple(problems),
        findings_by_severity=_sums(store, "findings", "severity", None),
        new=new,
        unchanged=unchanged,
        rejected=rejected,
        warnings=warnings,
    )


def _rows(store: Store, name: str, *columns: str) -> list[dict[str, Any]]:
    return [row for batch in store.table_batches(name) for row in batch.select(list(columns)).to_pylist()]


def _span(store: Store) -> tuple[int, int | None, int | None]:
    count, first, last = 0, None, None
    for batch in store.table_batches("recordings"):
        count += batch.num_rows
        starts = pc.min(batch.column("start_time").cast(pa.int64())).as_py()
        ends = pc.max(batch.column("end_time").cast(pa.int64())).as_py()
        first = starts if first is None else first if starts is None else min(first, starts)
        last = ends if last is None else last if ends is None else max(last, ends)
    return count, first, last


def _sums(store: Store, name: str, key: str, count: str | None) -> dict[str, int]:
    """Return how often each word stands in a column, or the sums of `count` by it; rows without a word are left out."""
    sums: dict[str, int] = {}
    for batch in store.table_batches(name):
        table = pa.table({"key": batch.column(key), "n": batch.column(count) if count else pa.repeat(1, len(batch))})
        for row in table.filter(pc.is_valid(table["key"])).group_by("key").aggregate([("n", "sum")]).to_pylist():
            sums[row["key"]] = sums.get(row["key"], 0) + row["n_sum"]
    return {word: n for word, n in sorted(sums.items()) if n}
