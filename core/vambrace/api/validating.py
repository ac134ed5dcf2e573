"""Looks for faults in files and datasets; nothing is converted."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vambrace import registry
from vambrace.api.survey import Options, Wishes, planned, record_of
from vambrace.dataset import DOCUMENT, FindingRow, FleetingFiles, Record, ShardWriter, Store, check_dataset
from vambrace.errors import PluginFault, SourceError, VambraceError
from vambrace.output import Dataset
from vambrace.output.summary import iso_utc
from vambrace.pipeline import examine
from vambrace.rules import (
    ORDER_OF_TIME,
    Evaluation,
    Finding,
    InTimeOrder,
    Severity,
    Thresholds,
    badness,
    finding_of,
    finding_of_code,
    load_thresholds,
)
from vambrace.sources import BY_PATTERN, Entry, close_spools, scan, walk
from vambrace.sources.names import place_of

if TYPE_CHECKING:
    import pandas as pd

Paths = Path | str | Dataset | Sequence[Path | str]


@dataclass(frozen=True, slots=True)
class Validation:
    """What was looked at and found: `checked` names each file and dataset, `findings` come path by path, worst first.

    `overridden` says which thresholds were not the catalogue's, `repaired` which datasets had their tables rebuilt.
    """

    checked: tuple[str, ...]
    findings: tuple[Finding, ...]
    overridden: tuple[str, ...] = ()
    repaired: tuple[str, ...] = ()

    def counts(self) -> dict[str, int]:
        """Return how many findings there are of each severity, the worst first."""
        return {str(each): sum(one.severity == each for one in self.findings) for each in Severity}

    def to_dict(self) -> dict[str, Any]:
        """Return the same as plain JSON values, as `docs/validation.schema.json` describes them."""
        return {
            "format": 1,
            "checked": list(self.checked),
            "thresholds": list(self.overridden),
            "repaired": list(self.repaired),
            "counts": self.counts(),
            "findings": [plain(each) for each in self.findings],
        }


def plain(finding: Finding) -> dict[str, Any]:
    """Return a finding as plain JSON values; times are ISO 8601 with `Z` and six decimals."""
    names = {"first_us": "first_time", "last_us": "last_time"}
    said = {names.get(key, key): value for key, value in asdict(finding).items()}
    for key in names.values():
        said[key] = None if said[key] is None else iso_utc(said[key])
    return said | {"severity": str(finding.severity)}


def validate(
    paths: Paths,
    rules: Path | str | None = None,
    *,
    zone: str | None = None,
    options: Options | None = None,
    mappings: Sequence[Path | str] = (),
    ignore: Sequence[str] = (),
) -> pd.DataFrame:
    """Return what is wrong with files, folders, archives or datasets: one row a finding.

    `rules` is a TOML file whose thresholds replace those of the catalogue; `mappings` are files that explain unfamiliar
    exports; what matches a pattern of `ignore` is not looked at. Raise VambraceError for a path that does not exist, a
    dataset of a newer version, or a rules file that names what no rule has.
    """
    import pandas as pd

    found = find_faults(paths, rules=rules, zone=zone, options=options, mappings=mappings, ignore=ignore)
    frame = pd.DataFrame([asdict(each) for each in found.findings], columns=list(Finding.__dataclass_fields__))
    kinds = {"first_record": "Int64", "last_record": "Int64", "count": "int64", "worst": "float64"}
    texts = dict.fromkeys(("rule", "severity", "message", "path", "recording", "signal", "where"), "str")
    for before, after in (("first_us", "first_time"), ("last_us", "last_time")):
        times = pd.to_datetime(frame[before].astype("Int64"), unit="us", utc=True).astype("datetime64[us, UTC]")
        frame[before] = times
        frame = frame.rename(columns={before: after})
    return frame.astype(kinds | texts)


def find_faults(
    paths: Paths,
    *,
    rules: Path | str | None = None,
    zone: str | None = None,
    options: Options | None = None,
    mappings: Sequence[Path | str] = (),
    ignore: Sequence[str] = (),
    repair: bool = False,
) -> Validation:
    """Return what is wrong with files, folders, archives or datasets, as plain values; errors as in `validate`.

    `repair` first builds the derived tables of datasets anew; then every path must be a dataset.
    """
    paths = paths.folder if isinstance(paths, Dataset) else paths
    roots = [paths] if isinstance(paths, Path | str) else list(paths)
    thresholds = load_thresholds(rules) if rules is not None else Thresholds()
    wishes = Wishes(zone, options or {})
    installed = registry.load(tuple(registry.read_mapping(Path(each)) for each in mappings))
    wishes.check(installed)
    checked: list[str] = []
    findings: list[Finding] = []
    datasets = [each for each in roots if _is_dataset(each)]
    others = [each for each in roots if not _is_dataset(each)]
    if repair:
        _repair(datasets, others)
    for each in datasets:
        checked.append(str(each))
        findings += _of_dataset(Path(each), thresholds)
    for path, found in _of_files(others, ignore, installed, wishes, thresholds):
        checked.append(path)
        findings += [replace(one, path=path) for one in found]
    repaired = tuple(str(each) for each in datasets) if repair else ()
    return Validation(tuple(checked), tuple(_grouped(findings)), thresholds.overridden(), repaired)


def _is_dataset(path: Path | str) -> bool:
    folder = Path(path)
    if (folder / DOCUMENT).is_file():
        return True
    if all((folder / name).is_dir() for name in ("sources", "samples", "tables")):
        what = f"this folder looks like a dataset, but the file {DOCUMENT} that marks one is missing"
        raise VambraceError(what, where=str(path), todo="Restore it from a copy, or convert the sources anew")
    return False


def _repair(datasets: Iterable[Path | str], others: Sequence[Path | str]) -> None:
    if others:
        todo = "Leave out --repair, or give the folder that `vambrace convert` wrote"
        raise VambraceError("only a dataset can be repaired, and this is none", where=str(others[0]), todo=todo)
    for each in datasets:
        Store.open(each).repair()


def _grouped(findings: Iterable[Finding]) -> list[Finding]:
    """Return findings path by path: the path with the worst finding first, and of each path the worst first."""
    ordered = sorted(findings, key=badness)
    worst: dict[str, int] = {}
    for each in ordered:
        worst.setdefault(each.path, badness(each)[0])
    # What is inside something comes behind it: `!` would stand before every letter.
    return sorted(
        ordered, key=lambda each: (worst[each.path], each.path.replace("!", "\x7f").encode(errors="surrogateescape"))
    )


def _of_files(
    roots: Sequence[Path | str],
    ignore: Sequence[str],
    installed: registry.Registry,
    wishes: Wishes,
    thresholds: Thresholds,
) -> Iterator[tuple[str, list[Finding]]]:
    """Yield each file or member of an archive with its findings."""
    if not roots:
        return
    try:
        with tempfile.TemporaryDirectory(prefix="vambrace-") as folder:
            seen: set[str] = set()
            for entry in walk([os.fspath(each) for each in roots], ignore, marker=DOCUMENT, salvage=True):
                seen.add(entry.root)
                if entry.kind == "ignored" and entry.reason.startswith(BY_PATTERN):
                    continue
                yield _shown(entry), _of_entry(entry, installed, wishes, thresholds, Path(folder))
        _refuse_empty(roots, seen)
    finally:
        close_spools()


def _refuse_empty(roots: Iterable[Path | str], seen: set[str]) -> None:
    for root in roots:
        if not any(os.path.normpath(each) == os.path.normpath(root) for each in seen):
            todo = "Check the path; what would be validated stands in it or below it"
            raise VambraceError("there is no file in this folder", where=str(root), todo=todo)


def _shown(entry: Entry) -> str:
    return place_of(entry.root, entry.path)


def _of_entry(
    entry: Entry, installed: registry.Registry, wishes: Wishes, thresholds: Thresholds, folder: Path
) -> list[Finding]:
    if entry.kind == "ignored":
        # Beside what a pattern leaves out only a dataset inside the folder comes so: it is asked for by its own path.
        message = f"{entry.reason}. Validate it by its own path."
        return [Finding("not-looked-into", Severity.NOTE, message)]
    if entry.kind != "content":
        return list(_of_ledger(record_of(entry)))
    try:
        plan = planned(entry, scan(entry), installed, wishes)
    except SourceError as error:
        return [finding_of(error)]
    try:
        with ShardWriter(folder, FleetingFiles()) as writer:
            found = examine(plan, installed, writer, thresholds)
            # What the writer finished would wait for a commit; here nobody commits.
            writer.discard()
    except Exception as error:
        # As in a conversion: a fault of our own in one source must not cost the others their findings.
        fault = PluginFault(f"reading it failed with {type(error).__name__}: {error}", todo="Report it with the file")
        return [finding_of(fault)]
    return found


def _of_ledger(record: Record) -> Iterator[Finding]:
    """Yield the finding for a source of which the ledger says that it was not, or not wholly, read."""
    if record.status not in ("rejected", "partial", "unrecognised"):
        return
    reason = record.reason or "it was not read"
    yield finding_of_code(record.code or "", record.status, reason, reason)


def _of_dataset(folder: Path, thresholds: Thresholds) -> Iterator[Finding]:
    """Yield breaches of the contract, and what the sources' findings say under these thresholds."""
    sources = _Sources(thresholds)
    yield from (replace(each, path=f"{folder}/{each.path}") for each in check_dataset(folder, sources.tell_of))
    # Written as the members of an archive are: two datasets may hold sources of one name.
    yield from (replace(each, path=f"{folder}!{each.path}") for each in sources.findings())


