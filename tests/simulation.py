"""Simulated heart-rate sessions: truth, reference and device, 1 Hz.

Everything is seeded: rng = numpy.random.default_rng([seed, index]).  Times are
seconds from the start of the session.  A device's stamp is
    stamp = true time - clock_offset      (so clock_offset is what must be ADDED to the device's time)
and its value at true time t describes the heart at about t - lag - filter delay.
"""

from __future__ import annotations

import numpy as np
from scipy.signal import lfilter

# activity: (range of load as a share of heart-rate reserve, error SD multiplier, cadence in steps/min or None)
ACTIVITIES = {
    "rest": ((0.00, 0.06), 0.6, None),
    "warmup": ((0.25, 0.40), 1.0, (105, 120)),
    "intervals": ((0.30, 0.95), 1.8, (150, 175)),
    "steady": ((0.50, 0.70), 1.0, (140, 165)),
    "weights": ((0.20, 0.65), 3.0, None),
    "recovery": ((0.05, 0.20), 0.8, None),
}
MIXED = (("rest", 240), ("warmup", 240), ("intervals", 420), ("steady", 360), ("weights", 300), ("recovery", 240))


def ar1(rng, shape, phi, sd):
    """Stationary AR(1) along the last axis with marginal SD `sd`."""
    e = rng.standard_normal(shape) * np.sqrt(1 - phi**2)
    e[..., 0] /= np.sqrt(1 - phi**2)
    return sd * lfilter([1.0], [1.0, -phi], e, axis=-1)


def plan(rng, phases=MIXED):
    """Activity name and load (0..1) for each second."""
    names, load = [], []
    for name, seconds in phases:
        (lo, hi), _, _ = ACTIVITIES[name]
        x = np.empty(seconds)
        if name in ("intervals", "weights"):  # on/off work: 30-90 s on, 45-120 s off (sets: 25-45 s on)
            t, on = 0, True
            while t < seconds:
                d = int(
                    rng.integers(25, 46)
                    if name == "weights" and on
                    else rng.integers(30, 91)
                    if on
                    else rng.integers(45, 121)
                )
                x[t : t + d] = (hi if on else lo) * rng.uniform(0.9, 1.05)
                t, on = t + d, not on
        else:
            x[:] = rng.uniform(lo, hi)
        names += [name] * seconds
        load.append(x)
    return np.array(names), np.clip(np.concatenate(load), 0, 1)


def heart(rng, load, rest_hr=None, max_hr=None, variability=1.0):
    """True heart rate: first-order kinetics (20-60 s, on and off apart), drift, slow and breathing variability."""
    rest_hr = rng.uniform(50, 75) if rest_hr is None else rest_hr
    max_hr = rng.uniform(165, 195) if max_hr is None else max_hr
    tau_on, tau_off = rng.uniform(20, 60, 2)
    n, hr = load.size, np.empty(load.size)
    drift = 1 + 0.05 * np.arange(n) / max(n, 1)
    goal = rest_hr + (max_hr - rest_hr) * load * drift
    y = goal[0]
    for i in range(n):
        y += (goal[i] - y) / (tau_on if goal[i] > y else tau_off)
        hr[i] = y
    calm = np.clip(1 - load, 0.15, 1)
    breath = 2.0 * calm * np.sin(2 * np.pi * np.cumsum(np.full(n, 0.22) + ar1(rng, n, 0.95, 0.02)))
    return np.clip(hr + variability * (calm * ar1(rng, n, 0.97, 2.0) + breath), 35, 220)


def reference(rng, hr, beats=None):
    """Mean over the last 4-8 beats, whole numbers.  Returns values and the mean group delay in s."""
    beats = int(rng.integers(4, 9)) if beats is None else beats
    phase = np.concatenate([[0], np.cumsum(hr / 60)])  # beats since start, at t = 0..n
    t_beat = np.interp(np.arange(int(phase[-1]) + 1), phase, np.arange(phase.size))
    t = np.arange(hr.size) + 1.0
    last = np.clip(np.searchsorted(t_beat, t, side="right") - 1, 1, t_beat.size - 1)
    first = np.maximum(last - beats, 0)
    value = 60 * (last - first) / (t_beat[last] - t_beat[first])
    return np.rint(value), (beats + 1) / 2 * 60 / hr.mean() - 0.5  # the value of second i is known at i + 1


