"""The command `plugins`."""

from __future__ import annotations

import click

from vambrace.cli.options import as_json
from vambrace.cli.texts import columned, document, say, width, wrapped


@click.command(short_help="List the importers and writers.")
@as_json
def plugins(as_json: bool) -> None:
    """List the importers and writers that are installed, from which package, and what failed.

    A package adds its own through the entry-point group `vambrace`; one that fails hurts only itself.

    \b
    vambrace plugins
    vambrace plugins --json
    """
    from vambrace.api import plugins as run

    rows = run()
    if as_json:
        say(document([row.to_dict() for row in rows]))
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
