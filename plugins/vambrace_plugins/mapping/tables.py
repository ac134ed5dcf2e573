"""Takes values out of the tables of a TOML document: each key is known, has its type, and is asked for once."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from difflib import get_close_matches
from typing import Any

from vambrace.plugin import Refused
from vambrace_plugins.mapping.model import Place, Word

_NAMES = {str: "a text", int: "a whole number", float: "a number", bool: "true or false", dict: "a table"}


class Text:
    """The text of a mapping: its file's name, and where its keys stand."""

    def __init__(self, file: str, lines: Mapping[Place, int]) -> None:
        self.file, self.lines = file, lines

    def fault(self, place: Place, what: str, todo: str) -> Refused:
        """Return the error of what stands at a place, or of the nearest table around it."""
        line = next((self.lines[place[:n]] for n in range(len(place), 0, -1) if place[:n] in self.lines), 1)
        return Refused("mapping-wrong", what, where=f"{self.file}, line {line}", todo=todo)


class Table:
    """One table of a mapping; what nobody took out of it is unknown."""

    def __init__(self, text: Text, place: Place, values: Mapping[str, Any]) -> None:
        self._text, self.place, self._values = text, place, values
        self._known: list[str] = []

    def fault(self, key: str, what: str, todo: str) -> Refused:
        """Return the error of one key, or of the table where it lacks the key."""
        return self._text.fault((*self.place, key) if key else self.place, what, todo)

    def text(self, key: str, *, needed: str = "") -> str:
        """Return a text, "" where it is not given; `needed` says what it is for where it must be."""
        value = self._take(key, needed)
        if value is None:
            return ""
        if not isinstance(value, str) or (needed and not value.strip()):
            raise self._type(key, "a text", value)
        return value

    def choice(self, key: str, words: Sequence[str], *, needed: str = "") -> str:
        """Return one of the words, "" where it is not given."""
        value = self.text(key, needed=needed)
        if value and value not in words:
            near = get_close_matches(value, words, 1)
            hint = f'Did you mean "{near[0]}"? It is' if near else "Give"
            raise self.fault(key, f'{self._name(key)} cannot be "{value}"', f"{hint} one of {', '.join(words)}")
        return value

    def whole(self, key: str, default: int, least: int) -> int:
        """Return a whole number that is not below the least one."""
        value = self._take(key, "")
        if value is None:
            return default
        if not isinstance(value, int) or isinstance(value, bool) or value < least:
            raise self._type(key, f"a whole number from {least} on", value)
        return value

    def seconds(self, key: str) -> float | None:
        """Return a length of time above 0, or None where it is not given."""
        value = self._take(key, "")
        if value is None:
            return None
        if not isinstance(value, int | float) or isinstance(value, bool) or not 0 < value < float("inf"):
            raise self._type(key, "a number of seconds above 0", value)
        return float(value)

    def texts(self, key: str) -> tuple[str, ...]:
        """Return a text or a list of texts."""
        value = self._take(key, "")
        values = [] if value is None else value if isinstance(value, list) else [value]
        if not all(isinstance(each, str) and each for each in values):
            raise self._type(key, "a text or a list of texts", value)
        return tuple(values)

    def words(self, key: str) -> tuple[Word, ...]:
        """Return a text or number, or a list of them."""
        value = self._take(key, "")
        values = [] if value is None else value if isinstance(value, list) else [value]
        if not all(isinstance(each, str | int | float) for each in values) or (value is not None and not values):
            raise self._type(key, "a text or a number, or a list of them", value)
        return tuple(values)

    def table(self, key: str, *, needed: str = "") -> Table:
        """Return a table inside this one, empty where it is not given."""
        value = self._take(key, needed)
        if value is None:
            value = {}
        if not isinstance(value, dict):
            raise self._type(key, "a table", value)
        return Table(self._text, (*self.place, key), value)

    def members(self, key: str, *, needed: str) -> list[Table]:
        """Return the tables of an array of tables, at least one."""
        value = self._take(key, needed)
        if not isinstance(value, list) or not value or not all(isinstance(each, dict) for each in value):
            raise self._type(key, f"given as [[{key}]], a table for each", value)
        return [Table(self._text, (*self.place, key, at), each) for at, each in enumerate(value)]

    @property
    def names(self) -> list[str]:
        """Return the keys that stand in the table."""
        return list(self._values)

    def end(self) -> None:
        """Raise Refused for a key that is not known here."""
        for key in self._values:
            if key not in self._known:
                near = get_close_matches(key, self._known, 1)
                hint = f"Did you mean {near[0]}? " if near else ""
                where = f"[{'.'.join(str(part) for part in self.place if isinstance(part, str))}]" if self.place else ""
                what = f'"{key}" is no key {f"of {where}" if where else "of a mapping"}'
                raise self.fault(key, what, f"{hint}Its keys are {', '.join(self._known)}")

    def _take(self, key: str, needed: str) -> Any:
        self._known.append(key)
        value = self._values.get(key)
        if value is None and needed:
            raise self.fault("", f"{self._name(key)} is missing: {needed}", f"Add {key} = … there")
        self._refuse_question(key, value)
        return value

    def _refuse_question(self, key: str, value: Any) -> None:
        """Refuse an answer that a draft left open: a text that begins with a question mark."""
        for each in value if isinstance(value, list) else [value]:
            if isinstance(each, str) and each.startswith("?"):
                asked = each.lstrip("? ")
                what = f"{self._name(key)} is still an open question{f' ({asked})' if asked else ''}"
                raise self.fault(key, what, f"Answer it: write what {key} is in place of the question mark")

    def _name(self, key: str) -> str:
        names = [str(part) for part in self.place if isinstance(part, str)]
        return ".".join([*names, key])

    def _type(self, key: str, wanted: str, value: Any) -> Refused:
        shown = f'"{value}"' if isinstance(value, str) else _NAMES.get(type(value), "a list")
        what = f"{self._name(key)} must be {wanted}, and is {shown}"
        return self.fault(key, what, f"Write {key} as {wanted}" if not wanted.startswith("given") else "Write it so")
