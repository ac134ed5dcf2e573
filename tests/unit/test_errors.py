"""Errors: three parts, the status for the ledger, and the way between processes."""

from __future__ import annotations

import pickle

import pytest

from vambrace import errors
from vambrace.errors import (
    DamagedFile,
    NoTimeZone,
    Reason,
    Refused,
    Rejected,
    SourceError,
    UnknownFormat,
    VambraceError,
)

# contract, set_aside: the closed list of reasons.
REASONS = {
    "outside-domain",
    "no-time",
    "time-ambiguous",
    "time-nonexistent",
    "time-implausible",
    "not-a-number",
    "half-a-fix",
    "not-worn",
    "unknown-code",
}


def test_message_says_where_what_and_what_to_do_as_sentences() -> None:
    error = VambraceError("it breaks off", where="byte 12", todo="Export it again!")
    assert str(error) == "byte 12: it breaks off. Export it again!"
    assert str(VambraceError("it breaks off")) == "it breaks off."


def test_reasons_are_the_closed_list() -> None:
    assert {reason.value for reason in Reason} == REASONS


def test_rejected_refuses_a_reason_outside_the_list() -> None:
    with pytest.raises(ValueError, match="too-odd"):
        Rejected("heart_rate", 1, "too-odd", "300")


@pytest.mark.parametrize(
    ("error", "status", "code"),
    [
        (UnknownFormat("no importer claims it"), "unrecognised", "unknown-format"),
        (DamagedFile("it breaks off", where="byte 9", todo="Copy it again"), "rejected", "damaged-file"),
        (NoTimeZone("local times"), "rejected", "no-time-zone"),
        (Refused("two-readings", "day or month first"), "rejected", "two-readings"),
        (Refused("no-columns", "no column is known", unrecognised=True), "unrecognised", "no-columns"),
    ],
)
def test_source_errors_keep_their_words_between_processes(error: SourceError, status: str, code: str) -> None:
    again = pickle.loads(pickle.dumps(error))
    assert type(again) is type(error)
    assert (again.status, again.code, str(again)) == (status, code, str(error))
    assert (again.what, again.where, again.todo) == (error.what, error.where, error.todo)


def test_every_source_error_has_a_code_of_its_own() -> None:
    kinds = [kind for kind in vars(errors).values() if isinstance(kind, type) and issubclass(kind, SourceError)]
    codes = [kind.code for kind in kinds if kind is not Refused]
    assert len(codes) == len(set(codes)) > 6
