"""Recognition: the strongest claim wins, a tie is refused, nobody's crash is another's."""

from __future__ import annotations

import pytest

from vambrace.errors import AmbiguousFormat, Refused, UnknownFormat
from vambrace.plugin import Claim, Head
from vambrace.recognise import recognise


class Asked:
    """Answers as told."""

    def __init__(self, name: str, answer: Claim | BaseException) -> None:
        self.name, self.answer = name, answer

    def recognise(self, head: Head) -> Claim:
        if isinstance(self.answer, BaseException):
            raise self.answer
        return self.answer


HEAD = Head("walk.fit", b"\x0e\x10.FIT", 100)


def ask(*importers: Asked) -> object:
    return recognise(HEAD, importers)  # type: ignore[arg-type]


def test_the_strongest_claim_wins_and_a_contradicting_name_is_noted() -> None:
    verdict = recognise(HEAD, [Asked("a", Claim.NAME), Asked("b", Claim.SIGNATURE)])  # type: ignore[list-item]
    assert (verdict.importer.name, verdict.claim) == ("b", Claim.SIGNATURE)
    assert verdict.notes == ("the name suggests a, the content is b",)


def test_a_name_alone_is_enough_where_nobody_claims_more() -> None:
    verdict = recognise(HEAD, [Asked("a", Claim.NAME), Asked("b", Claim.NONE)])  # type: ignore[list-item]
    assert (verdict.importer.name, verdict.notes) == ("a", ())


def test_a_tie_names_both_and_the_way_out() -> None:
    with pytest.raises(AmbiguousFormat, match=r"a and b.*signature.*Uninstall"):
        ask(Asked("b", Claim.SIGNATURE), Asked("a", Claim.SIGNATURE))


def test_no_claim_shows_the_first_bytes() -> None:
    with pytest.raises(UnknownFormat, match=r"the bytes 0e 10 2e"):
        ask(Asked("a", Claim.NONE))
    with pytest.raises(UnknownFormat, match="begins with 'hello, world'"):
        recognise(Head("x", b"hello, world and more", 21), [])


def test_an_empty_file_is_refused_before_anyone_is_asked() -> None:
    with pytest.raises(Refused, match="empty") as caught:
        recognise(Head("x.fit", b"", 0), [])
    assert (caught.value.code, caught.value.status) == ("empty-file", "rejected")


def test_an_importer_that_raises_is_noted_and_costs_nobody_else() -> None:
    importers = [Asked("bad", ValueError("boom")), Asked("good", Claim.CONTENT)]
    verdict = recognise(HEAD, importers)  # type: ignore[arg-type]
    assert verdict.importer.name == "good"
    assert verdict.notes == ("the importer bad failed when asked: ValueError: boom",)


def test_an_importer_that_ends_the_process_is_noted_too() -> None:
    importers = [Asked("bad", SystemExit(1)), Asked("good", Claim.CONTENT)]
    assert recognise(HEAD, importers).importer.name == "good"  # type: ignore[arg-type]


def test_an_answer_that_is_no_claim_counts_as_a_fault() -> None:
    with pytest.raises(UnknownFormat):
        ask(Asked("odd", 17))  # type: ignore[arg-type]
