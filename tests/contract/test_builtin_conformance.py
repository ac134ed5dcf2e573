"""Every importer and writer that ships with Vambrace passes the conformance kit."""

from __future__ import annotations

from pathlib import Path

from fit_reading import small
from vambrace.testing import Foreign, ImporterConformance, Sample
from vambrace.testing.foreign import foreign_paths
from vambrace_plugins.importers.csv import CsvImporter, Options
from vambrace_plugins.importers.fit import FitImporter
from vambrace_plugins.importers.gpx import GpxImporter
from vambrace_plugins.importers.tcx import TcxImporter

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
DEMO = Path(__file__).resolve().parents[2] / "core" / "vambrace" / "demo" / "data"
EVERY: tuple[Foreign, ...] = (
    *foreign_paths(FIXTURES, "csv", "csv/*.[ct]sv", "csv/spreadsheet/*.[ct]sv"),
    *foreign_paths(FIXTURES, "gpx", "gpx/*.gpx"),
    *foreign_paths(FIXTURES, "tcx", "tcx/*.tcx"),
    *foreign_paths(FIXTURES, "", "**/*.md", "**/*.sh"),
    Foreign("small.fit", small(), "fit"),
)


class TestFit(ImporterConformance):
    importer = FitImporter()
    samples = (Sample(small(), "small.fit"), DEMO / "band-A" / "session.fit")
    foreign = EVERY


class TestGpx(ImporterConformance):
    importer = GpxImporter()
    samples = tuple(Sample(path, zone="UTC") for path in sorted(FIXTURES.glob("gpx/*.gpx")))
    foreign = EVERY


class TestTcx(ImporterConformance):
    importer = TcxImporter()
    samples = (Sample(FIXTURES / "tcx" / "laps-and-pauses.tcx", zone="Europe/Berlin"),)
    foreign = EVERY


class TestCsv(ImporterConformance):
    importer = CsvImporter()
    samples = (
        Sample(FIXTURES / "csv" / "epoch-and-total.csv", options=Options(counting="total")),
        FIXTURES / "csv" / "two-devices.csv",
    )
    foreign = EVERY

    def at_row_end(self, data: bytes) -> bool:
        return data.endswith((b"\n", b"\r"))
