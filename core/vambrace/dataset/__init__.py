"""The dataset folder: shards, commit records and the tables derived from them; nobody else knows its layout."""

from vambrace.dataset.checking import check_dataset
from vambrace.dataset.files import FleetingFiles
from vambrace.dataset.layout import DOCUMENT
from vambrace.dataset.package import table_schema
from vambrace.dataset.records import (
    ChannelRow,
    EventRow,
    FindingRow,
    Occurrence,
    Record,
    RecordingRow,
    Stamp,
    content_key,
    entry_key,
)
from vambrace.dataset.schemas import DERIVED, TABLES
from vambrace.dataset.shard import Finished, ShardWriter
from vambrace.dataset.stats import ChannelStats
from vambrace.dataset.store import Store

__all__ = [
    "DERIVED",
    "DOCUMENT",
    "TABLES",
    "ChannelRow",
    "ChannelStats",
    "EventRow",
    "FindingRow",
    "Finished",
    "FleetingFiles",
    "Occurrence",
    "Record",
    "RecordingRow",
    "ShardWriter",
    "Stamp",
    "Store",
    "check_dataset",
    "content_key",
    "entry_key",
    "table_schema",
]
