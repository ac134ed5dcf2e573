"""Every option of tables has a key in mapping files."""

from __future__ import annotations

from dataclasses import fields

from vambrace_plugins.importers.csv import Options
from vambrace_plugins.mapping.model import Layout, SignalField, Time

KEYS = {
    "delimiter": (Layout, "delimiter"),
    "decimal": (Layout, "decimal"),
    "encoding": (Layout, "encoding"),
    "columns": (SignalField, "field"),
    "units": (SignalField, "unit"),
    "counting": (SignalField, "counting"),
    "time": (Time, "format"),
    "start": (Time, "start"),
    "date": (Time, "first_date"),
    "century": (Time, "century"),
    "zones": (Time, "zones"),
    "repeated_hour": (Time, "repeated_hour"),
    "stamp": (Time, "stamp"),
    "interval_s": (Time, "interval_s"),
}


def test_every_option_of_tables_has_a_key_in_mappings() -> None:
    assert {each.name for each in fields(Options)} == set(KEYS)
    for table, key in KEYS.values():
        assert key in {each.name for each in fields(table)}
