"""How an importer behaves: what it leaves behind, and what it raises."""

from __future__ import annotations

import contextlib
import random
import tempfile
import warnings
from collections.abc import Iterator
from functools import partial
from pathlib import Path
from typing import Any, BinaryIO

from vambrace.errors import PluginFault, SourceError
from vambrace.plugin import Claim, Source
from vambrace.testing.failure import Failure
from vambrace.testing.sample import Sample, Subject, small_samples
from vambrace.testing.seen import Seen, hand_over, see, whole
from vambrace.testing.streams import Opener, opener_of

__tracebackhide__ = True  # pytest then shows where the check was called, and its sentence

RANDOM_FILES = 100
"""How many files of random bytes are made of each sample; the same each time."""
_MOST_RANDOM = 2000


def writes_nothing(subject: Subject) -> None:
    """Hold that reading leaves no file beside the source or in the working folder, and the source as it was."""
    for sample in subject.samples:
        with tempfile.TemporaryDirectory() as folder:
            source, working = Path(folder, "source"), Path(folder, "working")
            source.mkdir()
            working.mkdir()
            path = source / sample.file_name
            path.write_bytes(sample.content)
            before = _contents(Path(folder))
            opener = Opener(partial(_open, path))
            with contextlib.chdir(working):
                hand_over(subject, sample, len(sample.content), opener)
            _close(opener)
            after = _contents(Path(folder))
        changed = sorted(name for name in {*before, *after} if before.get(name) != after.get(name))
        if changed:
            todo = "Write nothing: a source's folder may be somebody's archive, or read by others at the same time."
            raise Failure(f"reading changed {', '.join(changed)}", where=sample.file_name, todo=todo)
        whole(subject, sample)


def _open(path: Path) -> BinaryIO:
    return path.open("rb")


def _contents(folder: Path) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def closes_its_handles(subject: Subject) -> None:
    """Hold that every stream is closed at the end, after a damage, and where reading is given up halfway."""
    for sample in subject.samples:
        content = sample.content
        _hold_closed(see(subject, sample).opener, f"{sample.file_name}, read to the end")
        _hold_closed(see(subject, sample, content[: len(content) // 2]).opener, f"{sample.file_name}, cut in half")
        opener = opener_of(content)
        source = Source(sample.file_name, len(content), opener, sample.options_of(subject.importer), zone=sample.zone)
        _give_up(subject, source)
        _hold_closed(opener, f"{sample.file_name}, given up behind what came first")
        whole(subject, sample)


def _give_up(subject: Subject, source: Source) -> None:
    """Take the first thing that an importer yields, and no more."""
    with warnings.catch_warnings(), contextlib.suppress(Exception):
        warnings.simplefilter("ignore")
        items: Iterator[Any] = iter(subject.importer.read(source))
        next(items, None)
        close = getattr(items, "close", None)
        if close is not None:
            close()


def _hold_closed(opener: Opener, where: str) -> None:
    left = opener.left_open
    _close(opener)
    if left:
        todo = "Write `with source.open() as stream:` around all that reads it."
        raise Failure(f"{left} of {len(opener.streams)} streams are still open", where=where, todo=todo)


def _close(opener: Opener) -> None:
    for stream in opener.streams:
        stream.close()


def raises_only_the_errors_of_the_door(subject: Subject) -> None:
    """Hold that random bytes behind the signature, and wounds in a small sample, give only the door's errors."""
    for sample in small_samples(subject):
        for number, data in enumerate(_wounded(subject, sample)):
            seen = see(subject, sample, data)
            if _is_strange(seen):
                _raise_strange(seen, data, f"{sample.file_name}, random file {number + 1} ({len(data)} bytes)")
        whole(subject, sample)


def _is_strange(seen: Seen) -> bool:
    """Say whether an importer raised what is no error of the door, or what the core takes for a fault of its own."""
    stranger = seen.raised is not None and not isinstance(seen.raised, SourceError)
    return stranger or isinstance(seen.error, PluginFault)


def _raise_strange(seen: Seen, data: bytes, where: str) -> None:
    shown = data[:64].hex(" ") + (" …" if len(data) > 64 else "")
    raised = seen.raised if seen.raised is not None else seen.error
    what = f"the importer raises {type(raised).__name__}: {raised}"
    todo = "Raise DamagedFile where bytes contradict the format, Refused where they can be read in more ways than one."
    raise Failure(f"{what}\nit begins with: {shown}", where=where, todo=todo) from seen.raised


def _wounded(subject: Subject, sample: Sample) -> Iterator[bytes]:
    """Yield random files: noise behind the signature, bytes changed, parts left out, doubled and appended."""
    dice = random.Random(len(sample.content))  # noqa: S311 - the same files each time
    content, signature = sample.content, _signature(subject, sample)
    for _ in range(RANDOM_FILES // 4):
        at, end = sorted((dice.randrange(len(content)), dice.randrange(len(content))))
        noise = dice.randbytes(dice.randrange(_MOST_RANDOM))
        yield signature + noise
        yield content[:at] + noise[:8] + content[at:]
        yield content[:at] + content[end:]
        changed = bytearray(content[: 1 << 16])
        for _ in range(dice.randint(1, 4)):
            changed[dice.randrange(len(changed))] = dice.randrange(256)
        yield bytes(changed)


def _signature(subject: Subject, sample: Sample) -> bytes:
    """Return the shortest beginning of a sample that the importer still claims above its name."""
    head = sample.head().data
    for length in range(len(head)):
        if subject.importer.recognise(sample.head(head[:length])) > Claim.NAME:
            return head[:length]
    return head
