"""Agreement by bout, session, participant and pooled, with the interval that each design deserves."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Literal

import numpy as np

from vambrace.compare.acceptance import Tolerance
from vambrace.compare.agreement import Agreement, agreement
from vambrace.compare.arrays import Codes, Floats, Rows, Times
from vambrace.compare.intervals import Intervals
from vambrace.compare.one_session import session_intervals, session_row
from vambrace.compare.over_units import pooled_intervals

Level = Literal["bout", "session", "participant", "pooled"]

NONE = -1
"""The code of a pair that lies in no activity."""


@dataclass(frozen=True, slots=True)
class PairColumns:
    """Pairs of one device, one reference and one signal, columns of one length.

    `time` is the reference's (µs). Codes are integers of any values: `bout` one activity interval of one session,
    `kind` its kind, both −1 outside activities.
    """

    time: Times
    device: Floats
    reference: Floats
    participant: Codes
    session: Codes
    bout: Codes
    kind: Codes

    def at(self, rows: Rows) -> PairColumns:
        """Return the pairs of some rows."""
        return PairColumns(*(getattr(self, name)[rows] for name in self.__slots__))


@dataclass(frozen=True, slots=True)
class LevelRow:
    """One row of the agreement table. Codes are None where the row spans several; `share_rest` is of its pairs."""

    level: Level
    participant: int | None
    session: int | None
    bout: int | None
    kind: int | None
    first_time: int
    last_time: int
    share_rest: float
    n_sessions: int
    n_participants: int
    agreement: Agreement
    intervals: Intervals

    def figures(self) -> Mapping[str, float | None]:
        """Return the figures to print: over several sessions those of the units, else those of the pairs.

        Over units the bias is the mean of their means, SD and limits come from components of variance, errors are means
        of theirs and r and CCC means on the artanh scale; the figures that have no such form stay those of the pairs.
        """
        names = [name for name in self.agreement.__slots__ if name != "missing"]
        plain = {name: getattr(self.agreement, name) for name in names}
        return plain | dict(self.intervals.estimates) if self.n_sessions > 1 else plain


def level_rows(pairs: PairColumns, rest: frozenset[int], tolerance: Tolerance | None = None) -> list[LevelRow]:
    """Return every row of the agreement table; `rest` are the codes of the kinds that count as rest.

    A row for each bout; for each session, for each participant and over all, one row over everything and one for each
    kind of activity.
    """
    # By participant, session and time, so that each group's series rises in time.
    pairs = pairs.at(np.lexsort((pairs.time, pairs.session, pairs.participant)))
    return [_row(pairs.at(rows), level, kind, rest, tolerance) for level, kind, rows in _groups(pairs)]


def _groups(pairs: PairColumns) -> Iterator[tuple[Level, int | None, Rows]]:
    """Yield level, kind (None over everything) and rows of each group."""
    whole = np.arange(pairs.time.size)
    for rows in _by(pairs.bout, whole[pairs.bout != NONE]):
        yield "bout", int(pairs.kind[rows[0]]), rows
    levels: tuple[tuple[Level, Codes], ...] = (
        ("session", pairs.session),
        ("participant", pairs.participant),
        ("pooled", np.zeros(whole.size, np.int64)),
    )
    for level, codes in levels:
        for rows in _by(codes, whole):
            yield level, None, rows
            for part in _by(pairs.kind, rows[pairs.kind[rows] != NONE]):
                yield level, int(pairs.kind[part[0]]), part


def _by(codes: Codes, rows: Rows) -> list[Rows]:
    """Return rows split by code, each part in the order of the rows."""
    order = rows[np.argsort(codes[rows], kind="stable")]
    cuts = np.flatnonzero(np.diff(codes[order])) + 1
    return np.split(order, cuts) if order.size else []


def _row(
    pairs: PairColumns, level: Level, kind: int | None, rest: frozenset[int], tolerance: Tolerance | None
) -> LevelRow:
    """Return the row of one group of pairs."""
    sessions = _by(pairs.session, np.arange(pairs.time.size))
    calm = np.isin(pairs.kind, list(rest))
    return LevelRow(
        level=level,
        participant=None if level == "pooled" else int(pairs.participant[0]),
        session=int(pairs.session[0]) if level in ("bout", "session") else None,
        bout=int(pairs.bout[0]) if level == "bout" else None,
        kind=kind,
        first_time=int(pairs.time.min()),
        last_time=int(pairs.time.max()),
        share_rest=float(calm.mean()),
        n_sessions=len(sessions),
        n_participants=np.unique(pairs.participant).size,
        agreement=agreement(pairs.device, pairs.reference, tolerance),
        intervals=_intervals(pairs, sessions),
    )


def _intervals(pairs: PairColumns, sessions: list[Rows]) -> Intervals:
    """Return intervals by design: seconds of one session, else sessions or participants."""
    if len(sessions) == 1:
        return session_intervals(pairs.time, pairs.device, pairs.reference)
    who = np.array([pairs.participant[rows[0]] for rows in sessions])
    found = [session_row(pairs.time[rows], pairs.device[rows], pairs.reference[rows]) for rows in sessions]
    return pooled_intervals(who, found)
