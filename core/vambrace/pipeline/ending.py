"""How the reading of a source ended."""

from __future__ import annotations

from vambrace.errors import DamagedFile, Refused, SourceError
from vambrace.pipeline.reading import Reading


def refusal_of(reading: Reading) -> SourceError | None:
    """Return why a source that was read to its end gives nothing: every value of it was set aside."""
    if reading.error is not None or reading.kept or not reading.set_aside:
        return None
    parts = ", ".join(f"{count:,} {reason}" for reason, count in sorted(reading.reasons.items()))
    if set(reading.reasons) == {"no-time"}:
        what = f"none of its {reading.set_aside:,} values has a time"
        return Refused("no-time", what, todo="Export it again with times; a value without one cannot be placed")
    what = f"every value was set aside ({parts})"
    return Refused("all-set-aside", what, todo="Look at the table set_aside for the values as the file gives them")


def is_damaged(reading: Reading) -> bool:
    """Say whether the source broke off; then `salvage` decides about the rows before."""
    return isinstance(reading.error, DamagedFile)
