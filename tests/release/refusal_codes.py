"""Finds the codes of refusals in the source, and where one is raised without a way on."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

TAKES_CODE = {"Refused": 0, "Fault": 0, "_no_unit": 2}
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
        return self.node.func.id if isinstance(self.node.func, ast.Name) else ""

    @property
    def code(self) -> ast.expr | None:
        """Return the argument that is the code, where there is one."""
        at = TAKES_CODE.get(self.name)
        return None if at is None or len(self.node.args) <= at else self.node.args[at]

    @property
    def todo(self) -> bool:
        """Say whether the call names a way on, or is a fault, whose sentences hold it."""
        said = [each.value for each in self.node.keywords if each.arg == "todo"]
        empty = [each for each in said if isinstance(each, ast.Constant) and not each.value]
        return bool(said and not empty)


def _trees() -> Iterator[tuple[str, ast.Module]]:
    for top in ("core", "plugins"):
        for path in sorted((ROOT / top).rglob("*.py")):
            yield path.relative_to(ROOT).as_posix(), ast.parse(path.read_text("utf-8"))


def sites() -> Iterator[Site]:
    """Yield every call in the source that makes an error of the project, or hands on a code."""
    for place, tree in _trees():
        for around in ast.walk(tree):
            if isinstance(around, ast.FunctionDef):
                for node in ast.walk(around):
                    known = isinstance(node, ast.Call) and isinstance(node.func, ast.Name)
                    if known and node.func.id in {*_ERRORS, *TAKES_CODE}:
                        yield Site(f"{place}:{node.lineno}", around.name, node)


def without_way_on() -> list[str]:
    """Return where an error is made that names no way on."""
    return sorted({site.place for site in sites() if site.name in _ERRORS and not site.todo})


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
