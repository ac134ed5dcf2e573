"""The columns and types of every stored table: the contract in Arrow's words."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from types import MappingProxyType
from typing import Any

import pyarrow as pa

from vambrace.schema import SCHEMA_VERSION, SIGNALS, Signal

TEXT = pa.string()
WORD = pa.dictionary(pa.int32(), pa.string())
INSTANT = pa.timestamp("us", tz="UTC")
COUNT = pa.int64()

METADATA_KEY = b"vambrace"
"""Under which name the Parquet metadata of `samples` holds units and codes as JSON."""

DERIVED = ("files", "recordings", "channels", "set_aside", "events", "findings")
"""The tables that are built from the commit records, in the order in which a person would read them."""

_FILES = (
    ("path", TEXT),
    ("root", TEXT),
    ("sha256", TEXT),
    ("bytes", COUNT),
    ("status", TEXT),
    ("reason", TEXT),
    ("recordings", COUNT),
    ("rows_read", COUNT),
    ("rows_kept", COUNT),
    ("rows_set_aside", COUNT),
    ("rows_outside", COUNT),
    ("rows_absent", COUNT),
)
_RECORDINGS = (
    ("recording", TEXT),
    ("path", TEXT),
    ("sha256", TEXT),
    ("format", TEXT),
    ("importer", TEXT),
    ("importer_version", TEXT),
    ("manufacturer", TEXT),
    ("product", TEXT),
    ("serial", TEXT),
    ("firmware", TEXT),
    ("root", TEXT),
    ("zone", TEXT),
    ("zone_known_by", TEXT),
    ("start_time", INSTANT),
    ("end_time", INSTANT),
    ("complete", pa.bool_()),
    ("conversions", pa.list_(TEXT)),
)
_CHANNELS = (
    ("recording", TEXT),
    ("signal", TEXT),
    ("n", COUNT),
    ("n_set_aside", COUNT),
    ("n_suspect", COUNT),
    ("n_absent", COUNT),
    ("field_in_source", TEXT),
    ("unit_in_source", TEXT),
    ("statistic", TEXT),
    ("counts", TEXT),
    ("sensor", TEXT),
    ("median_interval_s", pa.float64()),
    ("gaps", COUNT),
    ("longest_gap_s", pa.float64()),
)
_SET_ASIDE = (
    ("recording", TEXT),
    ("record", COUNT),
    ("signal", TEXT),
    ("reason", TEXT),
    ("found", TEXT),
    ("time_text", TEXT),
)
_EVENTS = (("recording", TEXT), ("time", INSTANT), ("kind", TEXT), ("text", TEXT))
_FINDINGS = (
    ("rule", TEXT),
    ("severity", TEXT),
    ("path", TEXT),
    ("recording", TEXT),
    ("signal", TEXT),
    ("first_time", INSTANT),
    ("last_time", INSTANT),
    ("count", COUNT),
    ("message", TEXT),
)
_SAMPLES = (
    ("recording", WORD),
    ("signal", WORD),
    ("time", INSTANT),
    ("time_end", INSTANT),
    ("value", pa.float64()),
    ("unit", WORD),
    ("quality", WORD),
    ("source_flag", WORD),
    ("record", COUNT),
)


def samples_schema(signals: Iterable[str] = SIGNALS) -> pa.Schema:
    """Return the schema of `samples`, with units and codes of the given signals in its metadata."""
    return pa.schema(_SAMPLES, metadata={METADATA_KEY: _signal_metadata(signals)})


def _signal_metadata(signals: Iterable[str]) -> bytes:
    words = {name: _words(SIGNALS[name]) for name in sorted(set(signals))}
    document = {"schema_version": SCHEMA_VERSION, "signals": words}
    return json.dumps(document, sort_keys=True, ensure_ascii=False).encode()


def _words(signal: Signal) -> dict[str, Any]:
    """Return what a plain reader needs to know of a signal, without what it has not."""
    said = {
        "title": signal.title,
        "unit": signal.unit,
        "kind": str(signal.kind),
        "loinc": list(signal.loinc),
        "open_mhealth": signal.open_mhealth,
        "codes": {str(code): meaning for code, meaning in signal.codes.items()},
    }
    return {key: value for key, value in said.items() if value}


TABLES: Mapping[str, pa.Schema] = MappingProxyType(
    {
        "samples": samples_schema(),
        "files": pa.schema(_FILES),
        "recordings": pa.schema(_RECORDINGS),
        "channels": pa.schema(_CHANNELS),
        "set_aside": pa.schema(_SET_ASIDE),
        "events": pa.schema(_EVENTS),
        "findings": pa.schema(_FINDINGS),
    }
)
"""The schema of every stored table by its name."""

FIELD_UNITS: Mapping[str, str] = MappingProxyType({"bytes": "By", "median_interval_s": "s", "longest_gap_s": "s"})
"""The UCUM code of each column that has a unit of its own, by the column's name."""
