"""The command `inspect`."""

from __future__ import annotations

import click

from vambrace.cli.options import as_json, how_to_read, parsed
from vambrace.cli.texts import document, say


@click.command(short_help="Show what a file holds, and how it would be read.")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@how_to_read
@click.option(
    "--rows",
    type=click.IntRange(min=0),
    default=3,
    show_default=True,
    metavar="N",
    help="Show the first N rows of each signal, and of what is set aside; 0 shows none.",
)
@click.option("--all", "everything", is_flag=True, help="Show every field that is not carried, and every note.")
@as_json
def inspect(
    files: tuple[str, ...],
    zone: str | None,
    options: tuple[str, ...],
    mappings: tuple[str, ...],
    rows: int,
    everything: bool,
    as_json: bool,
) -> None:
    """Show what a file holds, how it would be read, and why; nothing is written.

    Each signal is shown with the field and unit that it has in the file, what was converted, what is set aside, and
    which fields no signal fits (not carried).

    \b
    vambrace inspect ring.csv
    vambrace inspect ring.csv --zone Atlantic/Azores --option csv.counting=total
    """
    from vambrace.api import inspect as run
    from vambrace.cli.inspection import inspection_text

    found = run(files, zone=zone, options=parsed(options), mappings=mappings, rows=rows)
    if as_json:
        say(document([each.to_dict() for each in found]))
        return
    say("\n\n".join(inspection_text(each, everything=everything) for each in found))
