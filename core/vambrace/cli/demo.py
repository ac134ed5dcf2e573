"""The command `demo`."""

from __future__ import annotations

from pathlib import Path

import click


@click.command(short_help="Copy the invented demo study and convert it.")
@click.argument("folder", required=False, default="vambrace-demo", type=click.Path(path_type=Path))
def demo(folder: Path) -> None:
    """Copy the invented demo study into FOLDER (by default vambrace-demo) and convert it.

    Four coded devices, worn through a morning of walking, carrying, climbing and weaving, in all four formats and
    with the flaws that real exports have: a clock an hour off, a gap, units that differ, one damaged file. That file
    is rejected by design, so the exit status is 0 all the same.

    \b
    vambrace demo
    vambrace demo somewhere/else
    """
    from vambrace.api import convert
    from vambrace.cli.progress import reporting
    from vambrace.cli.summary import summary_text
    from vambrace.cli.texts import counted, safe, say, width, wrapped
    from vambrace.demo import DEMO_TITLE, DEMO_ZONE, copy_demo

    exports, dataset = folder / "exports", folder / "dataset"
    copied = copy_demo(exports)
    say(DEMO_TITLE)
    say(safe(f"{counted(len(copied), 'file')} copied to {exports}, and now:"))
    say(safe(f"$ vambrace convert {exports} --to {dataset} --zone {DEMO_ZONE}"))
    with reporting() as tell:
        summary = convert([exports], dataset, zone=DEMO_ZONE, progress=tell)
    say(summary_text(summary))
    say()
    planted = "One file is damaged on purpose, and two hold what nobody should count; see what became of them:"
    say("\n".join(wrapped(planted, width())))
    say(safe(f"$ vambrace export {dataset} --to set_aside.csv --table set_aside"))
    say(safe(f"$ vambrace inspect {exports}/ring-B/oxygen.csv --zone {DEMO_ZONE}"))
