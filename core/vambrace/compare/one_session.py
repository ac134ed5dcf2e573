"""Intervals from one session: this device on this person under this protocol, repeated."""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from vambrace.compare.agreement import Z, concordance, moments, pearson
from vambrace.compare.arrays import SECOND, Floats, Times, finite
from vambrace.compare.intervals import STATISTICS, Ends, Intervals, nothing, refuse
from vambrace.compare.serial import Grid, autocorrelation, grid, largest_time, on_grid, time_of_squares

LEAST_SECONDS = 300
"""Paired time below which no interval is given. Fixed beforehand: refusing by the estimated effective n would keep just
the sessions whose τ came out too small, and lower the coverage."""

UNIT = "second of this session (autocorrelated)"

NOTES = (
    "assumes no drift slower than the session",
    "artefacts that did not occur in this session are not included",
)


class SessionRow(NamedTuple):
    """What one session gives to intervals over sessions or participants; NaN where a figure does not exist.

    `variance` has divisor m; `free` is m(1−φ²)/(1+φ²), how many independent squares it rests on, φ from τ.
    """

    n: int
    bias: float
    variance: float
    free: float
    mae: float
    mape: float
    pearson_r: float
    ccc: float


class _Slow(NamedTuple):
    """Variance and τ of one figure's influence series, and the τ of its squares."""

    variance: float
    time: float
    squares: float


def paired_seconds(times: Times) -> float:
    """Return filled slots times step: how much time holds pairs."""
    where = grid(times)
    return where.filled * where.step / SECOND


def session_row(times: Times, device: Floats, reference: Floats) -> SessionRow:
    """Return one session as a row for `over_units`; arrays of one length, times in µs ascending, two pairs or more."""
    found, where = moments(device, reference), grid(times)
    c = device - reference
    off, bias = np.abs(c), float(c.mean())
    time = _slow(c - bias, where).time
    r, ccc = pearson(found), concordance(found)
    return SessionRow(
        found.n,
        bias,
        float(np.mean((c - bias) ** 2)),
        _free(where.filled, time),
        float(off.mean()),
        float(100 * np.mean(off / np.abs(reference))) if bool(np.all(reference != 0)) else math.nan,
        math.nan if r is None else r,
        math.nan if ccc is None else ccc,
    )


def session_intervals(times: Times, device: Floats, reference: Floats) -> Intervals:
    """Return 95 % intervals of one session's pairs by effective n (times µs ascending, values in one unit).

    Every figure θ has an influence series ψ with Var(θ) = Var(ψ)·τ/m; limits join bias and SD as Zou 2013 does (MOVER),
    the SD by chi-square with the smaller of two degrees of freedom. r and CCC have none: they depend on how far the
    reference happened to range.
    """
    finite(device, "the device's values")
    finite(reference, "the reference's values")
    if times.size < 2:
        return nothing(UNIT, times.size, "fewer than two pairs")
    where = grid(times)
    seconds = where.filled * where.step / SECOND
    if seconds < LEAST_SECONDS:
        return nothing(UNIT, times.size, f"less than {LEAST_SECONDS} s of paired data ({seconds:.0f} s)")
    c = device - reference
    bias = float(c.mean())
    s2 = float(np.mean((c - bias) ** 2))
    if s2 <= (1e-12 * max(1.0, float(np.abs(device).max()))) ** 2:
        return nothing(UNIT, times.size, "the difference did not change")
    centred = c - bias
    slow = _slow(centred, where)
    ends, estimates = _normal_ends(bias, s2, slow, _slow(centred**2 / (2 * s2) - 0.5, where), where.filled)
    refused = refuse(("pearson_r", "ccc"), "one session")
    for name, off in _error_series(c, reference).items():
        ends_of_error = None if off is None else _log_ends(off, slow, where)
        if ends_of_error is None:
            refused[name] = "the reference holds 0" if off is None else "the error is 0"
        else:
            ends[name], estimates[name] = ends_of_error, float(off.mean()) if off is not None else math.nan
    told = {name: ends[name] for name in STATISTICS if name in ends}
    return Intervals(UNIT, times.size, told, refused, estimates, where.filled / slow.time, notes=NOTES)


