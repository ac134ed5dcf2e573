"""Teaches Vambrace to read Shuttle and Almanac exports."""

from __future__ import annotations

from collections.abc import Sequence

from vambrace.plugin import Importer, hookimpl


@hookimpl
def vambrace_importers() -> Sequence[Importer]:
    """Return the importers of this package."""
    # Imported here, so that a command that reads nothing does not load them.
    from vambrace_loom.almanac import AlmanacImporter
    from vambrace_loom.shuttle import ShuttleImporter

    return (ShuttleImporter(), AlmanacImporter())
