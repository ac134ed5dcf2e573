"""The importers that mapping files make."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from typing import ClassVar

from vambrace.plugin import Claim, DamagedFile, Event, Head, Recording, Refused, Rejected, Source, SourceBatch
from vambrace_plugins.importers.csv.roworder import by_row_order
from vambrace_plugins.mapping.load import load
from vambrace_plugins.mapping.mapped import Mapped
from vambrace_plugins.mapping.model import Mapping
from vambrace_plugins.mapping.recognising import claim_of
from vambrace_plugins.mapping.records import Records
from vambrace_plugins.mapping.refusals import in_words_of, said_by_mapping

VERSION = "1"


@dataclass(frozen=True, slots=True)
class NoOptions:
    """A mapping needs no options: it says all itself."""


class MappedImporter:
    """Reads the exports that one mapping explains."""

    Options: ClassVar[type] = NoOptions

    def __init__(self, mapping: Mapping) -> None:
        """Take a mapping that was loaded; its text is part of the version, so that a changed one converts again."""
        self.mapping = mapping
        self.name, self.title = mapping.name, mapping.title
        self.version = f"{VERSION}+{mapping.digest[:16]}"
        self.end_mark = mapping.layout.kind in {"json", "xml", "xlsx"}

    def recognise(self, head: Head) -> Claim:
        """Claim a source for which all holds that the mapping says of how the export is known."""
        return claim_of(self.mapping, head)

    def read(self, source: Source) -> Iterator[SourceBatch | Rejected | Event | Recording]:
        """Yield the rows of an export; raise Refused for what the mapping does not settle."""
        if self.mapping.time.repeated_hour:
            for item in by_row_order(source, self._read):
                yield said_by_mapping(item) if isinstance(item, Recording) else item
        else:
            yield from self._read(source)

    def _read(self, source: Source) -> Iterator[SourceBatch | Rejected | Recording]:
        try:
            with ExitStack() as open_:
                yield from self._items(source, records_of(source, self.mapping, open_))
        except Refused as error:
            raise in_words_of(self.mapping, error) from None

    def _items(self, source: Source, records: Records) -> Iterator[SourceBatch | Rejected | Recording]:
        missing = [name for name in self.mapping.fields if name not in records.names]
        if missing:
            raise self._without(missing[0], records)
        if len({*records.names} & {*self.mapping.constants}):
            name = next(name for name in records.names if name in self.mapping.constants)
            what = f'the constant "{name}" has the name of a field of the export'
            raise self.mapping.refusal("mapping-field", ("constants", name), what, "Give it another name")
        mapped = Mapped(source, self.mapping, records.names, records.delimiter)
        fault: DamagedFile | Refused | None = None
        try:
            yield from mapped.batches(records.blocks())
        except (DamagedFile, Refused) as error:
            fault = error
        for name, n in records.left.items():
            mapped.not_carried[name] = mapped.not_carried.get(name, 0) + n
        complete = records.complete if fault is None else None
        yield from mapped.about(complete=complete, sentences=records.sentences)
        if fault is not None:
            raise fault

    def _without(self, name: str, records: Records) -> Refused:
        """Return the refusal of an export that lacks a field of the mapping."""
        place = next(
            (
                place
                for place, line in sorted(self.mapping.lines.items(), key=lambda pair: pair[1])
                if self._names(place, name)
            ),
            ("time",),
        )
        has = ", ".join(f'"{each[:40]}"' for each in records.names[:8])
        more = ", …" if len(records.names) > 8 else ""
        what = f'the export has no field "{name}" (it has {has}{more})'
        return self.mapping.refusal("mapping-field", place, what, "Write the field's name as the export does")

    def _names(self, place: tuple[str | int, ...], name: str) -> bool:
        mapping = self.mapping
        if place[0] == "signals" and len(place) == 3 and place[2] == "field":
            return mapping.signals[int(place[1])].field == name
        if "where" in place and place[-1] == name:
            return True
        table = {"time": mapping.time, "device": mapping.device}.get(str(place[0]))
        return len(place) == 2 and table is not None and getattr(table, str(place[1]), None) == name


def records_of(source: Source, mapping: Mapping, open_: ExitStack) -> Records:
    """Return the rows of a source, as its kind has them; what is opened is closed with the stack."""
    kind = mapping.layout.kind
    if kind == "csv":
        from vambrace_plugins.mapping.textrecords import TextRecords

        return TextRecords(source, open_.enter_context(source.open()), mapping)
    if kind == "json":
        from vambrace_plugins.mapping.jsonrecords import JsonRecords

        return JsonRecords(source, mapping)
    if kind == "jsonl":
        from vambrace_plugins.mapping.jsonrecords import JsonLines

        return JsonLines(source, open_.enter_context(source.open()), mapping)
    if kind == "xml":
        from vambrace_plugins.mapping.xmlrecords import XmlRecords

        return XmlRecords(source, mapping)
    from vambrace_plugins.mapping.sheetrecords import SheetRecords

    return SheetRecords(source, mapping, open_)


class MappingReader:
    """Makes importers of mapping files."""

    name = "mapping"
    version = VERSION
    title = "Tables that a mapping file explains: CSV, JSON, JSON Lines, XML, XLSX (--mapping FILE)"

    def explained_by(self, file: str, text: str) -> MappedImporter:
        """Return the importer that a mapping file makes; raise Refused for a wrong file."""
        return MappedImporter(load(file, text))

    def drafted(self, source: Source, taken: frozenset[str]) -> str:
        """Return the draft of a mapping file, of no name that is taken; raise Refused where no rows are seen."""
        from vambrace_plugins.mapping.drafts import draft

        return draft(source, taken=taken)
