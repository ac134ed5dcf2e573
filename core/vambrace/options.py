"""The options of an importer: a frozen dataclass read as what may be said, and texts read as its values."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from dataclasses import dataclass
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from vambrace.asking import described
from vambrace.errors import VambraceError
from vambrace.plugin import Importer

_YES_NO = {"true": True, "yes": True, "1": True, "false": False, "no": False, "0": False}
_NUMBERS: Mapping[type, str] = {int: "whole number", float: "number"}


@dataclass(frozen=True, slots=True)
class Option:
    """One option as people meet it: what it takes, what it is where nobody says anything, and one line of help."""

    name: str
    takes: str
    default: str
    help: str


@dataclass(frozen=True, slots=True)
class _Kind:
    """What a field of `Options` takes: one of `choices`, or a value of `type`."""

    type: type
    choices: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        if self.choices:
            return " or ".join(self.choices)
        return "yes or no" if self.type is bool else _NUMBERS.get(self.type, "text")

    def read(self, option: str, text: str) -> Any:
        """Return the value that a text means; raise VambraceError where it means none."""
        if self.choices:
            if text not in self.choices:
                raise VambraceError(
                    f"the option {option} is {self.words}, not {text!r}", todo=f"Say {option}={self.choices[0]}"
                )
            return text
        if self.type is bool:
            if text.lower() not in _YES_NO:
                raise VambraceError(f"the option {option} is yes or no, not {text!r}", todo=f"Say {option}=yes or =no")
            return _YES_NO[text.lower()]
        try:
            return self.type(text)
        except ValueError as error:
            what = f"the option {option} takes a {self.words}, not {text!r}"
            raise VambraceError(what, todo=f"Say a {self.words}, as in {option}=60") from error


def options_of(importer: Importer) -> tuple[Option, ...]:
    """Return what may be said to an importer."""
    made = importer.Options()
    kinds = _kinds(importer.Options)
    return tuple(
        Option(each.name, kinds[each.name].words, _shown(getattr(made, each.name)), str(each.metadata.get("help", "")))
        for each in dataclasses.fields(importer.Options)
    )


def _shown(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    return "" if value is None else str(value)


def options_for(importer: Importer, texts: Mapping[str, str]) -> Any:
    """Return the importer's options with these texts read by the types of its fields.

    Raise VambraceError for an option that it does not have, or a text that does not fit.
    """
    kinds = _kinds(importer.Options)
    values: dict[str, Any] = {}
    for name, text in texts.items():
        if name not in kinds:
            known = ", ".join(f"{importer.name}.{each}" for each in kinds) or "none"
            raise VambraceError(f"the importer {importer.name} has no option {name!r}", todo=f"Its options: {known}")
        values[name] = kinds[name].read(f"{importer.name}.{name}", text)
    try:
        return importer.Options(**values)
    except ValueError as error:
        what = f"an option of {importer.name} does not fit: {error}"
        raise VambraceError(what, todo="Give another value, or leave it out") from error


def fault_of(options: Any) -> str:
    """Return why a class cannot be an importer's options, "" where it can."""
    name = getattr(options, "__name__", "Options")
    if not dataclasses.is_dataclass(options) or not isinstance(options, type):
        return f"{name} is no dataclass"
    if not options.__dataclass_params__.frozen:  # type: ignore[attr-defined]
        return f"{name} is a dataclass that can be changed; make it frozen"
    try:
        options()
        _kinds(options)
    except Exception as error:
        return f"{name} cannot be used: {described(error)}"
    return ""


def _kinds(options: type) -> dict[str, _Kind]:
    hints = get_type_hints(options)
    return {each.name: _kind(each.name, hints[each.name]) for each in dataclasses.fields(options)}


def _kind(name: str, hint: Any) -> _Kind:
    """Return what a field takes, from its annotation; raise TypeError for a type that no text can give."""
    if get_origin(hint) in (Union, UnionType):
        rest = [each for each in get_args(hint) if each is not NoneType]
        hint = rest[0] if len(rest) == 1 else hint
    if get_origin(hint) is Literal and all(isinstance(each, str) for each in get_args(hint)):
        return _Kind(str, get_args(hint))
    if hint in (str, int, float, bool):
        return _Kind(hint)
    raise TypeError(f"the option {name} is of the type {hint}; str, int, float, bool and Literal texts can be said")
