"""The command `validate`."""

from __future__ import annotations

import click

from vambrace.cli.options import as_json, how_to_read, ignoring, parsed
from vambrace.cli.texts import document, say


@click.command(short_help="Find what is wrong with files or a dataset.")
@click.argument("paths", nargs=-1, required=True, metavar="PATH...")
@how_to_read
@ignoring("Do not look at what matches, such as '*.tmp' or 'drafts/'.")
@click.option("--rules", metavar="FILE", help="Thresholds that replace those of the catalogue, as TOML.")
@click.option(
    "--fail-on",
    type=click.Choice(["error", "warning", "note"]),
    default="error",
    show_default=True,
    help="The least severity that makes the exit status 1.",
)
@click.option("--repair", is_flag=True, help="Build the derived tables of a dataset anew, and nothing else.")
@as_json
def validate(
    paths: tuple[str, ...],
    zone: str | None,
    options: tuple[str, ...],
    mappings: tuple[str, ...],
    ignore: tuple[str, ...],
    rules: str | None,
    fail_on: str,
    repair: bool,
    as_json: bool,
) -> int:
    """Find what is wrong with files, folders, archives or a dataset; nothing is converted.

    Of a file: whether it is whole, would be read rightly, and holds what makes sense. Of a dataset: whether it keeps
    its contract, to the last row. docs/rules.md says of every rule what it means, why it matters and what to do.

    Exit status: 0 no error was found, 1 an error was found (see --fail-on), 2 it could not run.

    \b
    vambrace validate ring.csv strap.fit
    vambrace validate study-ds --fail-on warning
    """
    from vambrace.api import find_faults, worse_than
    from vambrace.cli.validation import validation_text

    found = find_faults(
        list(paths),
        rules=rules,
        zone=zone,
        options=parsed(options),
        mappings=mappings,
        ignore=ignore,
        repair=repair,
    )
    say(document(found.to_dict()) if as_json else validation_text(found))
    return 1 if worse_than(found, fail_on) else 0
