"""Reads tables of text: CSV and its relatives."""

from __future__ import annotations

from vambrace_plugins.importers.csv.importer import CsvImporter
from vambrace_plugins.importers.csv.options import Options

__all__ = ["CsvImporter", "Options"]
