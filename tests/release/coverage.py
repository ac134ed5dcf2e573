"""The coverage study: do intervals and clock offsets hold what they promise?

Run `python tests/release/coverage.py` (full size, a quarter to half an hour on two cores), `--small` for two minutes,
or name parts: `python tests/release/coverage.py sessions clocks`. Prints a row for each acceptance figure: required,
found, runs. Ends with 1 where one is missed. Everything is seeded. Two Monte Carlo standard errors of a coverage of
95 % are ±1.0 at 2,000 runs and ±3 at 200; `--small` widens the bounds accordingly.

The requirements are this project's own, made from simulations of the methods; the simulator is `tests/simulation.py`.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path
from typing import NamedTuple

sys.path.insert(0, str(Path(__file__).parents[1]))

import numpy as np

import simulation
from vambrace.compare.clocks import signal_offset, zone_search
from vambrace.compare.intervals import Intervals
from vambrace.compare.one_session import SessionRow, session_intervals, session_row
from vambrace.compare.over_units import pooled_intervals

S = 1_000_000
SEED = 20261125
FIVE = ("bias", "sd_difference", "loa_lower", "loa_upper", "mae")
Truth = dict[str, float]
Hits = dict[str, list[bool]]


class Row(NamedTuple):
    """One acceptance figure."""

    check: str
    required: str
    found: float
    runs: int
    met: bool


def within(check: str, low: float, high: float, values: list[bool]) -> Row:
    """Return the row of a share in % that must lie between two bounds."""
    share = 100 * float(np.mean(values)) if values else float("nan")
    high = min(high, 100)
    return Row(check, f"{low:g}-{high:g} %", share, len(values), low <= share <= high)


def at_most(check: str, bound: float, value: float, runs: int, unit: str = "s") -> Row:
    """Return the row of a figure that must not be larger than a bound."""
    return Row(check, f"<= {bound:g} {unit}", value, runs, value <= bound)


def covered(found: Intervals, truth: Truth, d: np.ndarray) -> dict[str, bool]:
    """Tell of each interval whether it holds the truth; `naive` is that of seconds taken as independent."""
    told = {name: found.ends[name][0] <= truth[name] <= found.ends[name][1] for name in truth if name in found.ends}
    half = 1.96 * d.std(ddof=1) / np.sqrt(d.size)
    return told | {"naive": bool(abs(d.mean() - truth["bias"]) <= half)}


def gathered(rows: Iterable[dict[str, bool]]) -> Hits:
    """Return the outcomes by name."""
    hits: Hits = {}
    for row in rows:
        for name, hit in row.items():
            hits.setdefault(name, []).append(hit)
    return hits


# One session


def gaussian_truth(sd: float) -> Truth:
    """Return what an unbiased Gaussian error of this SD truly has."""
    limits = {"bias": 0.0, "sd_difference": sd, "loa_lower": -1.96 * sd, "loa_upper": 1.96 * sd}
    return limits | {"mae": sd * float(np.sqrt(2 / np.pi))}


def ar1_session(job: tuple[float, int, int]) -> dict[str, bool]:
    """Simulate one session of AR(1) error of SD 3; φ of 0 means AR(1) .98 of SD 2 plus white noise of SD 2."""
    phi, seconds, i = job
    rng = np.random.default_rng([SEED, 1, round(1000 * phi), seconds, i])
    reference = 120 + 40 * np.sin(np.arange(seconds) / 300)
    if phi:
        d, sd = simulation.ar1(rng, seconds, phi, 3.0), 3.0
    else:
        d, sd = simulation.ar1(rng, seconds, 0.98, 2.0) + rng.normal(0, 2, seconds), np.sqrt(8)
    found = session_intervals(np.arange(seconds) * S, reference + d, reference)
    return covered(found, gaussian_truth(float(sd)), d)


def sessions(run: Callable[..., list], small: bool) -> list[Row]:
    """One session of AR(1), of several lengths, and with white noise."""
    runs, rows = 200 if small else 2000, []
    slack = 3 if small else 0
    for phi in (0.9, 0.95, 0.98):
        hits = gathered(run(ar1_session, [(phi, 1800, i) for i in range(runs)]))
        for name in FIVE:
            low, high = (92, 97) if name == "mae" else (93, 98)
            rows.append(within(f"AR(1) {phi}, 1,800 s: {name}", low - slack, high + slack, hits[name]))
        rows.append(within(f"AR(1) {phi}, 1,800 s: naive must fail", 0, 50, hits["naive"]))
        for seconds in (300, 600, 900, 3600):
            count = runs // 4 if small else 1500
            hits = gathered(run(ar1_session, [(phi, seconds, i) for i in range(count)]))
            for name in FIVE:
                low = 91 if name in ("mae", "sd_difference") else 92
                rows.append(within(f"AR(1) {phi}, {seconds} s: {name}", low - 2 * slack, 98 + 2 * slack, hits[name]))
    hits = gathered(run(ar1_session, [(0.0, 1800, i) for i in range(runs)]))
    rows += [within(f"AR(1) .98 and white noise: {name}", 92 - slack, 100, hits[name]) for name in FIVE]
    return rows


# One session of a protocol


def protocol_errors(course: int, phi: float, lag: bool, reps: int, part: int) -> tuple[np.ndarray, np.ndarray]:
    """Return the reference of one course and `reps` recordings of its device's differences."""
    rng = np.random.default_rng([SEED, 2, course])
    names, load = simulation.plan(rng)
    heart = simulation.heart(rng, load)
    reference = simulation.reference(rng, heart)[0]
    delay = {"lag": 4.0, "tau": 3.0} if lag else {"lag": 0.0, "tau": 0.0}
    again = np.random.default_rng([SEED, 2, course, round(100 * phi), part])
    return reference, simulation.device(again, heart, names, reps, phi=phi, **delay) - reference


