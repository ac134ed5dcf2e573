"""The command `convert`."""

from __future__ import annotations

from pathlib import Path

import click

from vambrace.cli.options import as_json, how_to_read, ignoring, parsed


@click.command()
@click.argument("sources", nargs=-1, required=True, metavar="SOURCE...")
@click.option(
    "--to",
    "target",
    required=True,
    metavar="DATASET",
    type=click.Path(path_type=Path),
    help="The dataset's folder; new, or one to add to.",
)
@how_to_read
@ignoring("List, but do not read, what matches, such as '*.tmp' or 'drafts/'.")
@click.option("--salvage", is_flag=True, help="Of a damaged file keep what stands before the damage, as `partial`.")
@click.option(
    "--jobs", type=click.IntRange(min=1), metavar="N", help="Processes to read with; by default as many as pay."
)
@as_json
def convert(
    sources: tuple[str, ...],
    target: Path,
    zone: str | None,
    options: tuple[str, ...],
    mappings: tuple[str, ...],
    ignore: tuple[str, ...],
    salvage: bool,
    jobs: int | None,
    as_json: bool,
) -> int:
    """Convert files, folders and archives into one dataset.

    What is in the dataset already and would come out the same is left as it is; what is new or would change is read.
    Nothing beside the dataset is written, and no source is ever changed.

    Exit status: 0 done, 1 done but a source was rejected (the rest is converted), 2 it could not run.

    \b
    vambrace convert exports/ --to study-ds --zone Atlantic/Azores
    vambrace convert band.zip ring.csv --to study-ds --ignore '*.tmp'
    """
    from vambrace.api import convert as run
    from vambrace.cli.progress import reporting
    from vambrace.cli.summary import summary_text
    from vambrace.cli.texts import document, say

    chosen = parsed(options)
    with reporting() as tell:
        summary = run(
            sources,
            target,
            zone=zone,
            options=chosen,
            ignore=ignore,
            jobs=jobs,
            salvage=salvage,
            mappings=mappings,
            progress=tell,
        )
    say(document(summary.to_dict()) if as_json else summary_text(summary))
    return 1 if summary.rejected else 0
