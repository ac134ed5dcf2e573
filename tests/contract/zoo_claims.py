"""Importers that are wrong in what they say of themselves, of their samples and of foreign bytes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any, BinaryIO

from contract.toy_importer import SIGNATURE, Toy, ToyOptions
from vambrace.plugin import Claim, Head, Source

# What it says of itself


class NoVersion(Toy):
    version = ""


class DottedName(Toy):
    name = "toy.reader"


class NoWordOnItsEnd(Toy):
    end_mark = None  # type: ignore[assignment]


class CannotRead:
    name, version, title, Options, end_mark = "toy", "1", "Toy", ToyOptions, True

    def recognise(self, head: Head) -> Claim:
        return Claim.NONE


@dataclass
class Thawed:
    """Options that may change."""

    word: str = field(default="", metadata={"help": "a word"})


@dataclass(frozen=True)
class Helpless:
    """Options without help."""

    word: str = ""


@dataclass(frozen=True)
class Demanding:
    """Options without a default."""

    word: str = field(metadata={"help": "a word"})


@dataclass(frozen=True)
class Unsayable:
    """Options that cannot be said as text."""

    words: tuple[str, ...] = field(default=(), metadata={"help": "words"})


class ThawedOptions(Toy):
    Options = Thawed


class HelplessOptions(Toy):
    Options = Helpless


class DemandingOptions(Toy):
    Options = Demanding


class UnsayableOptions(Toy):
    Options = Unsayable


class DictOptions(Toy):
    Options = dict


# What it claims


class Shy(Toy):
    def recognise(self, head: Head) -> Claim:
        return Claim.NAME


class ClaimsAll(Toy):
    def recognise(self, head: Head) -> Claim:
        return Claim.SIGNATURE


class TrustsNames(Toy):
    def recognise(self, head: Head) -> Claim:
        return Claim.CONTENT if head.suffix == ".toy" else Claim.NONE


class ClaimsText(Toy):
    def recognise(self, head: Head) -> Claim:
        return Claim.SIGNATURE if head.data.startswith(SIGNATURE) else Claim(head.data.isascii() and bool(head.data))


class Stumbles(Toy):
    def recognise(self, head: Head) -> Claim:
        return Claim.SIGNATURE if head.data[4] == 10 and head.data[:3] == b"TOY" else Claim.NONE


class SaysYes(Toy):
    def recognise(self, head: Head) -> Any:
        return head.data.startswith(SIGNATURE)


class ReadsAnything(Toy):
    def rows(self, source: Source, stream: BinaryIO) -> Iterator[tuple[str, str]]:
        yield from ((f"170000000{at}", str(60 + byte % 40)) for at, byte in enumerate(stream.read(3)))


WRONG: dict[str, list[tuple[type, str]]] = {
    "describes_itself": [
        (NoVersion, "no version"),
        (DottedName, "a dot"),
        (NoWordOnItsEnd, "no end_mark"),
        (CannotRead, "lacks something"),
    ],
    "declares_its_options": [
        (ThawedOptions, "not frozen"),
        (HelplessOptions, "no line of help"),
        (DemandingOptions, "no default"),
        (UnsayableOptions, "cannot be said as text"),
        (DictOptions, "no dataclass"),
    ],
    "knows_its_samples": [(Shy, "only with NAME")],
    "leaves_foreign_bytes_alone": [
        (ClaimsAll, "with SIGNATURE"),
        (TrustsNames, "with CONTENT"),
        (ClaimsText, "without a name that suggests it"),
        (Stumbles, "IndexError"),
        (SaysYes, "which is no Claim"),
        (ReadsAnything, "out of the bytes of another format"),
    ],
}
"""The wrong importers of each check, each with words that the check's sentence must hold."""
