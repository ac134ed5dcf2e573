"""The first rows of a source, as read and as kept."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import groupby
from typing import Any

from vambrace.cli.texts import columned, listed, safe, wrapped
from vambrace.output.summary import Inspection

_HEAD = ["record", "time read", "value read", "time in UTC", "value"]


def first_rows(found: Inspection, columns: int) -> list[str]:
    """Return the first rows of each channel in both forms, each form on a line of its own where space is short."""
    if not found.first_rows:
        return []
    title = "read before the refusal, not kept" if found.rows_discarded else "first rows, as read and as kept"
    lines = ["", *wrapped(title, columns)]
    for (recording, signal), group in groupby(found.first_rows, lambda row: (row["recording"], row["signal"])):
        name = signal if recording == 1 else f"{signal}, recording {recording}"
        lines += [*wrapped(name, columns, "    ", "  "), *_channel(list(group), columns)]
    return lines


def _channel(rows: Sequence[Mapping[str, Any]], columns: int) -> list[str]:
    cells = [_cells(row) for row in rows]
    table = columned([_HEAD, *cells], [True, False, False, False, False], "    ")
    if max(map(len, table)) <= columns:
        return table
    lines = []
    for record, time, value, utc, here in cells:
        lines += _parts(f"    record {record}:", [time, value], columns)
        lines += _parts("      becomes", [f"{utc} UTC", here], columns)
    return lines


def _parts(label: str, parts: Sequence[str], columns: int) -> list[str]:
    margin = len(label) + 1
    if max(map(len, map(safe, parts))) <= columns - margin:
        return listed(label, parts, columns, margin)
    return wrapped("  ".join(parts), columns, " " * 8, f"{label} ")


def _cells(row: Mapping[str, Any]) -> list[str]:
    times = [time_text(row[key]) for key in ("time", "end_time") if row[key] is not None]
    source = f"{row['value_in_source']} {row['unit_in_source']}".rstrip()
    return [
        f"{row['record']:,}",
        row["time_in_source"],
        source,
        " to ".join(times),
        f"{row['value']:.10g} {row['unit']}",
    ]


def time_text(time: str) -> str:
    """Return a time of an export without its zeros."""
    whole, _, fraction = time.rstrip("Z").partition(".")
    return whole.replace("T", " ") + (f".{fraction.rstrip('0')}" if fraction.strip("0") else "")


def first_set_aside(found: Inspection, columns: int) -> list[str]:
    """Return the first values of each reason for setting aside, as the source writes them."""
    lines = ["", "set aside, the first of each reason"] if found.first_set_aside else []
    for row in found.first_set_aside:
        at = f" at {row['time_text']}" if row["time_text"] else ""
        said = f"{row['reason']}: record {row['record']:,}, {row['signal']} {row['found']!r}{at}"
        lines += wrapped(said, columns, "    ", "  ")
    return lines


def claims(found: Inspection, columns: int) -> list[str]:
    """Return how strongly each importer claims the source."""
    if not found.claims:
        return []
    by_claim: dict[str, list[str]] = {}
    for name, claim in found.claims.items():
        by_claim.setdefault(claim, []).append(name)
    none = by_claim.pop("none", [])
    parts = [
        f"{', '.join(names)}: failed when asked" if claim == "failed" else f"{', '.join(names)} by {claim}"
        for claim, names in by_claim.items()
    ]
    parts += [f"{', '.join(none)}: none"] if none else []
    return wrapped("; ".join(parts), columns, " " * 11, "claims     ")


def asked(found: Inspection, columns: int) -> list[str]:
    """Return what each importer says of the source and why, which one wins, and what would settle a tie."""
    lines: list[str] = []
    for row in found.asked:
        said = f"{row['importer']}: {row['claim']}{', wins' if row['wins'] else ''} ({_package(row)})"
        label = "           " if lines else "claims     "
        lines += wrapped(said, columns, " " * 13, label)
        lines += wrapped(row["evidence"], columns, " " * 13) if row["evidence"] else []
    return lines + (wrapped(found.settled_by, columns, " " * 11, "a tie      ") if found.settled_by else [])


def _package(row: Mapping[str, Any]) -> str:
    return f"{row['package']} {row['package_version']}".strip() or "no package"
