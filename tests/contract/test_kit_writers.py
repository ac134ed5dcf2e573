"""The kit for the kit: each check of a writer catches its wrong ones, and lets the right one pass."""

from __future__ import annotations

import re
from functools import partial

import pyarrow as pa
import pytest

from contract.zoo_writers import WRONG, Right
from vambrace.testing import WRITER_CHECKS, Failure, WriterConformance, WriterSubject

CASES = [pytest.param(check, wrong, says, id=wrong.__name__) for check, each in WRONG.items() for wrong, says in each]


class TestRight(WriterConformance):
    """Runs every check on the right writer, as an author does."""

    writer = Right()


def subject_of(writer: Right) -> WriterSubject:
    """Return what an author's class gives for a writer."""

    class Conformance(WriterConformance):
        pass

    Conformance.writer = writer
    return Conformance().subject()


@pytest.mark.parametrize(("check", "wrong", "says"), CASES)
def test_a_check_catches_its_wrong_writers(check: str, wrong: type[Right], says: str) -> None:
    with pytest.raises(Failure, match=re.escape(says)) as caught:
        WRITER_CHECKS[check](subject_of(wrong()))
    assert caught.value.todo.endswith(".")


def test_no_check_is_without_a_wrong_writer_and_none_without_a_test() -> None:
    assert set(WRONG) == set(WRITER_CHECKS)
    assert all(WRONG.values())
    methods = {name.removeprefix("test_") for name in vars(WriterConformance) if name.startswith("test_")}
    assert methods == set(WRITER_CHECKS)


def noted(ran: list[str], name: str, subject: WriterSubject) -> None:
    ran.append(name)


def test_each_test_runs_the_check_of_its_name(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in WRITER_CHECKS:
        ran: list[str] = []
        with monkeypatch.context() as patch:
            for each in WRITER_CHECKS:
                patch.setattr(f"vambrace.testing.writers.{each}", partial(noted, ran, each))
            getattr(TestRight(), f"test_{name}")()
        assert ran == [name]


def test_a_class_without_a_writer_is_told_so() -> None:
    class Conformance(WriterConformance):
        pass

    for writer in (None, Right):
        Conformance.writer = writer  # type: ignore[assignment]
        with pytest.raises(Failure, match="no writer to check"):
            Conformance().subject()


def test_a_format_that_the_kit_cannot_read_asks_for_a_reader() -> None:
    class Other(Right):
        suffixes = (".other",)

    with pytest.raises(Failure, match=r"no reader for \.other"):
        WRITER_CHECKS["writes_nulls"](subject_of(Other()))


def test_an_author_names_a_reader_of_another_format() -> None:
    class Other(Right):
        suffixes = (".other",)

    class Conformance(WriterConformance):
        writer = Other()

        def read_back(self, data: bytes, schema: pa.Schema, suffix: str) -> pa.Table:
            return super().read_back(data, schema, ".arrow")

    for check in WRITER_CHECKS.values():
        check(Conformance().subject())
