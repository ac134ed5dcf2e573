"""Hold every statistic against SciPy, statsmodels and pingouin on 1,000 random data sets, to 1e-9.

Run `python tests/release/outside_statistics.py [sets]`. Ends with 1 where a figure differs.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parents[1]))

import statistics_outside as outside

TOLERANCE = 1e-9


def differing(sets: int) -> list[str]:
    """Return a line for each figure that differs."""
    lines = []
    for make in (outside.of_agreement, outside.of_icc, outside.of_repeated):
        for seed in range(sets):
            for name, (ours, theirs) in make(seed).items():
                if not math.isclose(ours, theirs, rel_tol=TOLERANCE, abs_tol=TOLERANCE):
                    lines.append(f"{make.__name__} set {seed}: {name} is {ours!r}, theirs {theirs!r}")
    return lines


def main() -> int:
    """Compare and say what differs."""
    sets = int(sys.argv[1]) if len(sys.argv) > 1 else 1000
    lines = differing(sets)
    print(*lines[:50], f"{len(lines)} figures differ over 3 × {sets} data sets.", sep="\n")
    return 1 if lines else 0


if __name__ == "__main__":
    sys.exit(main())
