"""Lists the plugins that are installed."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict

from vambrace import registry
from vambrace.options import options_of
from vambrace.output.summary import PluginRow


def plugins() -> list[PluginRow]:
    """Return every importer and writer: where it came from, and why it is not used where it is not."""
    return [
        PluginRow(each.kind, each.name, each.title, each.package, each.version, each.fault, _options(each))
        for each in registry.load().installed
    ]


def _options(each: registry.Installed) -> tuple[Mapping[str, str], ...]:
    if each.kind != "importer" or each.item is None:
        return ()
    return tuple(asdict(option) for option in options_of(registry.load().importer(each.name)))
