"""Lists the plugins that are installed."""

from __future__ import annotations

from vambrace import registry
from vambrace.output.summary import PluginRow


def plugins() -> list[PluginRow]:
    """Return every importer and writer: where it came from, and why it is not used where it is not."""
    return [
        PluginRow(each.kind, each.name, each.title, each.package, each.version, each.fault)
        for each in registry.load().installed
    ]