def delayed(hr, lag, tau):
    """Pure delay (fractional, s) and a first-order filter with time constant tau (s)."""
    t = np.arange(hr.size, dtype=float)
    x = np.interp(t - lag, t, hr)
    if tau > 0:
        a = np.exp(-1 / tau)
        x = lfilter([1 - a], [1, -a], x - x[0]) + x[0]
    return x


def device(
    rng,
    hr,
    names,
    reps=1,
    lag=4.0,
    tau=3.0,
    bias=0.0,
    person=0.0,
    session=0.0,
    sd=3.0,
    phi=0.95,
    hetero=True,
    white=0.0,
    steplock=0.0,
    dropout=0.0,
    held=0.0,
    whole=True,
):
    """`reps` noisy recordings of one heart.  Rates (steplock, dropout, held) are expected episodes per 1,800 s."""
    n = hr.size
    scale = np.array([ACTIVITIES[a][1] for a in names]) if hetero else np.ones(n)
    y = delayed(hr, lag, tau) + bias + person + session + ar1(rng, (reps, n), phi, sd) * scale
    if white:
        y = y + rng.normal(0, white, (reps, n))
    moving = np.flatnonzero([ACTIVITIES[a][2] is not None for a in names])
    for r in range(reps):
        for _ in range(rng.poisson(steplock * n / 1800) if moving.size else 0):
            s = int(rng.choice(moving))
            e = s + int(rng.integers(30, 121))
            lo, hi = ACTIVITIES[names[s]][2]
            e = min(e, n)
            w = np.minimum(1, np.arange(e - s) / 10)  # slides onto the cadence within 10 s
            y[r, s:e] = (1 - w) * y[r, s:e] + w * (rng.uniform(lo, hi) + ar1(rng, e - s, 0.9, 1.0))
    y = np.clip(np.rint(y) if whole else y, 30, 230)
    for r in range(reps):
        for _ in range(rng.poisson(held * n / 1800)):
            s = int(rng.integers(0, n))
            y[r, s : s + int(rng.integers(5, 31))] = y[r, s]
        for _ in range(rng.poisson(dropout * n / 1800)):
            s = int(rng.integers(0, n))
            y[r, s : s + int(rng.integers(3, 61))] = np.nan
    return y


def aligned_session(seed, index, phases=MIXED, sd=3.0, offset=None, lag=None, tau=None, variability=1.0, **kw):
    """One session for the clock test: reference and device with their own stamps."""
    rng = np.random.default_rng([seed, index])
    names, load = plan(rng, phases)
    hr = heart(rng, load, variability=variability)
    ref, ref_delay = reference(rng, hr)
    lag = rng.uniform(0, 8) if lag is None else lag
    tau = rng.uniform(1, 5) if tau is None else tau
    offset = rng.uniform(-300, 300) if offset is None else offset
    kw = {"phi": rng.uniform(0.9, 0.98), "dropout": 4, "held": 4, "steplock": 0.7} | kw
    dev = device(rng, hr, names, lag=lag, tau=tau, sd=sd, **kw)[0]
    t = np.arange(hr.size, dtype=float)
    apparent = offset - (lag + (1 / (np.exp(1 / tau) - 1) if tau else 0) - ref_delay)  # what a signal method can see
    return {
        "t_ref": t,
        "ref": ref,
        "t_dev": t - offset,
        "dev": dev,
        "names": names,
        "hr": hr,
        "offset": offset,
        "apparent": apparent,
        "lag": lag,
        "tau": tau,
        "ref_delay": ref_delay,
    }
