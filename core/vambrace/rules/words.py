"""What a rule is made of, and what a finding says."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType

COMMON = "common practice, no source"
OWN = "our own choice, no source"


class Severity(StrEnum):
    """How bad a finding is: what cannot be right, what probably is not, what is worth knowing."""

    ERROR = "error"
    WARNING = "warning"
    NOTE = "note"


@dataclass(frozen=True, slots=True)
class Threshold:
    """A number that a rule compares with; a rules file may give another.

    `default` holds for every signal, `by_signal` for single ones; a signal with neither is not judged by the rule.
    `unit` is in words where it depends on the signal.
    """

    name: str
    unit: str
    source: str
    default: float | None = None
    by_signal: Mapping[str, float] = field(default_factory=lambda: MappingProxyType({}))


@dataclass(frozen=True, slots=True)
class Rule:
    """One entry of the catalogue.

    `meaning` says when there is a finding, `matters` why that matters for a comparison, `todo` what to do about it.
    """

    name: str
    severity: Severity
    meaning: str
    matters: str
    todo: str
    thresholds: tuple[Threshold, ...] = ()


@dataclass(frozen=True, slots=True)
class Finding:
    """One result of validation: a rule, a severity, a place, a sentence.

    Times are int64 microseconds UTC. `first_record` and `last_record` are the numbers of the first and last record,
    track point or row concerned, `where` is a byte, line or file that has no such number. `count` says how often it
    happened, `worst` is the worst value, in the unit that the sentence names.
    """

    rule: str
    severity: str
    message: str
    path: str = ""
    recording: str | None = None
    signal: str | None = None
    first_us: int | None = None
    last_us: int | None = None
    first_record: int | None = None
    last_record: int | None = None
    where: str | None = None
    count: int = 1
    worst: float | None = None


def badness(finding: Finding) -> tuple[int, str, str, int, str, int, str]:
    """Return what findings of one path are ordered by: the worst first, then by rule, place and time."""
    order = [*Severity].index(Severity(finding.severity))
    source, _, number = (finding.recording or "").rpartition(".")
    recording = (source, int(number) if number.isdecimal() else 0)
    return order, finding.rule, *recording, finding.signal or "", finding.first_us or 0, finding.message
