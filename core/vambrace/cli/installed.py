"""The command `plugins`."""

from __future__ import annotations

import json

import click

from vambrace.cli.options import as_json
from vambrace.cli.texts import columned, width, wrapped


@click.command(short_help="List the importers and writers.")
@as_json
def plugins(as_json: bool) -> None:
    """List the importers and writers that are installed, from which package, and what failed.

    A package adds its own through the entry-point group `vambrace`; one that fails hurts only itself.
    """
    from vambrace.api import plugins as run

    rows = run()
    if as_json:
        click.echo(json.dumps([row.to_dict() for row in rows], ensure_ascii=False, indent=1))
        return
    good = [row for row in rows if not row.fault]
    heads = ("kind", "name", "package")
    table = columned([heads, *((row.kind, row.name, f"{row.package} {row.version}") for row in good)], [False] * 3)
    margin = 2 + max(map(len, table))
    for left, title in zip(table, ["reads or writes", *(row.title for row in good)], strict=True):
        click.echo("\n".join(wrapped(title, width(), " " * margin, f"{left:<{margin}}")))
    for row in rows:
        if row.fault:
            label = f"failed: {row.kind} {row.name} of {row.package} {row.version}: "
            click.echo("\n".join(wrapped(f"{label}{row.fault}", width(), "  ", "")))
