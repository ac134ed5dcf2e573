"""Reads FIT: decoding and meaning apart, so that a faster decoder can take the place of the one behind the wall."""

from __future__ import annotations

from vambrace_plugins.importers.fit.importer import FitImporter

__all__ = ["FitImporter"]
