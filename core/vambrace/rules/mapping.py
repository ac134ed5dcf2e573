"""Which rule stands behind what reading itself reports: refusals by their code, damages by their words."""

from __future__ import annotations

import re

from vambrace.errors import SourceError, VambraceError
from vambrace.rules.catalogue import RULES
from vambrace.rules.words import Finding

CODES = {
    "no-time-zone": "zone-unknown",
    "unknown-format": "unrecognised",
    "time-unit-contradicts": "unit-suspect",
}
"""Rules for the codes of refusals; any other code is `refused`, or `unrecognised` where the ledger calls it so."""

DAMAGES = (
    (re.compile(r"checksum does not match|checksum is [0-9a-f]{8}|incorrect data check", re.I), "checksum-wrong"),
    (
        re.compile(
            r"breaks off|it is cut|is cut short|never closed|ends inside|premature end|unclosed token|before its end"
            r"|runs beyond the end|the file ends|no element found|that the archive declares are there",
            re.I,
        ),
        "file-cut-short",
    ),
)
"""Rules for the words of a damage, the first that fits; any other damage is `damaged-file`."""


def rule_of(error: SourceError) -> str:
    """Return the rule behind what ended a source."""
    if error.code == "damaged-file":
        return next((rule for words, rule in DAMAGES if words.search(error.what)), "damaged-file")
    return CODES.get(error.code, "unrecognised" if error.status == "unrecognised" else "refused")


def refusal(error: SourceError, path: str = "") -> Finding:
    """Return the finding for what ended a source; one that names a unit or a zone is still an error: it is not read."""
    rule = rule_of(error)
    severity = RULES["refused"].severity if error.status == "rejected" else RULES[rule].severity
    message = str(VambraceError(error.what, todo=error.todo))
    return Finding(rule, severity, message, path, where=error.where or None)
