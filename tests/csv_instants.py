"""Says in one word what a table gives: its instants as ISO 8601 texts of UTC, or the code of its refusal."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from typing import Any

from csv_canonical import Canonical, canonical
from vambrace_plugins.importers.csv import Options


def table_of(header: str, cells: Sequence[str]) -> bytes:
    """Return a table of times and heart rates, separated by semicolons; each row has another rate."""
    rows = [f"{header};heart_rate", *(f"{cell};{60 + at % 100}" for at, cell in enumerate(cells))]
    return ("\n".join(rows) + "\n").encode()


def reading_of(header: str, cells: Sequence[str], zone: str | None = None, **options: Any) -> Canonical:
    """Read the table of these times with the options of the importer."""
    return canonical(table_of(header, cells), Options(**options), zone)


def instants(result: Canonical, channel: tuple[int, str] = (1, "heart_rate")) -> list[str]:
    """Return the instants that were kept, as `2024-03-01T08:15:30Z` with a fraction where there is one."""
    assert not result.code, result.said
    return [iso(at) for at, _ in result.channels.get(channel, [])]


def iso(us: int) -> str:
    """Return microseconds of Unix time as ISO 8601 writes them."""
    return (datetime(1970, 1, 1, tzinfo=UTC) + timedelta(microseconds=us)).isoformat().replace("+00:00", "Z")


def sentences(result: Canonical) -> list[str]:
    """Return what was recorded of the first recording."""
    assert result.reading is not None
    return list(result.reading.conversions[1])
