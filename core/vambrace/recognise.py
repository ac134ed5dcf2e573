"""Asks every importer about a source's name and first bytes; picks one or refuses."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from vambrace.asking import ANSWER_S, Stopped, TimedOut, described, hushed, within
from vambrace.errors import AmbiguousFormat, Refused, UnknownFormat
from vambrace.plugin import Claim, Head, Importer


@dataclass(frozen=True, slots=True)
class Answer:
    """What one importer says of a source; `claim` is None where it failed when asked, and `fault` says how."""

    importer: Importer
    claim: Claim | None
    fault: str = ""


@dataclass(frozen=True, slots=True)
class Verdict:
    """Which importer reads a source, how strongly it claims it, and what was odd about the question."""

    importer: Importer
    claim: Claim
    notes: tuple[str, ...] = ()


_HUNG: list[Importer] = []
"""Importers that did not answer once; in this process they are not asked again."""


def recognise(head: Head, importers: Iterable[Importer]) -> Verdict:
    """Return the importer with the strongest claim.

    Raise `Refused` for an empty source, `UnknownFormat` without any claim, `AmbiguousFormat` for a tie.
    """
    if head.size == 0:
        raise Refused("empty-file", "the file is empty", todo="Export it again, or delete it")
    answers = ask(head, importers)
    strongest, winners = _winners(answers)
    if strongest == Claim.NONE:
        raise UnknownFormat(
            f"no importer claims it; it begins with {_shown(head.data)}",
            todo="If it holds measurements in rows of text, JSON, XML or a spreadsheet, vambrace draft-mapping FILE "
            "begins to explain it without code; if others, vambrace new-importer NAME begins an importer; if none, "
            "leave it out with --ignore",
        )
    if len(winners) > 1:
        names = " and ".join(sorted(importer.name for importer in winners))
        raise AmbiguousFormat(
            f"the importers {names} claim it with equal strength ({strongest.name.lower()})",
            todo=settling(head, winners),
        )
    winner = winners[0]
    notes = [f"the importer {each.importer.name} {each.fault}" for each in answers if each.fault]
    if strongest > Claim.NAME:
        by_name = (each.importer.name for each in answers if each.claim == Claim.NAME)
        notes += [f"the name suggests {name}, the content is {winner.name}" for name in sorted(by_name)]
    return Verdict(winner, strongest, tuple(notes))


def _winners(answers: Iterable[Answer]) -> tuple[Claim, list[Importer]]:
    claims = [(each.importer, each.claim) for each in answers if each.claim is not None]
    strongest = max((claim for _, claim in claims), default=Claim.NONE)
    return strongest, [importer for importer, claim in claims if claim == strongest != Claim.NONE]


def tie_of(head: Head, answers: Iterable[Answer]) -> tuple[list[Importer], str]:
    """Return the importers with the strongest claim, and what would settle it where there are several."""
    _, winners = _winners(answers)
    return winners, settling(head, winners) if len(winners) > 1 else ""


def settling(head: Head, tied: Sequence[Importer]) -> str:
    """Return what would settle a tie between importers: another name for the file, where that helps."""
    if head.suffix:
        bare = replace(head, name=head.name.rpartition(".")[0])
        _, left = _winners(ask(bare, tied))
        if len(left) == 1:
            return (
                f"Without its suffix {head.suffix} only {left[0].name} claims it: rename it so; or uninstall a package"
            )
    return (
        "Uninstall one of the two packages (or leave out one of the two mappings), "
        "or rename the file so that one of them lets go"
    )


def ask(head: Head, importers: Iterable[Importer]) -> list[Answer]:
    """Return what each importer says of a source; one that fails or hangs costs nobody else an answer."""
    waiting = list(importers)
    said: list[Answer] = []
    while waiting:
        now: list[Answer] = []
        try:
            # Hushed here: a thread that is left behind must not hold the streams of the process.
            with hushed(lambda *_: None):
                within(ANSWER_S, partial(_ask_all, head, waiting, now), now.__len__)
            return said + now
        except TimedOut:
            known = now.copy()
        late = waiting[len(known)]
        _HUNG.append(late)
        said += [*known, Answer(late, None, f"did not answer within {ANSWER_S:g} s, and is not asked again")]
        waiting = waiting[len(known) + 1 :]
    return said


def _ask_all(head: Head, importers: Iterable[Importer], to: list[Answer]) -> None:
    for importer in importers:
        to.append(_answer(head, importer))


def _answer(head: Head, importer: Importer) -> Answer:
    if any(importer is each for each in _HUNG):
        return Answer(importer, None, "was not asked, since it did not answer before")
    try:
        return Answer(importer, Claim(importer.recognise(head)))
    except Stopped:
        raise
    except BaseException as error:
        return Answer(importer, None, f"failed when asked: {described(error)}")


def _shown(data: bytes) -> str:
    start = data[:12]
    if start.isascii() and start.decode("ascii").isprintable():
        return repr(start.decode("ascii"))
    return f"the bytes {start.hex(' ')}"
