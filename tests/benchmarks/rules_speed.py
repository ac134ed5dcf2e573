"""How long the rules take beside writing the shard: 24 h at 1 Hz with five signals.

Run `python tests/benchmarks/rules_speed.py`. The rules alone, on parsed columns, may cost 1.5 times the time of
writing the shard; processor time, the better of five runs.
"""

from __future__ import annotations

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from vambrace.batch import NO_END, Batch
from vambrace.dataset import ShardWriter
from vambrace.rules import Evaluation

ROWS, BLOCK = 86_400, 10_000
START = 1_930_000_000_000_000
ALLOWED = 1.5


def columns() -> dict[str, np.ndarray]:
    """Return an invented day."""
    rng, t = np.random.default_rng(5), np.arange(ROWS)
    speed = 1.5 + rng.normal(0, 0.1, ROWS)
    return {
        "heart_rate": np.rint(90 + 20 * np.sin(t / 900) + rng.normal(0, 2, ROWS)),
        "oxygen_saturation": np.rint(97 + rng.normal(0, 0.6, ROWS)),
        "speed": speed.round(3),
        "distance": np.cumsum(speed).round(2),
        "cadence": np.rint(112 + rng.normal(0, 3, ROWS)),
    }


def judged(day: dict[str, np.ndarray]) -> None:
    """Judge the day in file order, then in the order of time, as a conversion does."""
    rules = Evaluation()
    when, record, none = START + np.arange(ROWS) * 1_000_000, np.arange(1, ROWS + 1), np.full(ROWS, NO_END)
    for at in range(0, ROWS, BLOCK):
        cut = slice(at, at + BLOCK)
        rows, beside = np.arange(len(when[cut])), {}
        for signal, value in day.items():
            rules.file.given("r.1", signal, value[cut], when[cut], record[cut])
            rules.file.kept("r.1", signal, when[cut], record[cut])
            beside[signal] = (rows, when[cut], value[cut])
        rules.file.side_by_side("r.1", beside, record[cut], steps=True)
    for signal, value in day.items():
        for at in range(0, ROWS, BLOCK):
            cut = slice(at, at + BLOCK)
            rules.in_time_order(("r.1", signal), when[cut], none[cut], value[cut], record[cut])
    list(rules.findings())


def written(day: dict[str, np.ndarray]) -> None:
    """Write the day's shard."""
    when, record, none = START + np.arange(ROWS) * 1_000_000, np.arange(1, ROWS + 1), np.full(ROWS, NO_END)
    with tempfile.TemporaryDirectory() as folder, ShardWriter(Path(folder)) as writer:
        for at in range(0, ROWS, BLOCK):
            cut = slice(at, at + BLOCK)
            for signal, value in day.items():
                suspect = np.zeros(len(when[cut]), np.bool_)
                writer.add(Batch(1, signal, when[cut], none[cut], value[cut], record[cut], suspect), "r.1")
        writer.finish()


def best(run: Callable[[dict[str, np.ndarray]], None], day: dict[str, np.ndarray]) -> float:
    """Return the least processor time of five runs, in seconds."""
    spent = []
    for _ in range(5):
        began = time.process_time()
        run(day)
        spent.append(time.process_time() - began)
    return min(spent)


def main() -> None:
    """Print both times and whether their ratio is allowed."""
    day = columns()
    rules, shard = best(judged, day), best(written, day)
    verdict = "within" if rules <= ALLOWED * shard else "ABOVE"
    print(f"rules {rules * 1000:.0f} ms, shard {shard * 1000:.0f} ms: {rules / shard:.2f} times, {verdict} {ALLOWED}")


if __name__ == "__main__":
    main()
