"""Random numbers that are the same on every machine and with every release of NumPy.

Only the bit stream of PCG64 is guaranteed to stay; the distributions on top of it may change. So normal numbers are
made here, as sums of twelve integers: exact, and no function whose last digit depends on the processor.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
NoiseFor = Callable[[str], "Noise"]


class Noise:
    """One stream of random numbers, named by a seed and a purpose: a new purpose never shifts the others."""

    def __init__(self, seed: int, purpose: str) -> None:
        """Start the stream of a seed and a purpose."""
        self._bits = np.random.PCG64(np.random.SeedSequence([seed, *purpose.encode()]))

    def normal(self, n: int) -> Floats:
        """Return n numbers of mean 0 and standard deviation 1, within ±6."""
        sums: NDArray[np.int64] = (
            self._bits.random_raw(3 * n).view(np.uint16).reshape(n, 12).sum(axis=1, dtype=np.int64)
        )
        return sums / 65536.0 - 6.0

    def wander(self, n: int, sd: float, memory: float) -> Floats:
        """Return a first-order autoregressive series of standard deviation sd; memory is its lag-1 correlation."""
        shocks = self.normal(n) * (sd * float(np.sqrt(1.0 - memory * memory)))
        out = np.empty(n)
        level = 0.0
        for i, shock in enumerate(shocks.tolist()):
            level = memory * level + shock
            out[i] = level
        return out

    def pick(self, n: int, count: int) -> NDArray[np.int64]:
        """Return `count` different positions below n, rising."""
        order = np.argsort(self._bits.random_raw(n), kind="stable")
        return np.sort(order[:count]).astype(np.int64)
