"""What units are in the canonical one, to see which of them values fit; nothing is converted by it."""

from __future__ import annotations

import math

from vambrace.plugin import SIGNALS

# By the canonical unit: factor and offset. A test holds them against the units of the core.
_SCALES: dict[str, dict[str, tuple[float, float]]] = {
    "/min": {"Hz": (60, 0), "{strides}/min": (2, 0)},
    "ms": {"s": (1000, 0), "us": (0.001, 0), "s/1024": (1000 / 1024, 0)},
    "%": {"1": (100, 0)},
    "{steps}": {"{strides}": (2, 0)},
    "deg": {"rad": (180 / math.pi, 0), "{fit_semicircle}": (180 / 2**31, 0)},
    "m": {"km": (1000, 0), "cm": (0.01, 0), "mm": (0.001, 0), "[ft_i]": (0.3048, 0), "[mi_i]": (1609.344, 0)},
    "m/s": {"km/h": (1 / 3.6, 0), "[mi_i]/h": (0.44704, 0), "[kn_i]": (1852 / 3600, 0), "mm/s": (0.001, 0)},
    "W": {"kW": (1000, 0)},
    "Cel": {"[degF]": (5 / 9, -160 / 9), "K": (1, -273.15)},
    "kcal": {"kJ": (1 / 4.184, 0), "J": (1 / 4184, 0), "cal": (0.001, 0)},
}


def factor_of(signal: str, code: str) -> tuple[float, float] | None:
    """Return what a value in a unit is multiplied by, and what is then added; None for a unit that is not listed."""
    own = SIGNALS[signal].unit
    return (1, 0) if code == own else _SCALES.get(own, {}).get(code)
