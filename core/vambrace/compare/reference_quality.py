"""Whether a stretch of the reference is good enough to hold a device against."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import Literal

import numpy as np

from vambrace.compare.arrays import SECOND, Floats, Marks, Times, ascending, finite
from vambrace.compare.held import runs
from vambrace.compare.windows import coverage, coverage_cell

RR_LOW, RR_HIGH, RR_CHANGE = 0.3, 2.0, 0.20
"""Seconds of a plausible RR interval, and how far one may differ from its neighbours. Common practice, no source."""


@dataclass(frozen=True, slots=True)
class Thresholds:
    """What a reference of one signal must hold; a figure of None is not asked for."""

    id: str
    signal: str
    source: str
    least_coverage: float
    longest_gap_s: float
    jump: float | None = None
    jump_seconds: float = 2.0
    most_jumps: float = 1.0
    flat_seconds: float | None = None
    most_flat: float = 1.0
    most_artefacts: float | None = None
    second_within: float | None = None
    least_within: float = 0.0


@dataclass(frozen=True, slots=True)
class Quality:
    """The figures of a stretch, its verdict and why it failed; None where a figure was not looked at."""

    coverage: float
    longest_gap_s: float
    share_jump: float | None
    share_flat: float | None
    share_artefact: float | None
    share_second_within: float | None
    verdict: Literal["good", "failed"]
    reasons: tuple[str, ...]


def thresholds(text: str | None = None) -> tuple[Thresholds, ...]:
    """Return the thresholds of a TOML text, by default those that ship with the package."""
    if text is None:
        text = (files("vambrace.compare") / "data" / "reference_quality.toml").read_text("utf-8")
    return tuple(Thresholds(**row) for row in tomllib.loads(text)["threshold"])


def thresholds_for(signal: str, among: tuple[Thresholds, ...]) -> Thresholds:
    """Return the thresholds of a signal, else those for any."""
    named = [each for each in among if each.signal == signal] or [each for each in among if not each.signal]
    if not named:
        raise ValueError(f"No thresholds for a reference of {signal}: add a row for it, or one for any signal.")
    return named[0]


def reference_quality(
    times: Times,
    values: Floats,
    start: int,
    end: int,
    asked: Thresholds,
    *,
    rr: Floats | None = None,
    second: tuple[Floats, Floats] | None = None,
) -> Quality:
    """Judge the reference's samples within [start, end) (µs).

    `rr` are its RR intervals in seconds, `second` pairs of it and of a second reference. A failed stretch gives no
    agreement and never counts against a device.
    """
    ascending(times, "the reference")
    finite(values, "the reference")
    if end <= start:
        raise ValueError("The stretch ends before it starts.")
    inside = (times >= start) & (times < end)
    t, v = times[inside], values[inside]
    covered = coverage(t, start, end, coverage_cell(times))
    gap = float(np.diff(np.concatenate([[start], t, [end]])).max()) / SECOND
    jumps = None if asked.jump is None else _share_jump(t, v, asked.jump, asked.jump_seconds)
    flat = None if asked.flat_seconds is None else _share_flat(t, v, asked.flat_seconds)
    artefacts = None if rr is None or not rr.size else float(rr_artefacts(rr).mean())
    near = _share_within(second, asked.second_within)
    reasons = tuple(_reasons((covered, gap, jumps, flat, artefacts, near), asked))
    return Quality(covered, gap, jumps, flat, artefacts, near, "failed" if reasons else "good", reasons)


def rr_artefacts(rr: Floats) -> Marks:
    """Mark RR intervals (s) outside 0.3 to 2 s, or more than 20 % off the median of the five about them."""
    from scipy.ndimage import median_filter

    near: Floats = median_filter(rr, 5, mode="mirror")
    marks: Marks = (rr < RR_LOW) | (rr > RR_HIGH) | (np.abs(rr - near) > RR_CHANGE * near)
    return marks


def heart_rate_of_rr(rr: Floats) -> float | None:
    """Return the mean heart rate of a window, 60 by the mean RR interval (s), None without any.

    Not the mean of 60/RR: RR of 0.5, 1 and 1.5 s are 60 beats a minute, not 73.
    """
    return 60 / float(rr.mean()) if rr.size and float(rr.mean()) > 0 else None


def copied_share(device: Floats, reference: Floats) -> float:
    """Return in which share of the pairs at which the reference moved the device shows exactly its value.

    Near 1 the device's file most likely holds the reference's own heart rate (a strap that was paired with it); then
    no agreement may be given. NaN where the reference never moves.
    """
    moved = np.diff(reference, prepend=np.nan) != 0
    moved[:1] = False
    return float(np.mean(device[moved] == reference[moved])) if moved.any() else float("nan")


def _share_jump(times: Times, values: Floats, jump: float, seconds: float) -> float:
    """Return the share of steps between near samples that are larger than `jump`."""
    near = np.diff(times) <= seconds * SECOND
    return float(np.mean(np.abs(np.diff(values))[near] > jump)) if near.any() else 0.0


def _share_flat(times: Times, values: Floats, seconds: float) -> float:
    """Return the share of samples in runs of one value that last `seconds` or longer."""
    found = runs(times, values, round(seconds * SECOND))
    size = (found.stop - found.first)[found.lasted >= seconds * SECOND]
    return float(size.sum()) / times.size if times.size else 0.0


def _share_within(second: tuple[Floats, Floats] | None, within: float | None) -> float | None:
    """Return the share of pairs in which both references lie near each other."""
    if second is None or within is None or not second[0].size:
        return None
    return float(np.mean(np.abs(second[0] - second[1]) <= within))


def _reasons(found: tuple[float | None, ...], asked: Thresholds) -> list[str]:
    """Say which thresholds are not met; `found` in the order of the figures of `Quality`."""
    near = "the second reference is near in {:.0%} of pairs, at least {:.0%} needed"
    bounds: tuple[tuple[str, float | None, bool], ...] = (
        ("coverage {:.0%}, at least {:.0%} needed", asked.least_coverage, False),
        ("a gap of {:.0f} s, at most {:.0f} s allowed", asked.longest_gap_s, True),
        ("jumps in {:.1%} of steps, at most {:.1%} allowed", asked.most_jumps, True),
        ("one value held in {:.0%} of samples, at most {:.0%} allowed", asked.most_flat, True),
        ("artefacts in {:.1%} of RR intervals, at most {:.1%} allowed", asked.most_artefacts, True),
        (near, asked.least_within, False),
    )
    return [
        text.format(value, bound)
        for value, (text, bound, most) in zip(found, bounds, strict=True)
        if value is not None and bound is not None and (value > bound if most else value < bound)
    ]
