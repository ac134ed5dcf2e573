"""The command `plugins`."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

import click

from vambrace.cli.options import as_json
from vambrace.cli.texts import columned, document, say, width, wrapped

if TYPE_CHECKING:
    from vambrace.output.summary import PluginRow


@click.command(short_help="List the importers and writers.")
@click.option("--options", "with_options", is_flag=True, help="List the options of each importer, and what they take.")
@as_json
def plugins(with_options: bool, as_json: bool) -> None:
    """List the importers and writers that are installed, from which package, and what failed.

    A package adds its own through the entry-point group `vambrace`; one that fails hurts only itself.

    \b
    vambrace plugins
    vambrace plugins --options
    vambrace plugins --json
    """
    from vambrace.api import plugins as run

    rows = run()
    if as_json:
        say(document([row.to_dict() for row in rows]))
        return
    if with_options:
        say("\n".join(_options(rows)))
        return
    good = [row for row in rows if not row.fault]
    heads = ("kind", "name", "package")
    table = columned([heads, *((row.kind, row.name, f"{row.package} {row.version}") for row in good)], [False] * 3)
    margin = 2 + max(map(len, table))
    for left, title in zip(table, ["reads or writes", *(row.title for row in good)], strict=True):
        say("\n".join(wrapped(title, width(), " " * margin, f"{left:<{margin}}")))
    for row in rows:
        if row.fault:
            label = f"failed: {row.kind} {row.name} of {row.package} {row.version}: "
            say("\n".join(wrapped(f"{label}{row.fault}", width(), "  ", "")))


def _options(rows: Sequence[PluginRow]) -> Iterator[str]:
    """Yield each option as it is given on the command line, with what it takes, its default and its help."""
    yield from wrapped("Give them as --option IMPORTER.NAME=VALUE, to convert and inspect alike.", width())
    for row in rows:
        for option in row.options:
            default = f", {option['default']} if not given" if option["default"] else ""
            yield from wrapped(f"{row.name}.{option['name']}  ({option['takes']}{default})", width(), "    ", "")
            yield from wrapped(option["help"], width(), "    ") if option["help"] else ()
