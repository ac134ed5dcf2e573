"""Runs the pipeline over many sources: in this process, or in a pool that survives a dead or hanging worker."""

from __future__ import annotations

import contextlib
import multiprocessing
import os
import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, wait
from itertools import islice
from multiprocessing import resource_tracker
from pathlib import Path
from typing import TYPE_CHECKING, Any

from vambrace import registry
from vambrace.dataset import ShardWriter
from vambrace.errors import PluginFault
from vambrace.pipeline import Plan, Result, convert_source, unread

if TYPE_CHECKING:
    from pebble import ProcessPool

POOL_BYTES = 16 << 20
"""Below this many bytes in all, starting workers costs more than they save."""
POOL_SOURCES = 400
GROUP_BYTES = 2 << 20
GROUP_SOURCES = 64
DEADLINE_S, DEADLINE_S_PER_MB = 120, 10


def run(plans: Sequence[Plan], folder: Path, jobs: int | None = None) -> Iterator[Result]:
    """Convert every source into staged files in the dataset's folder; yield results as they come, in any order.

    One source gives one result whatever happens to it: a worker that dies or passes its deadline costs the other
    sources of its group a second run, each alone, and the culprit a rejection that says so.
    """
    jobs = jobs or workers(plans)
    if jobs == 1:
        for plan in plans:
            yield _one(plan, folder)
        return
    yield from _pooled(plans, folder, jobs)


def workers(plans: Sequence[Plan]) -> int:
    """Return how many workers these sources are worth on this machine."""
    small = len(plans) < POOL_SOURCES and sum(plan.content_size for plan in plans) < POOL_BYTES
    cores = len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1
    return 1 if small or len(plans) < 2 else min(cores, len(plans))


def _one(plan: Plan, folder: Path) -> Result:
    installed = registry.load(plan.mappings)
    try:
        with ShardWriter(folder) as writer:
            return convert_source(plan, installed, writer)
    except Exception as error:
        # The wall of last resort: a fault of our own in one source must not cost the others their conversion.
        return _failed(plan, f"converting it failed with {type(error).__name__}: {error}")


def _group(plans: Sequence[Plan], folder: Path) -> list[Result]:
    return [_one(plan, folder) for plan in plans]


def _failed(plan: Plan, what: str) -> Result:
    importer = registry.load(plan.mappings).importers.get(plan.importer or "")
    todo = "Report it with the file, or leave the file out with --ignore"
    return Result(unread(plan, importer, PluginFault(what, todo=todo)))


def _groups(plans: Sequence[Plan]) -> Iterator[list[Plan]]:
    group: list[Plan] = []
    for plan in plans:
        group.append(plan)
        if len(group) == GROUP_SOURCES or sum(each.content_size for each in group) >= GROUP_BYTES:
            yield group
            group = []
    if group:
        yield group


def _pooled(plans: Sequence[Plan], folder: Path, jobs: int) -> Iterator[Result]:
    from pebble import ProcessPool

    # Spawned workers inherit no threads or locks of a library that was loaded before.
    context = multiprocessing.get_context("spawn")
    waiting = iter(_groups(plans))
    with _stopped_early(ProcessPool(max_workers=jobs, context=context)) as pool:
        with _interrupts_held():
            running = dict(_scheduled(pool, group, folder) for group in islice(waiting, 2 * jobs))
        while running:
            done, _ = wait(running, return_when=FIRST_COMPLETED)
            for future in done:
                group = running.pop(future)
                error = future.exception()
                if error is None:
                    yield from future.result()
                elif len(group) > 1:
                    running.update(_scheduled(pool, [plan], folder) for plan in group)
                else:
                    yield _failed(group[0], _last_words(error, group))
            free = max(0, 2 * jobs - len(running))
            running.update(_scheduled(pool, group, folder) for group in islice(waiting, free))


@contextlib.contextmanager
def _stopped_early(pool: ProcessPool) -> Iterator[ProcessPool]:
    """Give the pool, and stop its workers where the run ends before its time, instead of waiting for their tasks."""
    with pool:
        try:
            yield pool
        except BaseException:
            pool.stop()  # type: ignore[no-untyped-call]
            # One that is still starting would fail aloud on what goes with the pool.
            for worker in multiprocessing.active_children():
                worker.kill()
            raise


@contextlib.contextmanager
def _interrupts_held() -> Iterator[None]:
    """Hold Ctrl-C back while workers start: they inherit that, and leave it to this process, which stops them."""
    if not hasattr(signal, "pthread_sigmask"):
        yield
        return
    # The tracker of shared resources lets signals through again when it starts: let it have started.
    resource_tracker.ensure_running()
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _scheduled(pool: ProcessPool, group: list[Plan], folder: Path) -> tuple[Any, list[Plan]]:
    return pool.schedule(_group, args=[group, folder], timeout=_deadline_s(group)), group


def _deadline_s(group: Sequence[Plan]) -> float:
    return DEADLINE_S + DEADLINE_S_PER_MB * sum(plan.content_size for plan in group) / 1e6


def _last_words(error: BaseException, group: Sequence[Plan]) -> str:
    if isinstance(error, TimeoutError):
        return f"reading it took longer than {_deadline_s(group):.0f} s and was stopped"
    return f"the process that read it died ({type(error).__name__}: {error})"
