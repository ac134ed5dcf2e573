"""Writes `docs/rules.md` anew from the catalogue: `python tests/release/write_rules_page.py`."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from vambrace.rules import GROUPS, RULES, Rule, Threshold
from vambrace.rules.suspecting import BANDS
from vambrace.schema import SIGNALS

PAGE = Path(__file__).resolve().parents[2] / "docs" / "rules.md"

_HEAD = f"""# Validation rules

`vambrace validate PATH...` and `vambrace.validate(path)` look for faults in files, folders, archives and datasets by
these {len(RULES)} rules; nothing is converted. `vambrace convert` judges what it reads by the same rules and keeps the
findings in the table `findings`; a source that is rejected stands with its reason in the table `files` instead. The
`quality` of a sample never depends on a finding.

An *error* is what cannot be right or cannot be read, a *warning* what probably is not right, a *note* what is worth
knowing. `validate` ends with status 1 where an error is found (`--fail-on warning`: where anything as bad as that is
found), 0 where none is, and 2 where it could not run. A word that is no rule of this page is a note of the importer
that read the file. `--json` prints one document, described by [validation.schema.json](validation.schema.json).

Every sample rule judges one signal of one recording. Those in the order of the file see the rows as they stand there,
those in the order of time see them sorted. All faults of a file are found in one pass; none hides another, but behind a
damage that cannot be read over nothing can be seen.

## Other thresholds
A threshold is a number that a rule compares with. `--rules FILE` gives others, as TOML; what it does not name stays.
One with a number for every signal is set under the rule, one whose unit depends on the signal under rule and signal:

```toml
[gap]
factor = 5

[rate-of-change.heart_rate]
per_s = 20
```

The output says which thresholds were not those of this page. A rule that has no threshold for a signal does not judge
it until a rules file gives one. *Common practice* and *our own choice* mean that no publication was found to follow.

This page is written from `vambrace.rules` by `python tests/release/write_rules_page.py`; a test holds it current.
"""

_SUSPECT = """
What `unit-suspect` takes for what: nearly all values (`share`) have a size in the band. Both halves of a fix must look
like radians, since all of that square is open sea. Speed and distance are also held against each other and against the
positions: `km/h`, `mi/h` and knots for m/s, and km for m, are known by the ratio, within `tolerance`. Feet for metres
are seen only above 9,000 m: below, nothing contradicts them. The bands are our own choice, no source: what people's
devices show in the other unit, as far as they hardly ever show it in this one; a rules file cannot change them.
"""


def page() -> str:
    """Return the whole page as text."""
    parts = [_HEAD]
    for title, rules in GROUPS.items():
        parts.append(f"\n## {title}\n")
        parts += [part for rule in rules for part in _rule(rule)]
    return "".join(parts)


def _rule(rule: Rule) -> Iterator[str]:
    yield f"\n### {rule.name}\n*{rule.severity}*. {rule.meaning}\n\n*Why it matters:* {rule.matters}\n\n"
    yield f"*What to do:* {rule.todo}\n"
    if rule.thresholds:
        yield _table(
            ("threshold", "unit", "number", "source"), [row for each in rule.thresholds for row in _rows(each)]
        )
    if rule.name == "unit-suspect":
        bands = [(name, band) for name, several in BANDS.items() for band in several]
        rows = [
            (f"`{name}`", f"`{SIGNALS[name].unit}`", f"{band.low:.10g} to {band.high:.10g}", band.seen)
            for name, band in bands
        ]
        yield _SUSPECT + _table(("signal", "unit", "size", "looks like"), rows)


def _rows(threshold: Threshold) -> Iterator[tuple[str, ...]]:
    if threshold.default is not None:
        yield f"`{threshold.name}`", threshold.unit, f"{threshold.default:g}", threshold.source
    for signal, number in threshold.by_signal.items():
        unit = threshold.unit.replace("the signal's unit", f"`{SIGNALS[signal].unit}`")
        yield f"`{threshold.name}` of `{signal}`", unit, f"{number:g}", threshold.source


def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> str:
    lines = [head, ("---",) * len(head), *rows]
    return "\n" + "".join(f"| {' | '.join(line)} |\n" for line in lines)


def main() -> None:
    """Write the page."""
    PAGE.write_text(page(), "utf-8", newline="\n")
    print(f"{PAGE.name}: {len(RULES)} rules")


if __name__ == "__main__":
    main()
