"""What an importer says of itself, of its samples and of foreign bytes."""

from __future__ import annotations

import dataclasses
import types
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from vambrace.errors import SourceError
from vambrace.plugin import Claim, Head, Importer
from vambrace.testing.failure import Failure
from vambrace.testing.sample import Sample, Subject, head_of
from vambrace.testing.seen import see

__tracebackhide__ = True  # pytest then shows where the check was called, and its sentence

_NEUTRAL = "unnamed"
_MOST_READ = 1 << 16


def describes_itself(subject: Subject) -> None:
    """Hold that the importer has a name, a version, a title and a word on its end mark, as the door asks."""
    importer = subject.importer
    for what, kind in (("name", str), ("version", str), ("title", str), ("end_mark", bool)):
        value = getattr(importer, what, None)
        if not isinstance(value, kind) or value == "":
            said = "has no" if value is None or value == "" else f"has {value!r} for its"
            todo = f"Give the class a line `{what} = ...` with a {kind.__name__}."
            raise Failure(f"the importer {said} {what}", where=type(importer).__name__, todo=todo)
    if not isinstance(importer, Importer):
        todo = "Write `recognise(self, head)` and `read(self, source)`, and name the class of its `Options`."
        raise Failure("the importer lacks something that every importer has", where=type(importer).__name__, todo=todo)
    if set(subject.name) & set(". =\n"):
        todo = "Use letters, digits and dashes: --option NAME.OPTION=VALUE must be readable."
        raise Failure(f"the importer's name {subject.name!r} has a dot, a blank or an equals sign", todo=todo)


def declares_its_options(subject: Subject) -> None:
    """Hold that `Options` is a frozen dataclass of plain fields, each with a default and a line of help."""
    options = subject.importer.Options
    where = f"{type(subject.importer).__name__}.Options"
    if not (isinstance(options, type) and dataclasses.is_dataclass(options)):
        raise Failure(f"{options!r} is no dataclass", where=where, todo="Put @dataclass(frozen=True) above the class.")
    if not options.__dataclass_params__.frozen:  # type: ignore[attr-defined]
        todo = "Write @dataclass(frozen=True): options are part of what names a result, and may not change."
        raise Failure("the dataclass is not frozen", where=where, todo=todo)
    hints = get_type_hints(options)
    for each in dataclasses.fields(options):
        field_where = f"{where}.{each.name}"
        if each.default is dataclasses.MISSING and each.default_factory is dataclasses.MISSING:
            todo = "Give it one: a user who says nothing must be served, or refused with a sentence, by `read`."
            raise Failure("the option has no default", where=field_where, todo=todo)
        if not _is_plain(hints[each.name]):
            todo = "Use str, int, float, bool or a Literal of texts, each perhaps with None."
            raise Failure(f"the option's type {hints[each.name]} cannot be said as text", where=field_where, todo=todo)
        said = each.metadata.get("help", "")
        if not isinstance(said, str) or not said.strip() or "\n" in said:
            todo = 'Write field(default=..., metadata={"help": "one line that says what it does"}).'
            raise Failure("the option has no line of help", where=field_where, todo=todo)


def _is_plain(hint: Any) -> bool:
    if hint in (str, int, float, bool):
        return True
    if get_origin(hint) is Literal:
        return all(isinstance(each, str) for each in get_args(hint))
    if get_origin(hint) in (Union, types.UnionType):
        return all(_is_plain(each) for each in get_args(hint) if each is not type(None))
    return False


def knows_its_samples(subject: Subject) -> None:
    """Hold that the importer claims each of its samples more strongly than by the name alone."""
    for sample in subject.samples:
        claim = _claim(subject, sample.head())
        if claim <= Claim.NAME:
            todo = "Let `recognise` look at head.data for what no other format has, and return Claim.SIGNATURE."
            what = f"the importer claims its own sample only with {claim.name}"
            raise Failure(what, where=sample.file_name, todo=todo)


def leaves_foreign_bytes_alone(subject: Subject) -> None:
    """Hold that bytes of other formats are not claimed, by their name alone at most, and give no value."""
    for each in subject.foreign:
        unnamed = _claim(subject, head_of(_NEUTRAL, each.data))
        if unnamed != Claim.NONE:
            todo = "Let `recognise` look for something that only its own format has."
            what = f"the importer claims the bytes of {each.name} with {unnamed.name}, without a name that suggests it"
            raise Failure(what, where=each.name, todo=todo)
        for name in dict.fromkeys((each.name, *(sample.file_name for sample in subject.samples))):
            claim = _claim(subject, head_of(name, each.data))
            if claim > Claim.NAME:
                todo = "Where only the name fits, return Claim.NAME; better still, nothing."
                what = f"the importer claims the bytes of {each.name}, called {name}, with {claim.name}"
                raise Failure(what, where=name, todo=todo)
            if claim and len(each.data) <= _MOST_READ:
                _gives_nothing(subject, Sample(each.data, name) if each.data else None)


def _gives_nothing(subject: Subject, sample: Sample | None) -> None:
    """Hold that foreign bytes of a fitting name give no value."""
    if sample is None:
        return
    seen = see(subject, sample)
    if seen.reading.kept:
        what = f"the importer reads {seen.reading.kept} values out of the bytes of another format"
        todo = "Let `read` begin by looking for the format's own mark, and raise DamagedFile or Refused without it."
        raise Failure(what, where=sample.file_name, todo=todo)


def _claim(subject: Subject, head: Head) -> Claim:
    """Ask the importer; raise Failure for an answer that is no claim."""
    try:
        said = subject.importer.recognise(head)
    except Exception as error:
        what = f"`recognise` raises {type(error).__name__}: {error}"
        kind = "a refusal" if isinstance(error, SourceError) else "an error"
        todo = f"Return a Claim for any bytes, however short or odd; {kind} has its place in `read`."
        raise Failure(what, where=f"{head.name}, {head.size} bytes", todo=todo) from error
    if not isinstance(said, Claim):
        todo = "Return Claim.NONE, .NAME, .CONTENT or .SIGNATURE."
        raise Failure(f"`recognise` returns {said!r}, which is no Claim", where=head.name, todo=todo)
    return said
