"""Findings as `validate` shows them: file by file, worst first."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from itertools import groupby

from vambrace.api import Validation
from vambrace.cli.texts import columned, counted, safe, width, wrapped
from vambrace.output.summary import iso_utc
from vambrace.rules import Finding, Severity

_MARGIN = " " * 9
_PLACES = 5
"""How many places of one rule are shown of a path."""
_PATHS = 3
"""Up to how many paths with findings a sum by rules says nothing new."""


def validation_text(found: Validation, columns: int | None = None) -> str:
    """Return findings as lines that fit the width."""
    columns = columns or width()
    lines: list[str] = []
    for path, group in groupby(found.findings, key=lambda each: each.path):
        lines += [safe(path)]
        for _, alike in groupby(_together(group), key=lambda own: (own[0].severity, own[0].rule)):
            lines += _first_few(list(alike), columns)
        lines.append("")
    lines += _by_rule(found.findings)
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


def _first_few(places: list[list[Finding]], columns: int) -> list[str]:
    """Return what one rule finds in one path; many places alike are told by their number."""
    lines = [line for own in places[:_PLACES] for line in _shown(own, columns)]
    if more := sum(map(len, places[_PLACES:])):
        noun = "finding" if more == 1 else "findings"
        text = f"and {more:,} more {noun} of {places[0][0].rule}; --json lists all"
        lines += wrapped(text, columns, _MARGIN + "  ", _MARGIN)
    return lines


def _by_rule(findings: Iterable[Finding]) -> list[str]:
    """Return how often and in how many paths each rule found something, where the paths are too many to see at once."""
    paths: dict[tuple[str, str], list[str]] = {}
    for each in findings:
        paths.setdefault((str(each.severity), each.rule), []).append(each.path)
    if len({path for where in paths.values() for path in where}) <= _PATHS:
        return []
    order = [str(each) for each in Severity]
    ranked = sorted(paths.items(), key=lambda item: (order.index(item[0][0]), -len({*item[1]}), item[0][1]))
    rows = [
        (severity, rule, counted(len(where), "finding"), "in", counted(len({*where}), "path"))
        for (severity, rule), where in ranked
    ]
    return [*columned(rows, (False, False, True, False, True)), ""]


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
