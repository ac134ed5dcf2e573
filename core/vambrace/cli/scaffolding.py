"""The command `new-importer`."""

from __future__ import annotations

from pathlib import Path

import click


@click.command("new-importer", short_help="Write the project of a new importer.")
@click.argument("name", metavar="NAME")
@click.option(
    "--into",
    default=".",
    metavar="FOLDER",
    type=click.Path(path_type=Path),
    help="Where the project's folder is made; by default here.",
)
def new_importer(name: str, into: Path) -> None:
    """Write a working project that teaches Vambrace another export, as a package of its own.

    The project vambrace-NAME holds an importer of a small example format, its options, a sample and tests that pass.
    Put your own format in the example's place. NAME takes small letters, digits and hyphens; a folder that is there
    already is never overwritten.

    \b
    vambrace new-importer loom-log
    vambrace new-importer loom-log --into ~/projects
    """
    from vambrace.cli.texts import counted, safe, say
    from vambrace.scaffold import new_importer as run

    files = run(name, into)
    project = into / f"vambrace-{name}"
    say(safe(f"{project}: {counted(len(files), 'file')} written; install and test it:"))
    say(safe(f"$ cd {project}"))
    say("$ python -m pip install --no-build-isolation -e '.[test]'")
    say("$ python -m pytest")
    say("Then put your own format in the example's place; README.md says where.")