def mover(centre: Ends, estimate: float, spread: Ends, sd: float, *, upper: bool) -> Ends:
    """Join the interval of a bias (estimate and its half-width) and of an SD to that of a limit (Zou 2013)."""
    _, half = centre
    low, high = Z * (sd - spread[0]), Z * (spread[1] - sd)
    down, up = (low, high) if upper else (high, low)
    return estimate - math.hypot(half, down), estimate + math.hypot(half, up)


def t_point(df: float) -> float:
    """Return the 97.5 % point of Student's t."""
    from scipy.special import stdtrit

    return float(stdtrit(df, 0.975))


def chi_square_ends(value: float, df: float) -> Ends:
    """Return the interval of a variance with `df` degrees of freedom."""
    from scipy.special import gammaincinv

    low, high = (2 * float(gammaincinv(df / 2, p)) for p in (0.975, 0.025))
    return value * df / low, value * df / high if high > 0 else math.inf


def _slow(series: Floats, where: Grid) -> _Slow:
    """Return variance (about 0) over the filled slots and τ of an influence series."""
    laid, filled = on_grid(series, where)
    # The mean over slots may differ from that over pairs by a hair where a slot holds several pairs.
    laid = laid - filled * (laid.sum() / where.filled)
    rho = autocorrelation(laid, filled)
    variance = float(laid @ laid) / where.filled
    return _Slow(variance, largest_time(rho, where.filled), time_of_squares(rho, where.filled))


def _error(slow: _Slow, m: int) -> float:
    """Return the standard error, corrected for the estimated mean."""
    return math.sqrt(slow.variance / (1 - min(slow.time / m, 0.5)) * slow.time / m)


def _half(slow: _Slow, m: int) -> float:
    """Return the half-width by Student's t with effective n − 1, at least 1, degrees of freedom."""
    return t_point(max(m / slow.time - 1, 1.0)) * _error(slow, m)


def _free(m: int, time: float) -> float:
    """Return how many independent squares a variance of m autocorrelated values rests on."""
    a = (time - 1) / (time + 1)
    return m * (1 - a * a) / (1 + a * a)


def _normal_ends(
    bias: float, s2: float, slow: _Slow, slow_log: _Slow, m: int
) -> tuple[dict[str, Ends], dict[str, float]]:
    """Return the ends of bias, SD and both limits, and the estimates that they are about."""
    half = _half(slow, m)
    sd = math.sqrt(s2 / (1 - min(slow.time / m, 0.5)))
    error = _error(slow_log, m)
    df = max(1.0, min(1 / (2 * error * error) if error else math.inf, _free(m, slow.time) - 1))
    low, high = (math.sqrt(each) for each in chi_square_ends(sd * sd, df))
    lower, upper = bias - Z * sd, bias + Z * sd
    ends = {
        "bias": (bias - half, bias + half),
        "sd_difference": (low, high),
        "loa_lower": mover((bias, half), lower, (low, high), sd, upper=False),
        "loa_upper": mover((bias, half), upper, (low, high), sd, upper=True),
    }
    return ends, {"bias": bias, "sd_difference": sd, "loa_lower": lower, "loa_upper": upper}


def _error_series(c: Floats, reference: Floats) -> dict[str, Floats | None]:
    """Return absolute errors, and in % of the reference unless that is 0 somewhere."""
    off = np.abs(c)
    return {"mae": off, "mape": 100 * off / np.abs(reference) if bool(np.all(reference != 0)) else None}


def _log_ends(off: Floats, slow: _Slow, where: Grid) -> Ends | None:
    """Return the interval of a mean error on the log scale; its own τ or that of the squares, whichever is larger."""
    mean = float(off.mean())
    if mean <= 0:
        return None
    own = _slow(off - mean, where)
    half = _half(own._replace(time=max(own.time, slow.squares)), where.filled)
    return mean * math.exp(-half / mean), mean * math.exp(half / mean)
