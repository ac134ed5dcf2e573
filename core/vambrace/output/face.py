"""A dataset as an analyst meets it: tables as pandas frames or Arrow tables."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pyarrow as pa

from vambrace.dataset import Store, table_schema
from vambrace.errors import VambraceError
from vambrace.output.export import export
from vambrace.output.filters import Filters
from vambrace.output.summary import Summary, summarise
from vambrace.output.views import POSITION, view
from vambrace.schema import SIGNALS

if TYPE_CHECKING:
    import pandas as pd

Signals = str | Sequence[str]


def open_dataset(path: Path | str) -> Dataset:
    """Open the dataset in a folder for reading; raise VambraceError where there is none."""
    return Dataset(Store.open(path))


class Dataset:
    """A dataset, open for reading: every call reads what stands there now.

    Frames have the columns of the contract's tables; times are datetime64[us, UTC], words are categories.
    """

    def __init__(self, store: Store) -> None:
        """Take an open store; `open_dataset` gives one."""
        self._store = store

    def __repr__(self) -> str:
        return f"Dataset({str(self._store.folder)!r})"

    @property
    def folder(self) -> Path:
        """Return where the dataset stands."""
        return self._store.folder

    def arrow(
        self, table: str = "samples", *, signal: Signals = (), since: str = "", until: str = "", wide: bool = False
    ) -> pa.Table:
        """Return a table as Arrow; `since` and `until` are ISO 8601 instants with a zone, `signal` one name or more."""
        filters = Filters.of(signal if isinstance(signal, str) else tuple(signal), since, until)
        self._store.refresh()
        shown = view(self._store, table, filters, wide=wide)
        return pa.Table.from_batches(shown.batches, shown.schema).unify_dictionaries()

    def arrow_schema(self, table: str = "samples", *, wide: bool = False) -> pa.Schema:
        """Return the columns and types that a table has in `arrow` and in exports."""
        return view(self._store, table, wide=wide).schema

    def frictionless_schema(self, table: str = "samples", *, wide: bool = False) -> dict[str, Any]:
        """Return the same as a Frictionless Table Schema, to lay beside an export."""
        return table_schema(self.arrow_schema(table, wide=wide))

    def samples(self, *, signal: Signals = (), since: str = "", until: str = "") -> pd.DataFrame:
        """Return samples, one row each."""
        return _frame(self.arrow("samples", signal=signal, since=since, until=until))

    def signal(self, name: str, *, since: str = "", until: str = "") -> pd.DataFrame:
        """Return the narrow table of one signal, or of `position`."""
        if name not in (POSITION, *SIGNALS):
            raise VambraceError(f"no signal is named {name!r}", todo=f"Signals: {', '.join((POSITION, *SIGNALS))}")
        return _frame(self.arrow(name, since=since, until=until))

    def wide(self, *, signal: Signals = (), since: str = "", until: str = "") -> pd.DataFrame:
        """Return one row for each recording and time, with a column for each signal."""
        return _frame(self.arrow("samples", signal=signal, since=since, until=until, wide=True))

    @property
    def files(self) -> pd.DataFrame:
        """Return the ledger: what became of every source, and why."""
        return _frame(self.arrow("files"))

    @property
    def recordings(self) -> pd.DataFrame:
        """Return what each device recorded in each source."""
        return _frame(self.arrow("recordings"))

    @property
    def channels(self) -> pd.DataFrame:
        """Return each signal of each recording."""
        return _frame(self.arrow("channels"))

    @property
    def set_aside(self) -> pd.DataFrame:
        """Return the values that were set aside, and why."""
        return _frame(self.arrow("set_aside"))

    @property
    def events(self) -> pd.DataFrame:
        """Return laps, pauses, counter resets and the like."""
        return _frame(self.arrow("events"))

    @property
    def findings(self) -> pd.DataFrame:
        """Return what was found odd."""
        return _frame(self.arrow("findings"))

    def summary(self) -> Summary:
        """Return counts by status, signal and reason."""
        self._store.refresh()
        return summarise(self._store)

    def export(
        self,
        to: Path | str,
        *,
        table: str = "samples",
        wide: bool = False,
        signal: Signals = (),
        since: str = "",
        until: str = "",
    ) -> int:
        """Write a table to a file in the format that its suffix names, and return its number of rows."""
        filters = Filters.of(signal if isinstance(signal, str) else tuple(signal), since, until)
        self._store.refresh()
        return export(self._store, to, table=table, wide=wide, filters=filters)


def _frame(table: pa.Table) -> pd.DataFrame:
    frame: pd.DataFrame = table.to_pandas()
    return frame
