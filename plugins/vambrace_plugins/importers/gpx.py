"""Reads GPX 1.1, 1.0 and GPX without a namespace: each track is a recording, each track point a row."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

from lxml import etree

from vambrace.plugin import Claim, DamagedFile, Event, Head, Recording, Rejected, Source, SourceBatch, Times
from vambrace_plugins.importers.pointcolumns import Field, Found, PointColumns, added, count, count_all, prefer
from vambrace_plugins.importers.xmlprolog import head_start
from vambrace_plugins.importers.xmlstream import XmlStream, attributes

_POINT = "gpx/trk/trkseg/trkpt"
_ROWS = frozenset({"trkpt", "rtept", "wpt"})

_DIRECT = {"@lat": ("latitude", "deg"), "@lon": ("longitude", "deg"), "ele": ("altitude", "m")}
# By local name, in any namespace and at any depth of a point's extensions. The schema of the track point extension
# gives the first three their units; those of power are common practice, no source.
_IN_EXTENSIONS = {
    "hr": ("heart_rate", "bpm"),
    "heartrate": ("heart_rate", "bpm"),
    "cad": ("cadence", "/min"),
    "cadence": ("cadence", "/min"),
    "atemp": ("ambient_temperature", "Cel"),
    "power": ("power", "W"),
    "powerinwatts": ("power", "W"),
    "watts": ("power", "W"),
}
_EXTENSION = "TrackPointExtension"
_GPX_NAMESPACES = ("/GPX/1/1", "/GPX/1/0")
_EXTENSION_NAMESPACES = (f"/xmlschemas/{_EXTENSION}/v1", f"/xmlschemas/{_EXTENSION}/v2")
_CYCLING = frozenset({"cycling", "biking"})
_CADENCE_UNKNOWN = "cadence: as written; the file does not say whether strides, steps or revolutions are counted"
_CADENCE_CYCLING = "cadence: taken as revolutions, because the track's type says cycling (common practice)"


@dataclass(frozen=True, slots=True)
class GpxOptions:
    """GPX needs no options."""


class GpxImporter:
    """Reads GPX."""

    name = "gpx"
    version = "1"
    title = "GPX 1.1 and 1.0, with heart rate, cadence, temperature and power from extensions"
    Options: ClassVar[type] = GpxOptions
    end_mark = True

    def recognise(self, head: Head) -> Claim:
        """Claim a document whose root element is gpx; by name alone only weakly."""
        if head_start(head.data).name == "gpx":
            return Claim.SIGNATURE
        return Claim.NAME if head.suffix == ".gpx" else Claim.NONE

    def read(self, source: Source) -> Iterator[SourceBatch | Rejected | Event | Recording]:
        """Yield the track points of each track, its pauses, and what is not carried."""
        stream = XmlStream(source, "gpx", _ROWS)
        tracks = _Tracks(stream)
        try:
            for kind, path, element in stream.parts():
                if kind == "row":
                    if path == _POINT:
                        yield from tracks.point(element)
                    else:
                        tracks.left_over(path, element)
                elif kind == "open":
                    tracks.opened(path, element)
                else:
                    yield from tracks.closed(path, element)
        except DamagedFile:
            yield from tracks.finish(complete=False)
            raise
        yield from tracks.finish(complete=True)
        _note_namespaces(source, stream)


class _Tracks:
    """The state of reading: the track and segment at hand, and what was counted."""

    def __init__(self, stream: XmlStream) -> None:
        self.stream = stream
        self.record = self.recordings = 0
        self.creator: str | None = None
        self.version = ""
        self.of_source: dict[str, int] = {}
        self.of_first: dict[str, int] = {}
        self._start_track()

    def _start_track(self) -> None:
        self.columns: PointColumns | None = None
        self.type = ""
        self.not_carried: dict[str, int] = {}
        self.conversions: dict[str, None] = {}
        self.fields: dict[str, Field | None] = {}
        self.segment = 0
        self.segment_of_last = 0
        self.last_time: str | None = None

    def opened(self, path: str, element: etree._Element) -> None:
        """Take note of a root, track or segment that begins."""
        if path == "gpx":
            self.creator = (element.get("creator") or "").strip() or None
            self.version = (element.get("version") or "").strip()
        elif path == "gpx/trk":
            self._start_track()
        elif path == "gpx/trk/trkseg":
            self.segment += 1

    def closed(self, path: str, element: etree._Element) -> Iterator[SourceBatch | Recording]:
        """Take note of what ends; a track that ends hands over its last rows."""
        if path == "gpx":
            return
        text = (element.text or "").strip()
        if path == "gpx/trk/type":
            self.type = text.lower()
        tally = self.not_carried if path.startswith("gpx/trk/") else self.of_source
        name = path.removeprefix("gpx/")
        count_all(tally, [(name, text), *attributes(element, name)])
        if path == "gpx/trk":
            yield from self._end_track(complete=True)

    def left_over(self, path: str, element: etree._Element) -> None:
        """Count the values of a way point, route point or misplaced track point: places, not samples of a device."""
        count_all(self.of_source, ((_name(path, part), text) for part, text in self.stream.leaves(element)))

    def point(self, element: etree._Element) -> Iterator[SourceBatch | Event]:
        """Take a track point's values."""
        self.record += 1
        found: Found = {}
        time: str | None = None
        for path, text in self.stream.leaves(element):
            if path == "time" and time is None:
                time = text
                continue
            try:
                field = self.fields[path]
            except KeyError:
                field = self.fields[path] = self._field(path)
            over = path if field is None else prefer(found, field, text)
            if over is not None and text is not None:
                count(self.not_carried, _name("trkpt", over))
        if self.segment != self.segment_of_last:
            yield from self._border(time)
        self.last_time = time
        columns = self.columns or self._start_recording()
        batch = columns.add(self.record, time, found)
        if batch is not None:
            yield batch

    def _start_recording(self) -> PointColumns:
        self.recordings += 1
        self.columns = PointColumns(self.recordings)
        return self.columns

    def _border(self, time: str | None) -> Iterator[Event]:
        """Yield the pause between two segments: reception was lost, or the device was off."""
        before, self.segment_of_last = self.segment_of_last, self.segment
        if before and self.columns is not None:
            recording = self.columns.recording
            yield Event("pause", Times([self.last_time]), [f"track segment {before} ends"], recording)
            yield Event("resume", Times([time]), [f"track segment {self.segment} begins"], recording)

    def _field(self, path: str) -> Field | None:
        """Return how a part of a track point is handed over, or None where no signal fits."""
        if path in _DIRECT:
            return Field(*_DIRECT[path], path.lstrip("@"))
        if path == "speed" and self.version != "1.1":
            return Field("speed", "m/s", path)
        if "@" in path or not path.lower().startswith("extensions/"):
            return None
        parent, last = path.split("/")[-2:]
        if last == "speed" and parent == _EXTENSION:
            return Field("speed", "m/s", path)
        signal, unit = _IN_EXTENSIONS.get(last.lower(), ("", ""))
        if signal == "cadence":
            cycling = self.type in _CYCLING
            self.conversions[_CADENCE_CYCLING if cycling else _CADENCE_UNKNOWN] = None
            return Field(signal, unit, path, counts="revolutions" if cycling else "unknown")
        return Field(signal, unit, path) if signal else None

    def _end_track(self, complete: bool) -> Iterator[SourceBatch | Recording]:
        """Hand over a track's last rows and what is known of it; an empty track's words belong to the source."""
        if self.columns is None:
            self.of_source = added(self.of_source, self.not_carried)
        else:
            batch = self.columns.finish()
            if batch is not None:
                yield batch
            if self.columns.recording == 1:
                self.of_first = self.not_carried
            yield Recording(
                self.columns.recording,
                product=self.creator,
                complete=complete,
                not_carried=self.not_carried,
                conversions=tuple(self.conversions),
            )
        self._start_track()

    def finish(self, complete: bool) -> Iterator[SourceBatch | Recording]:
        """Hand over what is left, and with the first recording what belongs to the whole source."""
        yield from self._end_track(complete)
        if self.of_source:
            yield Recording(1, not_carried=added(self.of_source, self.of_first))


def _name(path: str, part: str) -> str:
    """Return the name under which something not carried is counted: the path without the root element."""
    path = path.removeprefix("gpx/")
    return f"{path}{part}" if part.startswith("@") else f"{path}/{part}"


def _note_namespaces(source: Source, stream: XmlStream) -> None:
    """Say where elements were read by their local name although their namespace is not the expected one."""
    for tag, name in stream.tags.items():
        namespace = tag[1:].rpartition("}")[0] if tag.startswith("{") else ""
        if name == "gpx" and not namespace.endswith(_GPX_NAMESPACES):
            expected = "the elements are in no namespace" if not namespace else f"the namespace is {namespace[:200]!r}"
            source.note("namespace", f"{expected}, not GPX 1.1 or 1.0: read by their local names", "note")
        elif (name == _EXTENSION or name.lower() in _IN_EXTENSIONS) and not namespace.endswith(_EXTENSION_NAMESPACES):
            where = f"in the namespace {namespace[:200]!r}" if namespace else "in no namespace"
            severity = "warning" if name == _EXTENSION else "note"
            source.note(
                "namespace", f"<{name}> is {where}, not in that of {_EXTENSION}: read by its local name", severity
            )
