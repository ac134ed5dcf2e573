"""Exports of the formats that are read, as bytes that every other importer must leave alone."""

from __future__ import annotations

from pathlib import Path

from fit_reading import small
from vambrace.testing import Foreign, foreign_paths

FIXTURES = Path(__file__).resolve().parents[1] / "fixtures"
EVERY: tuple[Foreign, ...] = (
    *foreign_paths(FIXTURES, "csv", "csv/*.[ct]sv", "csv/spreadsheet/*.[ct]sv"),
    *foreign_paths(FIXTURES, "gpx", "gpx/*.gpx"),
    *foreign_paths(FIXTURES, "tcx", "tcx/*.tcx"),
    *foreign_paths(FIXTURES, "", "**/*.md", "**/*.sh"),
    Foreign("small.fit", small(), "fit"),
)
