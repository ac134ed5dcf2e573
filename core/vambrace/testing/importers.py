"""The class that an importer's author inherits from, and the checks that it runs."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import Path
from types import MappingProxyType
from typing import ClassVar, TypeAlias

from vambrace.plugin import Importer
from vambrace.testing.conduct_checks import closes_its_handles, raises_only_the_errors_of_the_door, writes_nothing
from vambrace.testing.cut_checks import stands_a_cut_at_every_byte
from vambrace.testing.failure import Failure
from vambrace.testing.foreign import Foreign, foreign_files
from vambrace.testing.recognition_checks import (
    declares_its_options,
    describes_itself,
    knows_its_samples,
    leaves_foreign_bytes_alone,
)
from vambrace.testing.row_checks import (
    keeps_the_row_law,
    names_known_signals_and_units,
    numbers_records_rising,
    reads_the_same_in_any_pieces,
    reads_twice_the_same,
)
from vambrace.testing.sample import Sample, Subject, samples_of

ImporterCheck: TypeAlias = Callable[[Subject], None]

IMPORTER_CHECKS = MappingProxyType(
    {
        check.__name__: check
        for check in (
            describes_itself,
            declares_its_options,
            knows_its_samples,
            leaves_foreign_bytes_alone,
            keeps_the_row_law,
            names_known_signals_and_units,
            numbers_records_rising,
            stands_a_cut_at_every_byte,
            reads_twice_the_same,
            reads_the_same_in_any_pieces,
            writes_nothing,
            closes_its_handles,
            raises_only_the_errors_of_the_door,
        )
    }
)
"""Every check of an importer by its name; each takes a Subject and raises Failure."""


class ImporterConformance:
    """The tests of an importer: inherit, and say which importer and which samples.

        class TestMyFormat(ImporterConformance):
            importer = MyImporter()
            samples = (Path("sample.bin"), Sample(b"...", "walk.bin", options={"year": "2031"}, values=12))

    `samples` are good files of the format, at least one of at most 4,096 bytes. `foreign` adds bytes of other formats
    to those that the kit has. A format without an end mark whose rows do not end with a line feed overrides
    `at_row_end`. It costs a few seconds.
    """

    importer: ClassVar[Importer]
    samples: ClassVar[Sequence[Sample | Path | bytes]] = ()
    foreign: ClassVar[Sequence[Foreign]] = ()

    def at_row_end(self, data: bytes) -> bool:
        """Say whether these first bytes of a sample end with a row's end; only asked where there is no end mark."""
        return data.endswith(b"\n")

    def subject(self) -> Subject:
        """Return what the checks look at; raise Failure where the class does not say it."""
        importer = getattr(self, "importer", None)
        if importer is None or isinstance(importer, type):
            todo = "Write `importer = MyImporter()`, an instance, in the class that inherits from ImporterConformance."
            raise Failure("there is no importer to check", where=type(self).__name__, todo=todo)
        own = str(getattr(importer, "name", ""))
        foreign = (*foreign_files(own), *(each for each in self.foreign if each.format != own))
        return Subject(importer, samples_of(self.samples), self.at_row_end, foreign)

    def test_describes_itself(self) -> None:
        """Run the check of that name."""
        describes_itself(self.subject())

    def test_declares_its_options(self) -> None:
        """Run the check of that name."""
        declares_its_options(self.subject())

    def test_knows_its_samples(self) -> None:
        """Run the check of that name."""
        knows_its_samples(self.subject())

    def test_leaves_foreign_bytes_alone(self) -> None:
        """Run the check of that name."""
        leaves_foreign_bytes_alone(self.subject())

    def test_keeps_the_row_law(self) -> None:
        """Run the check of that name."""
        keeps_the_row_law(self.subject())

    def test_names_known_signals_and_units(self) -> None:
        """Run the check of that name."""
        names_known_signals_and_units(self.subject())

    def test_numbers_records_rising(self) -> None:
        """Run the check of that name."""
        numbers_records_rising(self.subject())

    def test_stands_a_cut_at_every_byte(self) -> None:
        """Run the check of that name."""
        stands_a_cut_at_every_byte(self.subject())

    def test_reads_twice_the_same(self) -> None:
        """Run the check of that name."""
        reads_twice_the_same(self.subject())

    def test_reads_the_same_in_any_pieces(self) -> None:
        """Run the check of that name."""
        reads_the_same_in_any_pieces(self.subject())

    def test_writes_nothing(self) -> None:
        """Run the check of that name."""
        writes_nothing(self.subject())

    def test_closes_its_handles(self) -> None:
        """Run the check of that name."""
        closes_its_handles(self.subject())

    def test_raises_only_the_errors_of_the_door(self) -> None:
        """Run the check of that name."""
        raises_only_the_errors_of_the_door(self.subject())