def protocol_course(job: tuple[int, float, bool, int]) -> list[dict[str, bool]]:
    """Hold one course's intervals against the truth of four times as many recordings."""
    course, phi, lag, runs = job
    _, many = protocol_errors(course, phi, lag, 4 * runs, 1)
    sd = float(np.sqrt(np.mean((many - many.mean()) ** 2)))
    bias = float(many.mean())
    truth = {"bias": bias, "sd_difference": sd, "loa_lower": bias - 1.96 * sd, "loa_upper": bias + 1.96 * sd}
    truth["mae"] = float(np.abs(many).mean())
    reference, few = protocol_errors(course, phi, lag, runs, 2)
    truth["mape"] = float(np.mean(100 * np.abs(many) / reference))
    times = np.arange(reference.size) * S
    return [covered(session_intervals(times, reference + d, reference), truth, d) for d in few]


def protocols(run: Callable[..., list], small: bool) -> list[Row]:
    """Realistic protocols without episodes, eight courses."""
    runs, courses = (40, 3) if small else (400, 8)
    rows = []
    for name, phi, lag in (
        ("no lag", 0.95, False),
        ("lag, .9", 0.9, True),
        ("lag, .95", 0.95, True),
        ("lag, .98", 0.98, True),
    ):
        done = run(protocol_course, [(course, phi, lag, runs) for course in range(courses)])
        hits = gathered(each for course in done for each in course)
        low = 90 if small else 93
        rows += [within(f"protocol, {name}: {each}", low, 100, hits[each]) for each in (*FIVE, "mape")]
    return rows


# Participants


def people(job: tuple[int, int, int]) -> dict[str, bool]:
    """Simulate k participants with S sessions of AR(1) .95; `shown` tells whether the limits got an interval."""
    k, each, i = job
    rng = np.random.default_rng([SEED, 31, k, each, i])
    seconds = 1800
    reference = 120 + 40 * np.sin(np.arange(seconds) / 300)
    rows: list[SessionRow] = []
    everything = []
    for _ in range(k):
        person, sd = rng.normal(0, 2), 3 * rng.lognormal(0, 0.3)
        for _ in range(each):
            d = person + rng.normal(0, 1.5) + simulation.ar1(rng, seconds, 0.95, sd)
            rows.append(session_row(np.arange(seconds) * S, reference + d, reference))
            everything.append(d)
    total = float(np.sqrt(2**2 + 1.5**2 + 9 * np.exp(2 * 0.3**2)))
    truth = gaussian_truth(total) | people_truth()
    found = pooled_intervals(np.repeat(np.arange(k), each), rows)
    return covered(found, truth, np.concatenate(everything)) | {"shown": "loa_upper" in found.ends}


_PEOPLE: Truth = {}


