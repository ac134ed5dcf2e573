"""Spot readings: a device and a reference read by hand or picked from samples, several for each participant."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from vambrace.compare.agreement import Z
from vambrace.compare.arrays import Codes, Floats, Marks, finite
from vambrace.compare.exact import Share, share_of
from vambrace.compare.independent import bland_altman
from vambrace.compare.intervals import Ends
from vambrace.compare.one_session import t_point
from vambrace.compare.repeated import limits_of_pairs

OUTCOMES = ("read", "no_reading", "interrupted", "not_attempted")

ACCURACY_RANGE = (70.0, 100.0)
"""% of oxygen saturation over which ISO 80601-2-61 asks for accuracy (from memory)."""


@dataclass(frozen=True, slots=True)
class Spot:
    """Figures of paired readings. `sd` has divisor n−1, `sd_population` n; A_rms² = bias² + sd_population².

    `ends` holds intervals with the participant as the unit; what has none stands in `refused` with its reason.
    """

    n: int
    n_participants: int
    bias: float
    sd: float | None
    sd_population: float
    a_rms: float
    loa_lower: float | None
    loa_upper: float | None
    within: Mapping[float, Share]
    reference_low: float
    reference_high: float
    ends: Mapping[str, Ends]
    refused: Mapping[str, str]


def spot_figures(
    device: Floats, reference: Floats, participant: Codes, within: tuple[float, ...] = (2.0, 3.0)
) -> Spot | None:
    """Return the figures of paired readings (one unit, one length), None without a pair.

    Bias: t on the participants' totals; A_rms: the same on the log scale of its square; limits: components between and
    within participants (Bland & Altman 2007) where some were read more than once.
    """
    finite(device, "the device's readings")
    finite(reference, "the reference's readings")
    if not device.size:
        return None
    d = device - reference
    _, which, count = np.unique(participant, return_inverse=True, return_counts=True)
    k, square = count.size, float(np.mean(d * d))
    sd, refused = _spread(d, participant, k)
    ends: dict[str, Ends] = {}
    bias = float(d.mean())
    if k < 3:
        refused |= dict.fromkeys(("bias", "a_rms"), "fewer than 3 participants")
    else:
        half = t_point(k - 1) * _error_of_mean(d, which, k)
        ends["bias"] = bias - half, bias + half
        if square > 0:
            half = t_point(k - 1) * _error_of_mean(d * d, which, k) / square / 2
            ends["a_rms"] = math.sqrt(square) * math.exp(-half), math.sqrt(square) * math.exp(half)
        else:
            refused["a_rms"] = "every reading agrees exactly"
    if sd is not None and k == d.size and k >= 5:
        exact = bland_altman(d)
        ends |= {"loa_lower": exact.exact_lower_ends, "loa_upper": exact.exact_upper_ends}
    elif sd is not None:
        why = "fewer than 5 participants" if k < 5 else "several readings for each participant"
        refused |= dict.fromkeys(("loa_lower", "loa_upper"), why)
    shares = {each: share for each in within if (share := share_of(np.abs(d) <= each, participant)) is not None}
    return Spot(
        n=d.size,
        n_participants=k,
        bias=bias,
        sd=sd,
        sd_population=float(d.std()),
        a_rms=math.sqrt(square),
        loa_lower=None if sd is None else bias - Z * sd,
        loa_upper=None if sd is None else bias + Z * sd,
        within=shares,
        reference_low=float(reference.min()),
        reference_high=float(reference.max()),
        ends=ends,
        refused=refused,
    )


def outcome_shares(outcome: Codes, participant: Codes) -> dict[str, Share]:
    """Return the share of each outcome (a row of `OUTCOMES`) with an exact interval.

    What was attempted is the whole for `read`, `no_reading` and `interrupted`; `not_attempted` is of all rows.
    """
    if outcome.size and (int(outcome.min()) < 0 or int(outcome.max()) >= len(OUTCOMES)):
        raise ValueError(f"An outcome is none of {', '.join(OUTCOMES)}.")
    attempted = outcome != OUTCOMES.index("not_attempted")
    shares = {}
    for code, name in enumerate(OUTCOMES):
        of = attempted if name != "not_attempted" else np.ones(outcome.size, np.bool_)
        found = share_of(outcome[of] == code, participant[of])
        if found is not None:
            shares[name] = found
    return shares


def share_at_or_above(values: Floats, level: float, participant: Codes) -> Share | None:
    """Return the share of readings at or above a declared level; there is no default level."""
    return share_of(values >= level, participant)


def distribution(values: Floats) -> tuple[Floats, Floats]:
    """Return the values that occur, ascending, and the share of readings at or below each."""
    found, count = np.unique(values, return_counts=True)
    return found, np.cumsum(count) / max(1, values.size)


def typed_as_fractions(values: Floats) -> Marks:
    """Mark percentages that were typed as a fraction: above 0 and at most 1."""
    marks: Marks = (values > 0) & (values <= 1)
    return marks


def oxygen_cautions(reference: Floats) -> list[str]:
    """Return what must stand beside every figure of oxygen saturation."""
    low, high = float(reference.min()), float(reference.max())
    lines = [f"The reference ranged from {low:g} to {high:g} %."]
    if low > ACCURACY_RANGE[0] + 5:
        lines.append("Resting readings near sea level cannot test accuracy over 70-100 %; that range was not covered.")
    return lines


def _spread(d: Floats, participant: Codes, k: int) -> tuple[float | None, dict[str, str]]:
    """Return the SD of one difference, and why there is none."""
    names = ("sd", "loa_lower", "loa_upper")
    if d.size < 2:
        return None, dict.fromkeys(names, "one pair has no spread")
    if k == d.size:
        return float(d.std(ddof=1)), {}
    if k < 2:
        return None, dict.fromkeys(names, "one participant: the spread between people cannot be told")
    return limits_of_pairs(d, participant).sd, {}


def _error_of_mean(values: Floats, which: Codes, k: int) -> float:
    """Return the standard error of the mean over all readings, participants drawn at random (ratio estimator)."""
    rest = np.bincount(which, weights=values - values.mean())
    return math.sqrt(k / (k - 1) * float(rest @ rest)) / values.size
