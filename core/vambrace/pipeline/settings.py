"""What changes a value or an instant of a source, and so belongs to its key."""

from __future__ import annotations

import dataclasses
from collections.abc import Mapping
from typing import Any

from vambrace import clock
from vambrace.plugin import Importer

CONVERSION_VERSION = "1"
"""Raised with every change of the core that changes a value or an instant."""


def settings_of(
    importer: Importer | None, options: Any, zone: str | None, zone_needed: bool, salvage: bool, damaged: bool
) -> dict[str, Any]:
    """Return the settings of a source as plain JSON values.

    The zone (with the version of the zone data) stands there only if the source needed one, salvage only if the
    source is damaged: a setting that could not matter does not make anything convert again.
    """
    settings: dict[str, Any] = {"core": CONVERSION_VERSION}
    if importer is not None:
        settings |= {"importer": importer.name, "importer_version": importer.version}
        settings["options"] = declared_options(options)
    if zone_needed:
        settings |= {"zone": zone, "zone_data": clock.zone_data_version()}
    if damaged:
        settings["salvage"] = salvage
    return settings


def declared_options(options: Any) -> dict[str, Any]:
    """Return the options that differ from their defaults, as plain JSON values."""
    changed = {}
    for each in dataclasses.fields(options) if dataclasses.is_dataclass(options) else ():
        value = getattr(options, each.name)
        if value != each.default:
            changed[each.name] = value if isinstance(value, bool | int | float | str) or value is None else str(value)
    return changed


def still_holds(
    known: Mapping[str, Any], importer: Importer | None, options: Any, zone: str | None, salvage: bool
) -> bool:
    """Say whether a source converted under the known settings would give the same under today's."""
    today = settings_of(importer, options, zone, "zone" in known, salvage, "salvage" in known)
    return dict(known) == today
