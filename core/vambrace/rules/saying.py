"""The sentences of findings about samples."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from vambrace.rules.catalogue import RULES
from vambrace.rules.hits import Hits
from vambrace.rules.words import Finding
from vambrace.schema import SIGNALS

_Say = Callable[[str, str, float, tuple[float, ...]], str]
"""From how many, the unit, the worst and what else there is to say, to a sentence."""

_SAMPLES: Mapping[str, _Say] = {
    "outside-plausible": lambda n, unit, worst, _: f"{n} outside the plausible range, the worst {worst:g}{unit}",
    "rate-of-change": lambda n, unit, worst, _: (
        f"{n} too far from the one before, at most by {worst:.4g}{unit} a second"
    ),
    "spike": lambda n, unit, worst, _: f"{n} away from both neighbours, the worst {worst:g}{unit}",
    "flat-line": lambda n, _, worst, __: f"{n} without any change, the longest over {worst:,.0f} s",
    "gap": lambda n, _, worst, more: f"{n} without a sample, the longest {worst:,.10g} s; usual are {more[0]:,.10g} s",
    "overlap": lambda n, _, worst, __: f"{n} beginning before the one before has ended, at most by {worst:,.10g} s",
    "duplicate-time": lambda n, unit, worst, more: _twice(n, unit, worst, round(more[0])),
    "epoch-misaligned": lambda n, _, worst, __: f"{n} off the grid of the first epoch, at most by {worst:,.10g} s",
    "sampling-irregular": lambda n, _, __, more: f"{n} ({more[0]:.0%}) far from the usual {more[1]:,.10g} s",
    "too-few-samples": lambda n, _, __, ___: f"only {n}",
    "time-goes-back": lambda n, _, worst, __: f"{n} before that of the row above, at most by {worst:,.10g} s",
    "counter-fell": lambda n, unit, worst, _: f"{n} lower than before, at most by {worst:,.10g}{unit}; see events",
    "rate-follows-steps": lambda n, _, worst, __: (
        f"{n} in which it equals the step rate, the longest over {worst:,.0f} s"
    ),
}
_NOUNS = {
    "flat-line": ("stretch", "stretches"),
    "rate-follows-steps": ("stretch", "stretches"),
    "gap": ("stretch", "stretches"),
    "overlap": ("interval", "intervals"),
    "sampling-irregular": ("interval", "intervals"),
    "epoch-misaligned": ("epoch", "epochs"),
    "duplicate-time": ("sample", "samples"),
    "too-few-samples": ("sample", "samples"),
    "time-goes-back": ("time", "times"),
}


def said(rule: str, recording: str, signal: str, hits: Hits, count: int, *more: float) -> Finding:
    """Return a finding with its sentence."""
    one, many = _NOUNS.get(rule, ("value", "values"))
    number = f"{count:,} {one if count == 1 else many}"
    message = _SAMPLES[rule](number, unit_words(signal), 0.0 if hits.worst is None else hits.worst, more)
    return placed(rule, message, recording, signal, hits, count)


def placed(rule: str, message: str, recording: str, signal: str, hits: Hits, count: int) -> Finding:
    """Return a finding with a sentence, at the place of its hits."""
    return Finding(
        rule,
        RULES[rule].severity,
        message,
        recording=recording,
        signal=signal,
        first_us=hits.first_us,
        last_us=hits.last_us,
        first_record=hits.first_record,
        last_record=hits.last_record,
        count=count,
        worst=hits.worst,
    )


def unit_words(signal: str) -> str:
    """Return a signal's unit as it stands behind a number: ` %`, `/min`, ` m`."""
    unit = SIGNALS[signal].unit
    return unit if unit.startswith("/") else f" {unit.strip('{}')}"


def _twice(number: str, unit: str, worst: float, different: int) -> str:
    text = f"{number} at the instant of the one before"
    if not different:
        return f"{text}, with the same values"
    return f"{text}; {different:,} with another value, at most by {worst:.6g}{unit}"
