"""What a plugin's author hands to the kit: samples of the format, and what else belongs to them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from vambrace.plugin import HEAD_BYTES, Head, Importer
from vambrace.registry import options_for
from vambrace.testing.failure import Failure
from vambrace.testing.foreign import Foreign

__tracebackhide__ = True  # pytest then shows where the check was called, and its sentence


MOST_SMALL = 4096
"""Samples of more bytes are not cut at every byte nor wounded, so that the kit stays fast; one at least is smaller."""


@dataclass(frozen=True)
class Sample:
    """A good file of the importer's format: its bytes, or the path of a file with them.

    `name` is how such a file is called; a path has one already. `options` is an instance of the importer's `Options`,
    or texts by name as on the command line. `zone` is where the clocks stood, if the file does not say so. `values`
    is how many values of signals stand in it as a person counts them, absent ones included; the kit holds the
    importer to it.
    """

    data: bytes | Path
    name: str = ""
    options: Any = None
    zone: str | None = None
    values: int | None = None

    @property
    def file_name(self) -> str:
        """Return what the file is called."""
        if self.name:
            return self.name
        return self.data.name if isinstance(self.data, Path) else "sample"

    @property
    def content(self) -> bytes:
        """Return the sample's bytes; raise Failure where there are none."""
        if isinstance(self.data, bytes):
            content = self.data
        elif self.data.is_file():
            content = self.data.read_bytes()
        else:
            raise Failure("a sample is no file", where=str(self.data), todo="Mend the path in `samples`.")
        if not content:
            raise Failure("a sample is empty", where=self.file_name, todo="Give one that holds at least one value.")
        return content

    def head(self, data: bytes | None = None) -> Head:
        """Return what an importer sees of the sample, or of other bytes in a file of its name."""
        return head_of(self.file_name, self.content if data is None else data)

    def options_of(self, importer: Importer) -> Any:
        """Return the options to read the sample with."""
        if self.options is None or isinstance(self.options, Mapping):
            return options_for(importer, self.options or {})
        return self.options


@dataclass(frozen=True)
class Subject:
    """An importer under test with its samples.

    `at_row_end` says of bytes from the beginning of a sample whether a row ends with them. `foreign` are bytes that
    the importer must leave alone.
    """

    importer: Importer
    samples: tuple[Sample, ...]
    at_row_end: Callable[[bytes], bool]
    foreign: tuple[Foreign, ...]

    @property
    def name(self) -> str:
        """Return the importer's name, or that of its class where it has none."""
        return str(getattr(self.importer, "name", type(self.importer).__name__))


def head_of(name: str, data: bytes) -> Head:
    """Return what an importer sees of bytes in a file of this name."""
    return Head(name, data[:HEAD_BYTES], len(data))


def samples_of(given: Iterable[Sample | Path | bytes]) -> tuple[Sample, ...]:
    """Return the samples that an author named; raise Failure where there are none."""
    samples = tuple(each if isinstance(each, Sample) else Sample(each) for each in given)
    if not samples:
        raise Failure(
            "there is no sample to check the importer with", todo="Name one in `samples`, as bytes or a path."
        )
    return samples


def small_samples(subject: Subject) -> list[Sample]:
    """Return the samples of at most 4,096 bytes; raise Failure where there are none."""
    small = [sample for sample in subject.samples if len(sample.content) <= MOST_SMALL]
    if not small:
        sizes = ", ".join(f"{sample.file_name}: {len(sample.content):,} bytes" for sample in subject.samples)
        todo = f"Name a sample of at most {MOST_SMALL:,} bytes as well: a file with a few rows of each kind."
        raise Failure("no sample is small enough to be cut at every byte", where=sizes, todo=todo)
    return small
