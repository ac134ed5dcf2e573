"""Tolerances and acceptance limits as data, each with its source and how that was read."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from importlib.resources import files
from typing import Literal

import numpy as np

from vambrace.compare.arrays import Floats, Marks


@dataclass(frozen=True, slots=True)
class Tolerance:
    """How far off a value may be: `absolute` in the signal's unit, `percent` of the reference, or both."""

    id: str
    signal: str
    source: str
    mark: str
    absolute: float | None = None
    percent: float | None = None
    whichever: Literal["greater", "lesser"] | None = None

    def __post_init__(self) -> None:
        if self.absolute is None and self.percent is None:
            raise ValueError(f"The tolerance {self.id} gives neither an absolute figure nor a percentage.")
        if (self.whichever is None) is (self.absolute is not None and self.percent is not None):
            raise ValueError(f"The tolerance {self.id} must say `whichever` exactly where it gives two figures.")

    def allowed(self, reference: Floats) -> Floats:
        """Return how far off the device may be at each reference value."""
        flat = np.full(reference.shape, self.absolute if self.absolute is not None else 0.0)
        if self.percent is None:
            return flat
        share: Floats = np.abs(reference) * self.percent / 100
        if self.whichever is None:
            return share
        chosen: Floats = np.maximum(flat, share) if self.whichever == "greater" else np.minimum(flat, share)
        return chosen

    def within(self, difference: Floats, reference: Floats) -> Marks:
        """Mark the differences that are not larger than allowed; a value just on the edge is within."""
        return np.abs(difference) <= self.allowed(reference)

    def __str__(self) -> str:
        parts = [] if self.absolute is None else [f"±{self.absolute:g}"]
        parts += [] if self.percent is None else [f"±{self.percent:g} %"]
        return " or ".join(parts) + (f", whichever is {self.whichever}" if self.whichever else "")


@dataclass(frozen=True, slots=True)
class Limit:
    """The most that a statistic may be, in which document, and how that was read."""

    id: str
    signal: str
    statistic: str
    at_most: float
    document: str
    mark: str

    def verdict(self, low: float | None, high: float | None) -> str:
        """Return `inside`, `outside` or `open` by the whole interval; without one the answer is `open`."""
        if low is None or high is None or not np.isfinite([low, high]).all():
            return "open"
        return "inside" if high <= self.at_most else "outside" if low > self.at_most else "open"


@dataclass(frozen=True, slots=True)
class Acceptance:
    """Everything that the acceptance table holds."""

    tolerances: tuple[Tolerance, ...]
    limits: tuple[Limit, ...]


def acceptance(text: str | None = None) -> Acceptance:
    """Return the tolerances and limits of a TOML text, by default those that ship with the package."""
    if text is None:
        text = (files("vambrace.compare") / "data" / "acceptance.toml").read_text("utf-8")
    table = tomllib.loads(text)
    return Acceptance(
        tuple(Tolerance(**row) for row in table.get("tolerance", [])),
        tuple(Limit(**row) for row in table.get("limit", [])),
    )
