"""The FIT importer's face: what it is called, what it claims, what may be chosen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import ClassVar, Literal

from vambrace.plugin import Claim, Event, Head, Recording, Rejected, Source, SourceBatch


@dataclass(frozen=True, slots=True)
class FitOptions:
    """`developer_fields`: "ignore" counts them as not carried; "native" reads those that stand for a native field."""

    developer_fields: Literal["ignore", "native"] = field(
        default="ignore", metadata={"help": "developer fields that stand for a native field: native reads them"}
    )


class FitImporter:
    """Reads FIT."""

    name = "fit"
    version = "1"
    title = "FIT: records, all-day monitoring, SpO2, RR intervals, beat events, sleep levels, chained files"
    Options: ClassVar[type] = FitOptions
    end_mark = True

    def recognise(self, head: Head) -> Claim:
        """Claim bytes with FIT's signature; by name alone only weakly."""
        if head.data[8:12] == b".FIT":
            return Claim.SIGNATURE.because("bytes 8 to 11 are .FIT")
        return Claim.NAME.because("the name ends with .fit") if head.suffix == ".fit" else Claim.NONE

    def read(self, source: Source) -> Iterator[SourceBatch | Rejected | Event | Recording]:
        """Yield what the source says, one chained file after the other."""
        # The decoder and its profile cost as much to load as NumPy: only a source that is read needs them.
        from vambrace_plugins.importers.fit.reading import read_source

        options = source.options if isinstance(source.options, FitOptions) else FitOptions()
        yield from read_source(source, options.developer_fields == "native")
