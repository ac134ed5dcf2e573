"""One source as `inspect` shows it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from vambrace.cli.first_rows import asked, claims, first_rows, first_set_aside, time_text
from vambrace.cli.texts import columned, counted, listed, safe, width, wrapped
from vambrace.output.summary import Inspection
from vambrace.rules import RULES
from vambrace.sources.names import place_of

_FEW = 8
_COUNTED = RULES.keys() - {"not-carried", "possibly-cut", "counts-at-one-time"}
"""The rules whose sentences count by themselves."""


def inspection_text(found: Inspection, *, everything: bool = False, columns: int | None = None) -> str:
    """Return what a source holds as lines that fit the width."""
    columns = columns or width()
    lines = [safe(place_of(found.root, found.path)), *_how(found, columns, everything)]
    for recording in found.recordings:
        name = recording["recording"]
        own = [row for row in found.channels if row["recording"] == name]
        events = [row for row in found.events if row["recording"] == name]
        lines += ["", *_recording(recording, columns), *_channels(own, columns)]
        lines += _not_carried(own, columns, everything)
        lines += _conversions(recording["conversions"], columns)
        lines += _events(events, columns)
    lines += [*first_rows(found, columns), *first_set_aside(found, columns)]
    return "\n".join([*lines, *_findings(found, columns, everything)])


def _how(found: Inspection, columns: int, everything: bool) -> list[str]:
    size = "" if found.bytes is None else counted(found.bytes, "byte")
    lines = listed("status", [found.status, size], columns)
    if found.reason:
        lines += wrapped(found.reason, columns, " " * 11, "reason     ")
    if found.importer:
        lines += listed(
            "read by", [f"importer {found.importer} {found.importer_version}, claimed by {found.claim}"], columns
        )
    lines += asked(found, columns) if everything else claims(found, columns)
    for note in found.notes:
        lines += wrapped(note, columns, " " * 11, "note       ")
    if found.rows_read or found.rows_absent:
        said = [
            f"{found.rows_read:,} read",
            f"{found.rows_kept:,} kept",
            f"{found.rows_set_aside:,} set aside",
            f"{found.rows_absent:,} absent",
        ]
        lines += listed("values", said, columns)
    return lines


def _recording(row: Mapping[str, Any], columns: int) -> list[str]:
    device = [f"{key} {row[key]}" for key in ("manufacturer", "product", "serial", "firmware") if row[key]]
    lines = listed(f"recording {row['recording'].rpartition('.')[2]}", [row["recording"], *device], columns, 13)
    if row["start_time"]:
        lines += listed("  from, to", [time_text(row["start_time"]), time_text(row["end_time"]), "(UTC)"], columns, 13)
    if row["zone"]:
        lines += wrapped(f"{row['zone']}, known by: {row['zone_known_by']}", columns, " " * 13, "  zone       ")
    if row["complete"] is False:
        lines += listed("  complete", ["no, it breaks off"], columns, 13)
    return lines


_COUNTS = {"kept": "n", "aside": "n_set_aside", "suspect": "n_suspect", "absent": "n_absent"}
_ORIGIN = ("field", "unit", "every")


def _channels(channels: Sequence[Mapping[str, Any]], columns: int) -> list[str]:
    """Return a line for each signal; where the lines are too long, what the file says follows each on its own."""
    rows = sorted((row for row in channels if row["signal"]), key=lambda row: str(row["signal"]))
    if not rows:
        return []
    counts = {head: key for head, key in _COUNTS.items() if key == "n" or any(row[key] for row in rows)}
    left = [["signal", *counts], *([row["signal"], *(f"{row[key]:,}" for key in counts.values())] for row in rows)]
    flush = [False, *(True for _ in counts)]
    origins = [_origin(row) for row in rows]
    whole = [[*cells, *more] for cells, more in zip(left, [_ORIGIN, *origins], strict=True)]
    table = columned(whole, [*flush, False, False, True], "  ")
    if max(map(len, table)) <= columns:
        return table
    head, *lines = columned(left, flush, "  ")
    return [
        head,
        *(text for line, origin in zip(lines, origins, strict=True) for text in (line, *_from(origin, columns))),
    ]


def _origin(row: Mapping[str, Any]) -> tuple[str, str, str]:
    seconds = row["median_interval_s"]
    every = "" if seconds is None else f"{seconds:g} s"
    return row["field_in_source"] or "", row["unit_in_source"] or "", every


def _from(origin: tuple[str, str, str], columns: int) -> list[str]:
    parts = [f"{word} {said}" for word, said in zip(_ORIGIN, origin, strict=True) if said]
    return wrapped("  ".join(parts), columns, " " * 6, " " * 4) if parts else []


def _not_carried(rows: Sequence[Mapping[str, Any]], columns: int, everything: bool) -> list[str]:
    fields = [(row["field_in_source"], row["n"]) for row in rows if not row["signal"]]
    if not fields:
        return []
    fields.sort(key=lambda pair: (-pair[1], pair[0]))
    shown = fields if everything else fields[:_FEW]
    parts = [f"{name} ({n:,})" for name, n in shown]
    if len(shown) < len(fields):
        parts.append(f"and {len(fields) - len(shown)} more, see --all")
    return listed("  not carried", parts, columns, 15)


def _conversions(sentences: Sequence[str], columns: int) -> list[str]:
    return [line for each in sentences for line in wrapped(each, columns, " " * 15, "  converted    ")]


def _events(rows: Sequence[Mapping[str, Any]], columns: int) -> list[str]:
    counts: dict[str, int] = {}
    for row in rows:
        counts[row["kind"]] = counts.get(row["kind"], 0) + 1
    return listed("  events", [f"{kind} {n:,}" for kind, n in sorted(counts.items())], columns, 15) if counts else []


def _findings(found: Inspection, columns: int, everything: bool) -> list[str]:
    rows = list(found.findings) if everything else list(found.findings)[:_FEW]
    lines = []
    for row in rows:
        often = f" ({row['count']:,} times)" if row["count"] > 1 and row["rule"] not in _COUNTED else ""
        message = f"{row['signal']}: {row['message']}" if row["rule"] in _COUNTED and row["signal"] else row["message"]
        lines += wrapped(f"{message}{often}", columns, " " * 11, f"{row['severity']:<11}")
    if len(rows) < len(found.findings):
        lines.append(f"{' ' * 11}and {len(found.findings) - len(rows)} more, see --all")
    return ["", *lines] if lines else []
