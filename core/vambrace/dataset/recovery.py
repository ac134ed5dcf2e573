"""Puts a dataset in order after a run that died: what was committed is finished, what was not is swept."""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from pathlib import Path

from vambrace.dataset.files import TEMPORARY, FileOps
from vambrace.dataset.index import Index
from vambrace.dataset.layout import ASIDE, FOLDERS, OLD_ASIDE, RECORD, SAMPLES, SHARD, SOURCES, SUPERSEDED, Layout


def retire(ops: FileOps, layout: Layout, key: str) -> None:
    """Move a replaced source to `superseded`; its record moves last, so that a crash between can be finished."""
    moves = (
        (layout.shard(key), layout.shard(key, superseded=True)),
        (layout.aside(key), layout.aside(key, superseded=True)),
        (layout.record(key), layout.record(key, superseded=True)),
    )
    for old, new in moves:
        # What is not there was never written, or was moved before a crash.
        with contextlib.suppress(FileNotFoundError):
            ops.rename(old, new)
            ops.fsync_folder(new.parent)
            ops.fsync_folder(old.parent)


def forget_superseded(ops: FileOps, layout: Layout, key: str) -> None:
    """Remove what a source left in `superseded`, because it is current again; its record goes last."""
    for path in (
        layout.shard(key, superseded=True),
        layout.aside(key, superseded=True),
        layout.record(key, superseded=True),
    ):
        with contextlib.suppress(FileNotFoundError):
            ops.unlink(path)


def recover(ops: FileOps, layout: Layout, index: Index) -> None:
    """Finish replacements and sweep orphans; only the one writer may call it."""
    sources = {name.removesuffix(RECORD) for name in ops.list_folder(layout.folder / SOURCES)}
    for key in sorted(index.superseded.keys() & sources):
        retire(ops, layout, key)
    old = {name.removesuffix(RECORD) for name in ops.list_folder(layout.folder / SUPERSEDED)}
    for key in sorted(index.current.keys() & old):
        forget_superseded(ops, layout, key)
    sweep_temporary(ops, layout)
    for path in orphans(ops, layout, index):
        ops.unlink(path)


def sweep_temporary(ops: FileOps, layout: Layout) -> None:
    """Remove unfinished files."""
    for folder in (layout.folder, *(layout.folder / name for name in FOLDERS)):
        for name in ops.list_folder(folder):
            if name.startswith(TEMPORARY):
                ops.unlink(folder / name)


def orphans(ops: FileOps, layout: Layout, index: Index) -> Iterator[Path]:
    """Yield Parquet files that no record names: a crash came between them and their record."""
    samples = {f"{key}{SHARD}" for key, known in index.current.items() if known.shard}
    aside = {f"{key}{SHARD}" for key, known in index.current.items() if known.aside}
    old = {f"{key}{SHARD}" for key, known in index.superseded.items() if known.shard}
    old |= {f"{key}{OLD_ASIDE}" for key, known in index.superseded.items() if known.aside}
    for folder, named in ((SAMPLES, samples), (ASIDE, aside), (SUPERSEDED, old)):
        for name in ops.list_folder(layout.folder / folder):
            if name.endswith(SHARD) and name not in named:
                yield layout.folder / folder / name
