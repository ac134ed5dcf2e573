"""The tests behind the rules: pure functions from columns to columns.

Range, rate of change and spike (of opposite differences) are the tests of IOOS QARTOD under these names.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vambrace.batch import Mask

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]


def outside(value: Floats, low: float, high: float) -> Mask:
    """Say which values lie outside a range whose ends belong to it."""
    return (value < low) | (value > high)


def differences(value: Floats, signal: str = "") -> Floats:
    """Return each value less the one before it, one entry fewer; longitudes go round."""
    steps = np.diff(value)
    return (steps + 180) % 360 - 180 if signal == "longitude" else steps


def change_per_s(time: Ints, steps: Floats, least_s: float) -> Floats:
    """Return how fast each step is, per second; `time` is µs and has one entry more; 0 where no time has passed."""
    length = np.diff(time) / 1e6
    return np.where(length > 0, np.abs(steps) / np.maximum(length, max(least_s, 1e-6)), 0.0)


def spike_height(time: Ints, steps: Floats, within_s: float) -> Floats:
    """Return by how much each inner value stands out from both its neighbours on one side, two entries fewer than time.

    It is the smaller of the two differences where they have opposite signs and both neighbours are near, else 0.
    """
    before, after = steps[:-1], steps[1:]
    length = np.diff(time)
    near = (length[:-1] <= within_s * 1e6) & (length[1:] <= within_s * 1e6)
    return np.where((before * after < 0) & near, np.minimum(np.abs(before), np.abs(after)), 0.0)
