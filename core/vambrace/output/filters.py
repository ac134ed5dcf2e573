"""Which rows of a table are wanted."""

from __future__ import annotations

from dataclasses import dataclass

import pyarrow as pa
import pyarrow.compute as pc

from vambrace import clock
from vambrace.batch import Times
from vambrace.errors import VambraceError
from vambrace.schema import SIGNALS


@dataclass(frozen=True, slots=True)
class Filters:
    """Signals by name (none: all), and instants in µs of Unix time: from `since_us` on, before `until_us`."""

    signals: tuple[str, ...] = ()
    since_us: int | None = None
    until_us: int | None = None

    @classmethod
    def of(cls, signals: str | tuple[str, ...] | list[str] = (), since: str = "", until: str = "") -> Filters:
        """Return filters from a person's words; raise VambraceError for what they cannot mean."""
        names = (signals,) if isinstance(signals, str) else tuple(signals)
        for name in names:
            if name not in SIGNALS:
                raise VambraceError(f"no signal is named {name!r}", todo=f"Signals: {', '.join(SIGNALS)}")
        since_us, until_us = _instant("since", since), _instant("until", until)
        if since_us is not None and until_us is not None and since_us >= until_us:
            what = f"since ({since}) is not before until ({until})"
            raise VambraceError(what, todo="Give an earlier since or a later until")
        return cls(names, since_us, until_us)

    def check(self, name: str, schema: pa.Schema) -> None:
        """Raise VambraceError where a table has not the column that a filter asks about."""
        for wanted, column in ((bool(self.signals), "signal"), (self._timed, "time")):
            if wanted and column not in schema.names:
                what = f"the table {name} has no column {column!r}, so it cannot be filtered by it"
                raise VambraceError(what, todo="Leave the filter out, or take another table")

    @property
    def _timed(self) -> bool:
        return self.since_us is not None or self.until_us is not None

    def kept(self, batch: pa.RecordBatch) -> pa.RecordBatch:
        """Return the wanted rows of a batch."""
        if self.signals:
            signals = batch.column("signal").cast(pa.string())
            batch = batch.filter(pc.is_in(signals, pa.array(self.signals)))
        for bound, compare in ((self.since_us, pc.greater_equal), (self.until_us, pc.less)):
            if bound is not None:
                batch = batch.filter(compare(batch.column("time"), pa.scalar(bound, pa.timestamp("us", "UTC"))))
        return batch


def _instant(option: str, text: str) -> int | None:
    if not text:
        return None
    todo = "Write it as 2031-03-04T09:00:00Z, or with an offset such as +01:00"
    # What a shell hands on as bytes that are no text cannot even be asked about.
    instants = clock.to_utc(Times([text if text.isprintable() else "?"]), "UTC")
    if instants.fault[0]:
        raise VambraceError(f"{option}: {text!r} is no instant", todo=todo)
    if instants.known_by != "in file":
        raise VambraceError(f"{option}: {text!r} does not say in which zone", todo=todo)
    return int(instants.us[0])
