"""Says how far a run is: a moving line on a terminal, a plain line now and then in a log; always on stderr."""

from __future__ import annotations

import contextlib
import sys
from collections.abc import Callable, Iterator

from vambrace.cli.texts import safe, say
from vambrace.output.summary import Progress

EVERY = 500
"""Off a terminal, one line for so many files."""


@contextlib.contextmanager
def reporting() -> Iterator[Callable[[Progress], None]]:
    """Give a function that is told how far a run is."""
    if sys.stderr.isatty():
        with _moving() as tell:
            yield tell
    else:
        yield _plain


def _plain(progress: Progress) -> None:
    if progress.done % EVERY == 0:
        of = f" of {progress.total:,}" if progress.total else ""
        say(f"{progress.phase}: {progress.done:,}{of} sources", err=True)


@contextlib.contextmanager
def _moving() -> Iterator[Callable[[Progress], None]]:
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn
    from rich.progress import Progress as Bar

    name = TextColumn("{task.fields[name]}", markup=False)
    columns = (TextColumn("{task.description}"), BarColumn(20), MofNCompleteColumn(), name)
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        tasks = {phase: bar.add_task(phase, total=None, visible=False, name="") for phase in ("looking", "reading")}

        def tell(progress: Progress) -> None:
            total = progress.total or None
            name = safe(progress.name)[-40:]
            bar.update(tasks[progress.phase], completed=progress.done, total=total, visible=True, name=name)

        yield tell
