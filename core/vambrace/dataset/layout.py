"""Where what stands in a dataset's folder."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

DOCUMENT = "vambrace.json"
PACKAGE = "datapackage.json"
SOURCES, SAMPLES, ASIDE, SUPERSEDED, TABLES_FOLDER = "sources", "samples", "aside", "superseded", "tables"
FOLDERS = (SOURCES, SAMPLES, ASIDE, SUPERSEDED, TABLES_FOLDER)

RECORD, SHARD, OLD_ASIDE = ".json", ".parquet", ".aside.parquet"
"""How the names of records, of shards and of superseded files of rows set aside end, after the key."""


@dataclass(frozen=True, slots=True)
class Layout:
    """The paths of a dataset."""

    folder: Path

    @property
    def document(self) -> Path:
        """Return the path of the file that marks a dataset."""
        return self.folder / DOCUMENT

    @property
    def package(self) -> Path:
        """Return the path of the Frictionless descriptor."""
        return self.folder / PACKAGE

    def table(self, name: str) -> Path:
        """Return the path of a derived table."""
        return self.folder / TABLES_FOLDER / f"{name}.parquet"

    def record(self, key: str, *, superseded: bool = False) -> Path:
        """Return the path of a commit record."""
        return self.folder / (SUPERSEDED if superseded else SOURCES) / f"{key}{RECORD}"

    def shard(self, key: str, *, superseded: bool = False) -> Path:
        """Return the path of a source's samples."""
        return self.folder / (SUPERSEDED if superseded else SAMPLES) / f"{key}{SHARD}"

    def aside(self, key: str, *, superseded: bool = False) -> Path:
        """Return the path of a source's rows set aside."""
        return self.folder / (f"{SUPERSEDED}/{key}{OLD_ASIDE}" if superseded else f"{ASIDE}/{key}{SHARD}")
