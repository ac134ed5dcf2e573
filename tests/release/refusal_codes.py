"""Finds the codes of refusals in the source, and where one is raised without a way on."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

TAKES_CODE = {"Refused": 0, "Fault": 0, "_no_unit": 2, "refusal": 0, "in_words_of": 9}
"""What takes the code of a refusal, and at which place among its arguments."""
_ERRORS = {
    *("Refused", "DamagedFile", "HostileFile", "NoTimeZone", "PluginFault", "UnknownFormat", "AmbiguousFormat"),
    *("SourceError", "VambraceError"),
}


@dataclass(frozen=True)
class Site:
    """A call that makes an error or a fault; `inside` names the function around it."""

    place: str
    inside: str
    node: ast.Call

    @property
    def name(self) -> str:
        """Return what is called."""
        called = self.node.func
        return called.id if isinstance(called, ast.Name) else called.attr if isinstance(called, ast.Attribute) else ""

    @property
    def code(self) -> ast.expr | None:
        """Return the argument that is the code, where there is one."""
        at = TAKES_CODE.get(self.name)
        return None if at is None or len(self.node.args) <= at else self.node.args[at]

    @property
    def todo(self) -> bool:
        """Say whether the call names a way on; that of a fault stands behind its first sentence."""
        if self.name == "Fault":
            return ". " in ast.unparse(self.node.args[1])
        said = [each.value for each in self.node.keywords if each.arg == "todo"]
        return bool(said) and not any(isinstance(each, ast.Constant) and not each.value for each in said)


def _trees() -> Iterator[tuple[str, ast.Module]]:
    for top in ("core", "plugins"):
        for path in sorted((ROOT / top).rglob("*.py")):
            yield path.relative_to(ROOT).as_posix(), ast.parse(path.read_text("utf-8"))


@cache
def sites() -> tuple[Site, ...]:
    """Return every call in the source that makes an error of the project, or takes a code."""
    return tuple(site for place, tree in _trees() for site in _within(tree, place, ""))


def _within(around: ast.AST, place: str, inside: str) -> Iterator[Site]:
    for node in ast.iter_child_nodes(around):
        if isinstance(node, ast.Call):
            site = Site(f"{place}:{node.lineno}", inside, node)
            if site.name in {*_ERRORS, *TAKES_CODE}:
                yield site
        yield from _within(node, place, node.name if isinstance(node, ast.FunctionDef) else inside)


def without_way_on() -> list[str]:
    """Return where an error is made that names no way on."""
    return sorted({site.place for site in sites() if site.name in {*_ERRORS, "Fault"} and not site.todo})


def unknown_codes() -> list[str]:
    """Return where a code is handed on that is no text, outside the functions whose callers give it."""
    return sorted(
        {
            f"{site.place} in {site.inside}"
            for site in sites()
            if site.code is not None and not isinstance(site.code, ast.Constant) and site.inside not in TAKES_CODE
        }
    )


def codes_in_source() -> set[str]:
    """Return the codes that the source gives to refusals: at a call, or as `code = ...` of a class of errors."""
    called = {str(site.code.value) for site in sites() if isinstance(site.code, ast.Constant)}
    tree = dict(_trees())["core/vambrace/errors.py"]
    return called | {code for node in tree.body if isinstance(node, ast.ClassDef) for code in _class_codes(node)}


def _class_codes(node: ast.ClassDef) -> list[str]:
    assigned = [each for each in node.body if isinstance(each, ast.Assign)]
    return [
        str(each.value.value)
        for each in assigned
        if ast.unparse(each.targets[0]) == "code" and isinstance(each.value, ast.Constant)
    ]
