"""The command `draft-mapping`."""

from __future__ import annotations

import shlex
from pathlib import Path

import click


@click.command("draft-mapping", short_help="Draft a mapping file for an unfamiliar table.")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option(
    "--to",
    "target",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="The mapping file to write; by default here, under the export's name, with the suffix .toml.",
)
@click.option("--overwrite", is_flag=True, help="Write over a file that is there already.")
def draft_mapping(file: Path, target: Path | None, overwrite: bool) -> None:
    """Draft a mapping file that explains an unfamiliar table: CSV, JSON, JSON Lines, XML or a spreadsheet.

    What the export shows is filled in, with what speaks for it. What it does not show, such as a unit or a time zone,
    is an open question: a value that begins with "?". The mapping does not load before you have answered them all.

    \b
    vambrace draft-mapping minutes.csv
    vambrace draft-mapping nights.json --to ring.toml
    """
    from vambrace.cli.texts import counted, safe, say
    from vambrace.scaffold import draft_mapping as run

    draft = run(file, target, overwrite=overwrite)
    n = len(draft.questions)
    lines = f" ({'lines' if n > 1 else 'line'} {', '.join(map(str, draft.questions))})" if n else ""
    say(safe(f"{draft.path}: a draft for {file}, with {counted(n, 'open question')}{lines}"))
    if n:
        say('Answer each value that begins with "?" in it, check the others, and see what it reads:')
    else:
        say("Check what it says, and see what it reads:")
    say(safe(f"$ vambrace inspect {shlex.quote(str(file))} --mapping {shlex.quote(str(draft.path))}"))
