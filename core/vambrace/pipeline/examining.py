"""Reads one source for its faults alone."""

from __future__ import annotations

from collections.abc import Iterator

from vambrace.dataset import ShardWriter
from vambrace.errors import SourceError
from vambrace.pipeline.ending import refusal_of
from vambrace.pipeline.finding import fields_together, judged, reported
from vambrace.pipeline.reading import read
from vambrace.pipeline.source import Plan, break_off, source_of
from vambrace.registry import Registry
from vambrace.rules import Evaluation, Finding, Thresholds, badness, finding_of


def examine(plan: Plan, registry: Registry, writer: ShardWriter, thresholds: Thresholds) -> list[Finding]:
    """Return all that is wrong with a source, up to its end or to a damage; the rows go into the writer and nowhere.

    Findings come without their path, worst first.
    """
    found = list(_found(plan, registry, writer, thresholds))
    return sorted(found, key=badness)


def _found(plan: Plan, registry: Registry, writer: ShardWriter, thresholds: Thresholds) -> Iterator[Finding]:
    if plan.importer is None:
        if plan.error is not None:
            yield finding_of(plan.error)
        return
    importer, source = registry.importer(plan.importer), source_of(plan, registry)
    rules, prefix = Evaluation(thresholds), plan.sha256[:16]
    reading = read(importer, source, writer, lambda n: f"{prefix}.{n}", plan.zone, None, rules, to_its_end=True)
    if plan.damage is not None:
        break_off(reading, plan.damage, source)
    writer.finish(rules.in_time_order)
    error: SourceError | None = reading.error or refusal_of(reading)
    yield from (finding_of(each) for each in (reading.passed_over, error) if each is not None)
    yield from reported(prefix, reading, source)
    yield from judged(rules, importer, source)
    yield from fields_together(prefix, reading)
    if error is None and not reading.kept:
        yield Finding("too-few-samples", "note", "it holds no value of any signal that we carry", count=0)