class _Sources:
    """Gathers what is known of the sources of a dataset, one after another, while their shards are read."""

    def __init__(self, thresholds: Thresholds) -> None:
        self._thresholds = thresholds
        self._found: list[Finding] = []
        self._open: tuple[str, Evaluation] | None = None

    def tell_of(self, record: Record) -> InTimeOrder:
        """Take up the next source, and return what is told its rows."""
        self._close()
        path, rules = record.occurrences[0].path, Evaluation(self._thresholds)
        self._open = path, rules
        stored = (_stored(row) for row in record.findings if row.rule not in _BY_TIME)
        self._found += [replace(each, path=path) for each in (*_of_ledger(record), *stored)]
        return rules.in_time_order

    def _close(self) -> None:
        if self._open is not None:
            path, rules = self._open
            self._found += [replace(each, path=path) for each in rules.findings()]
            self._open = None

    def findings(self) -> list[Finding]:
        """Return all, after the last source."""
        self._close()
        return self._found


_BY_TIME = frozenset(rule.name for rule in ORDER_OF_TIME)
"""What is judged anew from the shards, under the thresholds of today."""


def _stored(row: FindingRow) -> Finding:
    return Finding(
        row.rule,
        row.severity,
        row.message,
        recording=row.recording,
        signal=row.signal,
        first_us=row.first_us,
        last_us=row.last_us,
        count=row.count,
    )


def worse_than(found: Validation, severity: str) -> bool:
    """Tell whether a finding is as bad as the severity, or worse."""
    order = [str(each) for each in Severity]
    counts: Mapping[str, int] = found.counts()
    return any(counts[each] for each in order[: order.index(severity) + 1])
