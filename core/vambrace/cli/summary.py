"""The closing summary: what became of the files, on one screen."""

from __future__ import annotations

from collections.abc import Mapping

from vambrace.cli.texts import CARE, counted, listed, safe, width, wrapped
from vambrace.output.summary import Problem, Summary, iso_utc

SCREEN_LINES = 23
_ORDER = ("converted", "partial", "duplicate", "superseded", "rejected", "unrecognised", "ignored")


def summary_text(summary: Summary, columns: int | None = None) -> str:
    """Return the summary as lines that fit the width, and a screen of 24 lines."""
    columns = columns or width()
    head = [*_head(summary, columns), *_counts(summary, columns)]
    tail = [*_findings(summary, columns), *wrapped(CARE, columns)]
    room = max(4, SCREEN_LINES - len(head) - len(tail))
    return "\n".join([*head, *_problems(summary, columns, room), *tail])


def _head(summary: Summary, columns: int) -> list[str]:
    total, samples = sum(summary.files_by_status.values()), sum(summary.samples_by_signal.values())
    said = [counted(total, "source"), counted(summary.recordings, "recording"), counted(samples, "sample")]
    lines = wrapped(f"{summary.dataset}: {', '.join(said)}", columns, "  ", "")
    if summary.first_time_us is not None and summary.last_time_us is not None:
        first, last = _short(summary.first_time_us), _short(summary.last_time_us)
        lines += listed("from, to", [f"{first}  {last}  (UTC)"], columns)
    run = [f"{summary.new:,} new or changed", f"{summary.unchanged:,} unchanged"]
    return [*lines, *listed("this run", run, columns)]


def _short(us: int) -> str:
    return iso_utc(us).partition(".")[0].replace("T", " ")


def _counts(summary: Summary, columns: int) -> list[str]:
    statuses = [f"{summary.files_by_status[word]:,} {word}" for word in _ORDER if word in summary.files_by_status]
    lines = listed("sources", statuses or ["none"], columns)
    lines += listed("samples", _words(summary.samples_by_signal) or ["none"], columns)
    if summary.set_aside_by_reason:
        lines += listed("set aside", _words(summary.set_aside_by_reason), columns)
    return lines


def _words(counts: Mapping[str, int]) -> list[str]:
    return [f"{word} {n:,}" for word, n in counts.items()]


def _problems(summary: Summary, columns: int, room: int) -> list[str]:
    """Return the rejected sources first, as many as there is room for, and where to see them all."""
    order = {"rejected": 0, "partial": 1, "unrecognised": 2}
    problems = sorted(summary.problems, key=lambda one: order[one.status])
    shown = [_problem(one, columns) for one in problems]
    if sum(map(len, shown)) <= room:
        return [line for lines in shown for line in lines]
    see = listed("all", [f"vambrace export {summary.dataset} --to files.csv --table files"], columns, 14)
    lines: list[str] = []
    for number, one in enumerate(shown):
        if len(lines) + len(one) + 1 + len(see) > room:
            more = f"and {len(shown) - number:,} more" if number else counted(len(shown), "source")
            return [*lines, f"{'':<14}{more}", *see]
        lines += one
    return lines


def _problem(one: Problem, columns: int) -> list[str]:
    lines = wrapped(f"{one.path}: {one.reason}", columns, " " * 14, f"{one.status:<14}")
    return lines if len(lines) <= 4 else [*lines[:3], f"{' ' * 14}…"]


def _findings(summary: Summary, columns: int) -> list[str]:
    lines = [line for warning in summary.warnings for line in wrapped(warning, columns, " " * 11, "note       ")]
    if summary.findings_by_severity:
        found = [counted(n, word) for word, n in summary.findings_by_severity.items()]
        see = f"vambrace export {safe(summary.dataset)} --to findings.csv --table findings"
        lines += listed("findings", [", ".join(found), see], columns)
    return lines
