"""The kit for the kit: each check of an importer catches its wrong ones, and lets the right ones pass."""

from __future__ import annotations

import re
from functools import partial
from pathlib import Path
from typing import Any

import pytest

from contract import zoo_claims, zoo_readings
from contract.toy_importer import ROWS, WHOLE, Endless, Toy
from vambrace.testing import IMPORTER_CHECKS, Failure, Foreign, ImporterConformance, Sample, Subject

WRONG = {**zoo_claims.WRONG, **zoo_readings.WRONG}
CASES = [pytest.param(check, wrong, says, id=wrong.__name__) for check, each in WRONG.items() for wrong, says in each]


class TestRight(ImporterConformance):
    """Runs every check on the right importer, as an author does."""

    importer = Toy()
    samples = (Sample(WHOLE, "sample.toy", options={"word": "x"}, values=5), WHOLE)
    foreign = (Foreign("other.toy", b"TOY2\n"),)


class TestRightWithoutEnd(ImporterConformance):
    """Runs every check on the right importer of a format without an end mark."""

    importer = Endless()
    samples = (Sample(ROWS, "sample.toy", values=5),)


def subject_of(importer: Any) -> Subject:
    """Return what an author's class gives for an importer."""

    class Conformance(ImporterConformance):
        samples = (Sample(WHOLE if getattr(importer, "end_mark", True) else ROWS, "sample.toy", values=5),)

    Conformance.importer = importer
    return Conformance().subject()


@pytest.mark.parametrize(("check", "wrong", "says"), CASES)
def test_a_check_catches_its_wrong_importers(check: str, wrong: type, says: str) -> None:
    with pytest.raises(Failure, match=says if "|" in says else re.escape(says)) as caught:
        IMPORTER_CHECKS[check](subject_of(wrong()))
    assert caught.value.what
    assert caught.value.todo
    assert caught.value.todo.endswith(".")


def test_no_check_is_without_a_wrong_importer_and_none_without_a_test() -> None:
    assert set(WRONG) == set(IMPORTER_CHECKS)
    assert all(WRONG.values())
    methods = {name.removeprefix("test_") for name in vars(ImporterConformance) if name.startswith("test_")}
    assert methods == set(IMPORTER_CHECKS)


def noted(ran: list[str], name: str, subject: Subject) -> None:
    ran.append(name)


def test_each_test_runs_the_check_of_its_name(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in IMPORTER_CHECKS:
        ran: list[str] = []
        with monkeypatch.context() as patch:
            for each in IMPORTER_CHECKS:
                patch.setattr(f"vambrace.testing.importers.{each}", partial(noted, ran, each))
            getattr(TestRight(), f"test_{name}")()
        assert ran == [name]


@pytest.mark.parametrize(
    ("samples", "says"),
    [
        ((), "no sample"),
        ((Path("none.toy"),), "no file"),
        ((b"",), "empty"),
        ((Sample(ROWS + b"1700000009,60\n" * 400 + b"END\n", "large.toy"),), "small enough"),
        ((Sample(b"TOY1\nEND\n", "sample.toy"),), "gives no value"),
        ((Sample(ROWS, "sample.toy"),), "cannot be read"),
    ],
)
def test_samples_that_show_nothing_are_refused(samples: Any, says: str) -> None:
    class Conformance(ImporterConformance):
        importer = Toy()

    Conformance.samples = samples
    with pytest.raises(Failure, match=says):
        IMPORTER_CHECKS["stands_a_cut_at_every_byte"](Conformance().subject())


def test_a_class_without_an_importer_is_told_so() -> None:
    class Conformance(ImporterConformance):
        samples = (WHOLE,)

    for importer in (None, Toy):
        Conformance.importer = importer  # type: ignore[assignment]
        with pytest.raises(Failure, match="no importer to check"):
            Conformance().subject()


def test_rows_that_end_everywhere_are_refused() -> None:
    class Conformance(ImporterConformance):
        importer = Endless()
        samples = (Sample(ROWS, "sample.toy"),)

        def at_row_end(self, data: bytes) -> bool:
            return True

    with pytest.raises(Failure, match="bytes end a row"):
        IMPORTER_CHECKS["stands_a_cut_at_every_byte"](Conformance().subject())


def test_foreign_files_of_the_own_format_are_no_others() -> None:
    class Conformance(ImporterConformance):
        importer = Toy()
        samples = (WHOLE,)
        foreign = (Foreign("own.toy", WHOLE, "toy"), Foreign("other.bin", b"other", "other"))

    names = {each.name for each in Conformance().subject().foreign}
    assert "other.bin" in names
    assert "own.toy" not in names
    assert {"empty.bin", "picture.png", "utf-16-le.txt", "packed.zip", "trial.fit", "walk.gpx", "steps.csv"} <= names


@pytest.mark.parametrize("part", ["kept", "absent"])
def test_counts_of_the_core_that_do_not_add_up_are_seen(part: str, monkeypatch: pytest.MonkeyPatch) -> None:
    # The importer cannot bring the core to miscount; the law is held against the core's own mistakes as well.
    from vambrace.pipeline.reading import Reading, read

    def miscounting(*args: Any) -> Reading:
        reading = read(*args)
        tally = next(iter(reading.channels.values()))
        setattr(tally, part, getattr(tally, part) + 1)
        return reading

    monkeypatch.setattr("vambrace.testing.seen.read", miscounting)
    with pytest.raises(Failure, match="5 values were handed over, but"):
        IMPORTER_CHECKS["keeps_the_row_law"](subject_of(Toy()))
