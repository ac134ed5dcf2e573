"""Options that several commands share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any, TypeVar

import click

_F = TypeVar("_F", bound=Callable[..., Any])


def how_to_read(command: _F) -> _F:
    """Add the options that say how sources are to be read."""
    zone = click.option(
        "--zone",
        metavar="ZONE",
        help="Where the clocks stood whose times carry no zone: an IANA name such as Atlantic/Azores, or UTC.",
    )
    option = click.option(
        "--option",
        "options",
        multiple=True,
        metavar="IMPORTER.NAME=VALUE",
        help="Set an option of an importer, such as csv.delimiter=';'. A refusal names the option that settles it; "
        "vambrace plugins --options lists them all.",
    )
    mapping = click.option(
        "--mapping",
        "mappings",
        multiple=True,
        metavar="FILE",
        type=click.Path(),
        help="Read unfamiliar tables as this mapping file explains them; may be given several times.",
    )
    return zone(option(mapping(command)))


def ignoring(help: str) -> Callable[[_F], _F]:
    """Return what adds the option that leaves files out by their names."""
    return click.option("--ignore", multiple=True, metavar="PATTERN", help=help)


def parsed(options: Sequence[str]) -> dict[str, dict[str, str]]:
    """Return the texts of `--option` by importer and name; raise click.UsageError for another form."""
    found: dict[str, dict[str, str]] = {}
    for text in options:
        left, equals, value = text.partition("=")
        importer, dot, name = left.partition(".")
        if not (equals and dot and importer and name):
            raise click.UsageError(f"--option {text!r} is not of the form IMPORTER.NAME=VALUE, such as csv.delimiter=;")
        if name in found.get(importer, {}):
            raise click.UsageError(f"--option {left} is given twice.")
        found.setdefault(importer, {})[name] = value
    return found


as_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON document instead of text.")
