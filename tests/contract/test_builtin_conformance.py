"""Every importer and writer that ships with Vambrace passes the conformance kit."""

from __future__ import annotations

from pathlib import Path

from fit_reading import small
from foreign_exports import EVERY
from vambrace.testing import ImporterConformance, Sample, WriterConformance
from vambrace_plugins.importers.csv import CsvImporter, Options
from vambrace_plugins.importers.fit import FitImporter
from vambrace_plugins.importers.gpx import GpxImporter
from vambrace_plugins.importers.tcx import TcxImporter
from vambrace_plugins.writers.arrow import ArrowWriter
from vambrace_plugins.writers.csv import CsvWriter
from vambrace_plugins.writers.parquet import ParquetWriter

FIXTURES = Path(__file__).resolve().parents[2] / "fixtures"
DEMO = Path(__file__).resolve().parents[2] / "core" / "vambrace" / "demo" / "data"


TCX = (FIXTURES / "tcx" / "laps-and-pauses.tcx").read_bytes()


def one_lap() -> bytes:
    """Return the first lap of the fixture with all that stands in it, and the device; small enough to be cut."""
    first, _, rest = TCX.partition(b'      <Lap StartTime="2031-03-04T09:00:20Z">')
    creator = rest[rest.index(b"      <Creator") : rest.index(b"    </Activity>")]
    return first + creator + b"    </Activity>\n  </Activities>\n</TrainingCenterDatabase>\n"


class TestFit(ImporterConformance):
    importer = FitImporter()
    samples = (
        Sample(small(), "small.fit"),
        Sample(small(), "small.fit", options={"developer_fields": "native"}),
        DEMO / "band-A" / "session.fit",
    )
    foreign = EVERY


class TestGpx(ImporterConformance):
    importer = GpxImporter()
    samples = (
        Sample(FIXTURES / "gpx" / "extensions.gpx", zone="UTC"),
        Sample(FIXTURES / "gpx" / "version-1.0.gpx", values=8),
        DEMO / "watch-C" / "walk.gpx",
    )
    foreign = EVERY


class TestTcx(ImporterConformance):
    importer = TcxImporter()
    samples = (Sample(one_lap(), "one-lap.tcx"), DEMO / "watch-C" / "to_the_workshop.tcx")
    foreign = EVERY


class TestCsv(ImporterConformance):
    importer = CsvImporter()
    samples = (
        Sample(FIXTURES / "csv" / "epoch-and-total.csv", options=Options(counting="total"), values=4),
        Sample(FIXTURES / "csv" / "two-devices.csv", values=3),
        Sample(FIXTURES / "csv" / "steps-per-interval.csv", values=4),
        Sample(FIXTURES / "csv" / "semicolon-decimal-comma.csv", zone="Atlantic/Azores", values=6),
        Sample(FIXTURES / "csv" / "spreadsheet-utf-16.tsv", values=4),
    )
    foreign = EVERY

    def at_row_end(self, data: bytes) -> bool:
        if data.startswith(b"\xff\xfe"):
            return len(data) % 2 == 0 and data.decode("utf-16").endswith(("\n", "\r"))
        return data.endswith((b"\n", b"\r"))


class TestParquetWriter(WriterConformance):
    writer = ParquetWriter()


class TestArrowWriter(WriterConformance):
    writer = ArrowWriter()


class TestCsvWriter(WriterConformance):
    writer = CsvWriter()
    keeps_metadata = False
