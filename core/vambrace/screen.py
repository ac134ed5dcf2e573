"""Sets impossible values aside and marks odd ones; nothing else is judged here."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vambrace.batch import FAULTS, Candidates, Mask
from vambrace.errors import Reason
from vambrace.schema import SIGNALS, Kind

REASONS = (*FAULTS, *(reason.value for reason in Reason if reason.value not in FAULTS))
"""The reason behind each fault number, in order from 1; time faults keep the numbers they have in the clock."""


def number(reason: Reason) -> int:
    """Return the fault number of a reason."""
    return REASONS.index(reason.value) + 1


def faults(columns: Sequence[Candidates], time_fault: NDArray[np.uint8]) -> list[NDArray[np.uint8]]:
    """Return for each column of a batch why each of its values is set aside: 0, or 1 + the position in REASONS.

    A value that is no number counts as such first, then its time is judged, then what it can mean.
    """
    judged = [_of_value(each, time_fault) for each in columns]
    _pair_positions(columns, judged)
    return judged


def _of_value(each: Candidates, time_fault: NDArray[np.uint8]) -> NDArray[np.uint8]:
    signal = SIGNALS[each.column.signal]
    low, high = signal.domain
    # A comparison with NaN is False, so a value that is absent or garbled is never "inside".
    inside = (each.value >= low) & (each.value <= high)
    if signal.kind != Kind.CODED_EPOCH and not time_fault.any() and inside.all():
        # What is inside is present and no garbled text either.
        return np.zeros(len(inside), np.uint8)
    fault = np.where(inside, 0, number(Reason.OUTSIDE_DOMAIN))
    if signal.kind == Kind.CODED_EPOCH:
        fault = np.where(np.isin(each.value, list(signal.codes)), 0, number(Reason.UNKNOWN_CODE))
    fault = np.where(time_fault > 0, time_fault, fault)
    fault = np.where(each.garbled, number(Reason.NOT_A_NUMBER), fault)
    return np.where(each.present, fault, 0).astype(np.uint8)


def _pair_positions(columns: Sequence[Candidates], judged: list[NDArray[np.uint8]]) -> None:
    """Set the other half of a fix aside where one half is missing or bad, so that no half is left alone."""
    place = {each.column.signal: at for at, each in enumerate(columns)}
    for here, there in (("latitude", "longitude"), ("longitude", "latitude")):
        if here not in place:
            continue
        mine = place[here]
        partner_good: Mask = np.zeros(len(columns[mine]), np.bool_)
        if there in place:
            other = place[there]
            not_bad = (judged[other] == 0) | (judged[other] == number(Reason.HALF_A_FIX))
            partner_good = columns[other].present & not_bad
        alone = columns[mine].present & (judged[mine] == 0) & ~partner_good
        judged[mine] = np.where(alone, number(Reason.HALF_A_FIX), judged[mine]).astype(np.uint8)


def suspect(signal: str, values: NDArray[np.float64]) -> Mask:
    """Return where values lie outside the signal's plausible range; nowhere if it has none."""
    plausible = SIGNALS[signal].plausible
    if plausible is None:
        return np.zeros(len(values), np.bool_)
    return np.asarray((values < plausible[0]) | (values > plausible[1]), np.bool_)