def people_truth() -> Truth:
    """Return what MAE, MAPE and the mean artanh of r and CCC are in the population, from many participants."""
    if not _PEOPLE:
        rng = np.random.default_rng([SEED, 32])
        reference = 120 + 40 * np.sin(np.arange(1800) / 300)
        made = []
        for _ in range(6000):
            d = rng.normal(0, 2.5) + simulation.ar1(rng, 1800, 0.95, 3 * rng.lognormal(0, 0.3))
            x = reference + d
            r = np.corrcoef(x, reference)[0, 1]
            ccc = 2 * np.cov(x, reference, ddof=0)[0, 1] / (x.var() + reference.var() + d.mean() ** 2)
            made.append((np.abs(d).mean(), np.mean(100 * np.abs(d) / reference), np.arctanh(r), np.arctanh(ccc)))
        mae, mape, r, ccc = np.mean(made, axis=0)
        _PEOPLE.update(mae=float(mae), mape=float(mape), pearson_r=float(np.tanh(r)), ccc=float(np.tanh(ccc)))
    return _PEOPLE


def participants(run: Callable[..., list], small: bool) -> list[Row]:
    """Several participants: 3 × 1, 6 × 1, 10 × 3, 20 × 2."""
    rows, slack = [], 5 if small else 0
    for k, each, full in ((3, 1, 4000), (6, 1, 4000), (10, 3, 2000), (20, 2, 2000)):
        hits = gathered(run(people, [(k, each, i) for i in range(100 if small else full)]))
        where = f"{k} participants × {each}"
        rows.append(within(f"{where}: bias", 93 - slack, 97 + slack, hits["bias"]))
        for name in ("mae", "mape"):
            rows.append(within(f"{where}: {name}", 91 - slack, 97 + slack, hits[name]))
        for name in ("pearson_r", "ccc"):
            rows.append(within(f"{where}: {name}", 93 - slack, 97 + slack, hits[name]))
        if k >= 5:
            rows.append(within(f"{where}: sd_difference", 93 - slack, 98 + slack / 2, hits["sd_difference"]))
            for name in ("loa_lower", "loa_upper"):
                rows.append(within(f"{where}: {name}", 93 - slack, 99 + slack / 5, hits[name]))
            rows.append(within(f"{where}: limits shown (biases pass as bell-shaped)", 75, 100, hits["shown"]))
        rows.append(within(f"{where}: naive must fail", 0, 50, hits["naive"]))
    return rows


# Clocks

Sessions = tuple[str, int, int]
DESIGNS: dict[str, dict[str, object]] = {
    "mixed": {},
    "easy": {"sd": 3.0, "hetero": False, "phi": 0.95, "steplock": 0.0},
    "flat rest": {"phases": (("rest", 1800),), "variability": 0.3, "tau": 12.0},
    "flat steady": {"phases": (("steady", 1200),), "variability": 0.3, "tau": 12.0},
}


class Found(NamedTuple):
    """What one search for an offset gave."""

    verdict: str
    error: float
    covers: bool
    wrong: bool


def arrays(session: dict[str, np.ndarray]) -> tuple[np.ndarray, ...]:
    """Return a simulated session's times and values without drop-outs."""
    ok = np.isfinite(session["dev"])
    device = np.rint(session["t_dev"][ok] * S).astype(np.int64)
    return device, session["dev"][ok], (session["t_ref"] * S).astype(np.int64), session["ref"]


def clock(job: Sessions) -> Found:
    """Search one session's offset."""
    design, seed, i = job
    made = simulation.aligned_session(seed, i, **DESIGNS[design])
    found = signal_offset(*arrays(made))
    error = abs(found.offset - made["apparent"])
    wrong = found.verdict == "told" and error > max(5.0, (found.high - found.low) / 2)
    return Found(found.verdict, error, bool(found.low <= made["apparent"] <= found.high), bool(wrong))


def foreign(job: tuple[int, int]) -> str:
    """Return the verdict on another person's file of the same protocol."""
    seed, i = job
    device, values, _, _ = arrays(simulation.aligned_session(seed, i))
    _, _, times, reference = arrays(simulation.aligned_session(seed + 1000, i))
    return signal_offset(device, values, times, reference).verdict


