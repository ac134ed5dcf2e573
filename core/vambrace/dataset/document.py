"""`vambrace.json`: says that a folder is a dataset, of which schema, and whether its tables are up to date."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass, field
from typing import Any

from vambrace.errors import VambraceError
from vambrace.schema import SCHEMA_VERSION

NAME = "vambrace.json"
NEEDS = "0.1.0"
"""The oldest release that reads datasets of our schema version."""


@dataclass(frozen=True, slots=True)
class Document:
    """What `vambrace.json` says.

    `state` is a digest of all commit records of the last rebuild, `generation` counts the rebuilds that changed
    anything, and `tables_current` is False from the first change after a rebuild to the next rebuild.
    """

    schema_version: str = SCHEMA_VERSION
    needs: str = NEEDS
    generation: int = 0
    state: str = ""
    tables_current: bool = False
    settings: Mapping[str, Any] = field(default_factory=dict)

    def to_json(self) -> bytes:
        """Return the file's bytes."""
        text = json.dumps(asdict(self), sort_keys=True, ensure_ascii=False, allow_nan=False, indent=1)
        return text.encode("utf-8", "backslashreplace") + b"\n"


def _checked(document: Document) -> Document:
    kinds = {"schema_version": str, "needs": str, "generation": int, "state": str, "tables_current": bool}
    for name, kind in {**kinds, "settings": dict}.items():
        if not isinstance(getattr(document, name), kind):
            raise TypeError(f"{name} should be {kind.__name__}")
    return document


def document_from_json(data: bytes, where: str) -> Document:
    """Return what the bytes say; raise VambraceError where they are damaged, or of a schema newer than ours."""
    try:
        said = json.loads(data.decode("utf-8"))
        version, needs = int(said["schema_version"]), str(said["needs"])
        if version > int(SCHEMA_VERSION):
            raise VambraceError(
                f"the dataset has schema version {version} and needs vambrace >= {needs}",
                where=where,
                todo="Install that version or a newer one",
            )
        if version < 1:
            raise ValueError(f"there is no schema version {version}")
        return _checked(Document(**said))
    except (ValueError, TypeError, KeyError, RecursionError) as error:
        raise VambraceError(
            f"the file that marks a dataset is damaged: {error!r}",
            where=where,
            todo="Restore it from a copy, or convert the sources into a new dataset",
        ) from error
