"""The program: its commands, and what becomes of an error."""

from __future__ import annotations

import io
import sys
from importlib.metadata import version

import click

from vambrace.cli import converting, demo, drafting, exporting, inspecting, installed, scaffolding, validating
from vambrace.cli.texts import safe, say
from vambrace.errors import VambraceError

_CONTEXT = {"help_option_names": ["-h", "--help"], "max_content_width": 100}


@click.group(context_settings=_CONTEXT)
@click.version_option(version("vambrace"), message="%(prog)s %(version)s")
@click.option("--debug", is_flag=True, expose_value=False, help="Show the traceback of an error; fits any command.")
def app() -> None:
    """Read mixed exports of wearable devices into one tidy, validated, traceable dataset.

    FIT, GPX, TCX and CSV files, in folders and archives, become canonical signals in canonical units and UTC. Every
    file ends in the ledger with a status and a reason; every value is kept, set aside with a reason, or counted as
    absent; every conversion is recorded.

    \b
    Begin with the demo:     vambrace demo
    Then with your files:    vambrace convert FOLDER --to DATASET
    Look at one file:        vambrace inspect FILE

    Vambrace is no medical device and diagnoses nobody.
    """


_COMMANDS = (
    converting.convert,
    inspecting.inspect,
    validating.validate,
    exporting.export,
    installed.plugins,
    drafting.draft_mapping,
    scaffolding.new_importer,
    demo.demo,
)
for _command in _COMMANDS:
    app.add_command(_command)


def main() -> None:
    """Run the program and end the process with its status."""
    arguments = [each for each in sys.argv[1:] if each != "--debug"]
    sys.exit(run(arguments, debug=len(arguments) < len(sys.argv) - 1))


def run(arguments: list[str], *, debug: bool = False) -> int:
    """Run a command and return its status: 0 done, 1 a source was rejected, 2 it could not run."""
    try:
        # Not app.main: it would turn a reader that has gone into status 1, which means a rejected source here.
        with app.make_context("vambrace", arguments) as context:
            status = app.invoke(context)
        return status if isinstance(status, int) else 0
    except click.exceptions.Exit as end:
        return end.exit_code
    except click.ClickException as error:
        _misused(error)
        return 2
    except (click.Abort, KeyboardInterrupt):
        say("\nStopped. What was committed before stands; run the command again to go on.", err=True)
        return 130
    except BrokenPipeError:
        # The reader of a help text has seen enough.
        return 0
    except SystemExit as end:
        # Nothing of ours ends the program so; its status would tell of work that was not done.
        say(f"vambrace: a plugin ended the program (with {end.code!r}) before its work was done.", err=True)
        return 2
    except VambraceError as error:
        if debug:
            raise
        say(f"vambrace: {safe(str(error))}", err=True)
        return 2
    except Exception as error:
        if debug:
            raise
        what = safe(f"{type(error).__name__}: {error}")
        todo = "Run it again with --debug and report what it shows."
        say(f"vambrace: it failed for a reason of its own ({what}). {todo}", err=True)
        return 2


def _misused(error: click.ClickException) -> None:
    """Say how a command is used, and what was wrong."""
    shown = io.StringIO()
    error.show(file=shown)
    for line in shown.getvalue().rstrip("\n").split("\n"):
        say(safe(line), err=True)