def hours(i: int) -> tuple[bool, float]:
    """Tell whether a clock that is whole hours off is put into the right zone, and by how much the offset then errs."""
    rng = np.random.default_rng([SEED, 91, i])
    order = [simulation.MIXED[j] for _ in range(8) for j in rng.permutation(len(simulation.MIXED))]
    names, load = simulation.plan(rng, order)
    heart = simulation.heart(rng, load)
    reference, reference_delay = simulation.reference(rng, heart)
    lag, tau = rng.uniform(0, 8), rng.uniform(1, 5)
    device = simulation.device(
        rng, heart, names, lag=lag, tau=tau, phi=rng.uniform(0.9, 0.98), dropout=4, held=4, steplock=0.7
    )[0]
    zone = int(rng.choice([-2, -1, 1, 2])) * 3600
    offset = zone + rng.uniform(-300, 300)
    apparent = offset - (lag + 1 / (np.exp(1 / tau) - 1) - reference_delay)
    t, ok = np.arange(heart.size, dtype=float), np.isfinite(device)
    hour = (t >= 5400) & (t < 9000)
    stamps = np.rint((t - offset) * S).astype(np.int64)
    found = zone_search(stamps[ok], device[ok], (t[hour] * S).astype(np.int64), reference[hour])
    return found.is_fault and found.zone == zone, abs(found.found.offset - apparent)


def clocks(run: Callable[..., list], small: bool) -> list[Row]:
    """Offsets by signal: errors, intervals, refusals, other people's files, whole hours."""
    few = 24 if small else 300
    mixed: list[Found] = run(clock, [("mixed", seed, i) for seed in (12, 13) for i in range(few)])
    rows = _offset_rows("mixed", mixed, (0.9, 3.5) if not small else (1.3, 5))
    told = [each.verdict == "told" for each in mixed]
    rows.append(within("clock, mixed: told", 75 if not small else 65, 100, told))
    easy: list[Found] = run(clock, [("easy", 12, i) for i in range(few if small else 200)])
    rows += _offset_rows("easy (AR .95, gaps)", easy, (0.5, 1.8) if not small else (0.8, 2.5))
    for design in ("flat rest", "flat steady"):
        found: list[Found] = run(clock, [(design, seed, i) for seed in (12, 13) for i in range(few if small else 200)])
        rows.append(within(f"clock, {design}: refused", 99, 100, [each.verdict == "cannot be told" for each in found]))
    others: list[str] = run(foreign, [(seed, i) for seed in (12, 13) for i in range(few)])
    rows.append(within("clock, another person's file: told", 0, 1 if not small else 5, [v == "told" for v in others]))
    rows.append(
        within(
            "clock, another person's file: coarse (shown, never applied unasked)",
            0,
            10,
            [v == "coarse" for v in others],
        )
    )
    zones: list[tuple[bool, float]] = run(hours, range(12 if small else 160))
    rows.append(within("clock, whole hours: right zone", 99, 100, [right for right, _ in zones]))
    rows.append(at_most("clock, whole hours: median error", 1.2, float(np.median([e for _, e in zones])), len(zones)))
    return rows


def _offset_rows(name: str, found: list[Found], bounds: tuple[float, float]) -> list[Row]:
    """Return the rows of errors, coverage and wrong answers of one design."""
    told = [each for each in found if each.verdict == "told"]
    median, p95 = np.quantile([each.error for each in told], [0.5, 0.95])
    return [
        at_most(f"clock, {name}: median error of told", bounds[0], float(median), len(told)),
        at_most(f"clock, {name}: 95th percentile of told", bounds[1], float(p95), len(told)),
        within(f"clock, {name}: interval covers", 92 if len(told) > 100 else 85, 100, [each.covers for each in told]),
        within(f"clock, {name}: wrong among all", 0, 1, [each.wrong for each in found]),
    ]


PARTS = {"sessions": sessions, "protocols": protocols, "participants": participants, "clocks": clocks}


def study(parts: Iterable[str], small: bool, workers: int = 2) -> list[Row]:
    """Run the named parts."""
    with ProcessPoolExecutor(workers) as pool:

        def run(task: Callable[..., object], jobs: Iterable[object]) -> list[object]:
            jobs = list(jobs)
            return list(pool.map(task, jobs, chunksize=max(1, min(50, len(jobs) // (4 * workers)))))

        return [row for part in parts for row in PARTS[part](run, small)]


def main() -> int:
    """Print the table; 1 where a figure is missed."""
    asked = [each for each in sys.argv[1:] if each in PARTS] or list(PARTS)
    missed = 0
    for part in asked:
        for row in study([part], "--small" in sys.argv):
            missed += not row.met
            mark = "" if row.met else "  MISSED"
            print(f"{row.check:75} {row.required:12} {row.found:8.2f} {row.runs:6}{mark}", flush=True)
    print(f"{missed} figures missed." if missed else "Every figure is met.")
    return 1 if missed else 0


if __name__ == "__main__":
    sys.exit(main())
