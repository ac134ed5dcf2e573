"""The importers and writers that ship with Vambrace, through the same door as anyone's."""

from __future__ import annotations

from collections.abc import Sequence

from vambrace.plugin import Writer, hookimpl


@hookimpl
def vambrace_importers() -> Sequence[object]:
    """Return the built-in importers, and what makes importers of mapping files."""
    from vambrace_plugins.importers.csv import CsvImporter
    from vambrace_plugins.importers.fit import FitImporter
    from vambrace_plugins.importers.gpx import GpxImporter
    from vambrace_plugins.importers.tcx import TcxImporter
    from vambrace_plugins.mapping import MappingReader

    return (FitImporter(), GpxImporter(), TcxImporter(), CsvImporter(), MappingReader())


@hookimpl
def vambrace_writers() -> Sequence[Writer]:
    """Return the built-in writers."""
    from vambrace_plugins.writers.arrow import ArrowWriter
    from vambrace_plugins.writers.csv import CsvWriter
    from vambrace_plugins.writers.parquet import ParquetWriter

    return (ParquetWriter(), CsvWriter(), ArrowWriter())
