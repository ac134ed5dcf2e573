"""Reads table-like exports that a mapping file explains: no code, one TOML file."""

from __future__ import annotations

from vambrace_plugins.mapping.importer import MappedImporter, MappingReader
from vambrace_plugins.mapping.load import load
from vambrace_plugins.mapping.model import Mapping

__all__ = ["MappedImporter", "Mapping", "MappingReader", "load"]
