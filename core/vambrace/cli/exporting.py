"""The command `export`."""

from __future__ import annotations

from pathlib import Path

import click

from vambrace.cli.texts import counted, safe, say


@click.command(short_help="Hand a table to any analysis tool.")
@click.argument("dataset", type=click.Path(path_type=Path), metavar="DATASET")
@click.option(
    "--to",
    "target",
    required=True,
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="The file to write; its suffix (.parquet, .csv, .arrow) names the format.",
)
@click.option(
    "--table",
    default="samples",
    show_default=True,
    metavar="NAME",
    help="samples, files, recordings, channels, set_aside, events, findings, position, or a signal.",
)
@click.option("--wide", is_flag=True, help="One row for each recording and time, and a column for each signal.")
@click.option("--signal", "signals", multiple=True, metavar="NAME", help="Only this signal; may be given again.")
@click.option("--since", default="", metavar="TIME", help="Only from this instant on, such as 2031-03-04T09:00:00Z.")
@click.option("--until", default="", metavar="TIME", help="Only before this instant.")
def export(
    dataset: Path, target: Path, table: str, wide: bool, signals: tuple[str, ...], since: str, until: str
) -> None:
    """Hand a table of a dataset to any analysis tool.

    Samples are one row each: recording, signal, time (UTC), value, unit, quality and more. A signal's own table, and
    `position`, name their value columns by signal and unit. Values only, without quality and flags, stand in --wide.

    \b
    vambrace export study-ds --to samples.parquet
    vambrace export study-ds --to heart.csv --table heart_rate \\
      --since 2031-03-04T09:00:00Z
    vambrace export study-ds --to ledger.csv --table files
    """
    from vambrace.output import open_dataset

    opened = open_dataset(dataset)
    rows = opened.export(target, table=table, wide=wide, signal=signals, since=since, until=until)
    say(f"{safe(str(target))}: {counted(rows, 'row')} of {table}{', wide' if wide else ''}")
