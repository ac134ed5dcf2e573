"""Findings as `validate` shows them: file by file, worst first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import groupby

from vambrace.api import Validation
from vambrace.cli.texts import counted, safe, width, wrapped
from vambrace.output.summary import iso_utc
from vambrace.rules import Finding

_MARGIN = " " * 9


def validation_text(found: Validation, columns: int | None = None) -> str:
    """Return findings as lines that fit the width."""
    columns = columns or width()
    lines: list[str] = []
    for path, group in groupby(found.findings, key=lambda each: each.path):
        lines += [safe(path)]
        for own in _together(group):
            lines += _shown(own, columns)
        lines.append("")
    for sentence in found.overridden:
        lines += wrapped(sentence, columns, _MARGIN, "rules    ")
    for dataset in found.repaired:
        lines += wrapped(f"the derived tables of {dataset} were built anew", columns, _MARGIN, "repaired ")
    return "\n".join([*lines, *wrapped(_sums(found), columns)])


def _together(findings: Iterable[Finding]) -> Iterable[list[Finding]]:
    """Return the findings in lists: what one rule finds at one place in several signals is shown together."""
    joined: dict[Finding, list[Finding]] = {}
    for each in findings:
        alike = replace(each, signal=None, worst=None, message=each.message if each.signal is None else "")
        joined.setdefault(alike, []).append(each)
    return joined.values()


def _shown(own: list[Finding], columns: int) -> list[str]:
    messages: dict[str, list[str]] = {}
    for each in own:
        messages.setdefault(each.message, []).append(each.signal or "")
    lines = wrapped(own[0].rule, columns, _MARGIN, f"{own[0].severity:<9}")
    for message, signals in messages.items():
        names = ", ".join(filter(None, signals))
        lines += wrapped(f"{names}: {message}" if names else message, columns, _MARGIN + "  ", _MARGIN)
    place = ", ".join(_place(own[0]))
    return lines + (wrapped(place, columns, _MARGIN + "  ", _MARGIN) if place else [])


def _place(each: Finding) -> Iterable[str]:
    if each.recording:
        yield f"recording {each.recording.rpartition('.')[2]}"
    if each.first_record is not None:
        several = each.last_record != each.first_record
        yield f"records {each.first_record:,} to {each.last_record:,}" if several else f"record {each.first_record:,}"
    if each.where:
        yield each.where
    if each.first_us is not None and each.last_us is not None:
        first, last = _time(each.first_us), _time(each.last_us)
        yield f"{first} UTC" if first == last else f"{first} to {last} UTC"


def _time(us: int) -> str:
    text = iso_utc(us).replace("T", " ").removesuffix("Z")
    return text.removesuffix(".000000")


def _sums(found: Validation) -> str:
    parts = [counted(n, word) for word, n in found.counts().items() if n]
    looked = counted(len(found.checked), "path")
    return f"{looked} looked at: {', '.join(parts) if parts else 'nothing was found'}"
