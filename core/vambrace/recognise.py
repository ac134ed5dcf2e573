"""Asks every importer about a source's name and first bytes; picks one or refuses."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from vambrace.errors import AmbiguousFormat, Refused, UnknownFormat
from vambrace.plugin import Claim, Head, Importer


@dataclass(frozen=True, slots=True)
class Verdict:
    """Which importer reads a source, how strongly it claims it, and what was odd about the question."""

    importer: Importer
    claim: Claim
    notes: tuple[str, ...] = ()


def recognise(head: Head, importers: Iterable[Importer]) -> Verdict:
    """Return the importer with the strongest claim.

    Raise `Refused` for an empty source, `UnknownFormat` without any claim, `AmbiguousFormat` for a tie.
    """
    if head.size == 0:
        raise Refused("empty-file", "the file is empty", todo="Export it again, or delete it")
    claims, notes = _ask(head, importers)
    strongest = max((claim for _, claim in claims), default=Claim.NONE)
    if strongest == Claim.NONE:
        raise UnknownFormat(
            f"no importer claims it; it begins with {_shown(head.data)}",
            todo="If it holds measurements, it needs an importer plugin (vambrace plugins lists what is installed); "
            "if not, leave it out with --ignore",
        )
    winners = [importer for importer, claim in claims if claim == strongest]
    if len(winners) > 1:
        names = " and ".join(sorted(importer.name for importer in winners))
        raise AmbiguousFormat(
            f"the importers {names} claim it with equal strength ({strongest.name.lower()})",
            todo="Uninstall one of the two packages (or leave out one of the two mappings), "
            "or rename the file so that one of them lets go",
        )
    winner = winners[0]
    by_name = [importer.name for importer, claim in claims if claim == Claim.NAME and importer is not winner]
    if strongest > Claim.NAME:
        notes += [f"the name suggests {name}, the content is {winner.name}" for name in sorted(by_name)]
    return Verdict(winner, strongest, tuple(notes))


def claims_of(head: Head, importers: Iterable[Importer]) -> dict[str, str]:
    """Return how strongly each importer claims a source; one that failed when asked says `failed`."""
    installed = sorted(importers, key=lambda each: each.name)
    said = {importer.name: claim.name.lower() for importer, claim in _ask(head, installed)[0]}
    return {each.name: said.get(each.name, "failed") for each in installed}


def _ask(head: Head, importers: Iterable[Importer]) -> tuple[list[tuple[Importer, Claim]], list[str]]:
    claims, notes = [], []
    for importer in importers:
        try:
            claims.append((importer, Claim(importer.recognise(head))))
        except (Exception, SystemExit) as error:
            notes.append(f"the importer {importer.name} failed when asked: {type(error).__name__}: {error}")
    return claims, notes


def _shown(data: bytes) -> str:
    start = data[:12]
    if start.isascii() and start.decode("ascii").isprintable():
        return repr(start.decode("ascii"))
    return f"the bytes {start.hex(' ')}"
