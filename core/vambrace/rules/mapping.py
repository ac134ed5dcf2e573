"""Which rule stands behind what reading itself reports: refusals by their code, damages by their words."""

from __future__ import annotations

import re

from vambrace.errors import SourceError, VambraceError
from vambrace.rules.catalogue import RULES
from vambrace.rules.words import Finding, Severity

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


def finding_of(error: SourceError) -> Finding:
    """Return the finding for what ended a source."""
    message = str(VambraceError(error.what, todo=error.todo))
    return finding_of_code(error.code, error.status, error.what, message, error.where or None)


def finding_of_code(code: str, status: str, what: str, message: str, where: str | None = None) -> Finding:
    """Return the finding for a source that was not read, by its code, its status in the ledger and its words.

    Where it was rejected that is an error, even if the rule by itself says less.
    """
    if code == "damaged-file":
        rule = next((rule for words, rule in DAMAGES if words.search(what)), "damaged-file")
    else:
        rule = CODES.get(code, "unrecognised" if status == "unrecognised" else "refused")
    severity = RULES[rule].severity if status == "unrecognised" else Severity.ERROR
    return Finding(rule, severity, message, where=where)
