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
    lines += _most("samples", summary.samples_by_signal, columns, 5) or listed("samples", ["none"], columns)
    return lines + _most("set aside", summary.set_aside_by_reason, columns, 2)


def _most(label: str, counts: Mapping[str, int], columns: int, most: int) -> list[str]:
    """Return the words with their counts; where they need too many lines, the largest, and how many more there are."""
    if not counts:
        return []
    parts = [f"{word} {n:,}" for word, n in counts.items()]
    lines = listed(label, parts, columns)
    if len(lines) > most:
        ranked = sorted(counts, key=lambda word: (-counts[word], word))
        for kept in range(len(ranked) - 1, 0, -1):
            parts = [f"{word} {counts[word]:,}" for word in ranked[:kept]]
            lines = listed(label, [*parts, f"and {len(ranked) - kept} more"], columns)
            if len(lines) <= most:
                break
    return lines


def _problems(summary: Summary, columns: int, room: int) -> list[str]:
    """Return the rejected sources first, as many as there is room for, and where to see them all."""
    order = {"rejected": 0, "partial": 1, "unrecognised": 2}
    problems = sorted(summary.problems, key=lambda one: order[one.status])
    whole = [_problem(one, columns) for one in problems[: SCREEN_LINES + 1]]
    if sum(map(len, whole)) <= room:
        return [line for lines in whole for line in lines]
    see = listed("all", [_command(summary, "files", columns - 14)], columns, 14)
    shown = [_cut(lines) for lines in whole]
    if sum(map(len, shown)) + len(see) <= room:
        return [*(line for lines in shown for line in lines), *see]
    lines: list[str] = []
    for number, one in enumerate(shown):
        if len(lines) + len(one) + 1 + len(see) > room:
            more = f"and {len(problems) - number:,} more" if number else counted(len(problems), "source")
            return [*lines, f"{'':<14}{more}", *see]
        lines += one
    return lines


def _problem(one: Problem, columns: int) -> list[str]:
    return wrapped(f"{one.path}: {one.reason}", columns, " " * 14, f"{one.status:<14}")


def _cut(lines: list[str]) -> list[str]:
    return lines if len(lines) <= 4 else [*lines[:3], f"{'':<14}..."]


def _findings(summary: Summary, columns: int) -> list[str]:
    lines = [line for warning in summary.warnings for line in wrapped(warning, columns, " " * 11, "note       ")]
    if summary.findings_by_severity:
        counts = summary.findings_by_severity
        found = [counted(counts[word], word) for word in ("error", "warning", "note") if word in counts]
        lines += listed("findings", [", ".join(found), _command(summary, "findings", columns - 11)], columns)
    return lines


def _command(summary: Summary, table: str, room: int) -> str:
    """Return the command that shows a whole table; with a word for the dataset where its path is too long."""
    for dataset in (safe(summary.dataset), "DATASET"):
        command = f"vambrace export {dataset} --to {table}.csv --table {table}"
        if len(command) <= room:
            break
    return command
