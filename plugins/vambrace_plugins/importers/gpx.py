"""Reads GPX 1.1, 1.0 and GPX without a namespace: each track is a recording, each track point a row."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import ClassVar

from lxml import etree

from vambrace.plugin import Claim, Event, Head, Recording, Rejected, Source, SourceBatch, Times
from vambrace_plugins.importers.pointcolumns import Field, Found, PointColumns, added, count, count_all, prefer
from vambrace_plugins.importers.xmlprolog import head_start
from vambrace_plugins.importers.xmlstream import Leaves, XmlStream, attributes, handed_over, joined, namespace_of

_POINT = "gpx/trk/trkseg/trkpt"
_WAY_POINT = "gpx/wpt"
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
_SENSED = frozenset({"heart_rate", "cadence", "ambient_temperature", "power"})
_EXTENSION = "TrackPointExtension"
_GPX_NAMESPACES = ("/GPX/1/1", "/GPX/1/0")
_EXTENSION_NAMESPACES = (f"/xmlschemas/{_EXTENSION}/v1", f"/xmlschemas/{_EXTENSION}/v2")
_CYCLING = frozenset({"cycling", "biking"})
_MOST_BATCHES_BACK = 20
_WAY_POINTS = "way points that hold sensor values are read as a recording of their own; all others are places"
_TOO_MANY_WAY_POINTS = "so many way points hold sensor values that those from there on are not carried"
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
            return Claim.SIGNATURE.because("the root element is gpx")
        return Claim.NAME.because("the name ends with .gpx") if head.suffix == ".gpx" else Claim.NONE

    def read(self, source: Source) -> Iterator[SourceBatch | Rejected | Event | Recording]:
        """Yield the track points of each track, its pauses, way points with sensor values, and what is not carried."""
        stream = XmlStream(source, "gpx", _ROWS)
        document = _Document(stream)
        yield from handed_over(stream, document)
        if document.places:
            source.note("way-points", _TOO_MANY_WAY_POINTS, "warning", document.places)
        _note_namespaces(source, stream)


class _Points:
    """The points of one recording: how their parts are handed over, and what is not carried of them."""

    def __init__(self, element: str, version: str) -> None:
        self.element, self.version = element, version
        self.columns: PointColumns | None = None
        self.type = ""
        self.fields: dict[str, Field | None] = {}
        self.not_carried: dict[str, int] = {}
        self.conversions: dict[str, None] = {}

    def found(self, leaves: Leaves) -> tuple[str | None, Found]:
        """Return the time and the values of a point; count what is not carried."""
        found: Found = {}
        time: str | None = None
        for path, text in leaves:
            if path == "time" and time is None:
                time = text
                continue
            field = self.field(path)
            over = path if field is None else prefer(found, field, text)
            if over is not None and text is not None:
                count(self.not_carried, joined(self.element, over))
        return time, found

    def field(self, path: str) -> Field | None:
        """Return how a part of a point is handed over, or None where no signal fits."""
        try:
            return self.fields[path]
        except KeyError:
            return self.fields.setdefault(path, self._new_field(path))

    def _new_field(self, path: str) -> Field | None:
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

    def bears_sensor_values(self, leaves: Leaves) -> bool:
        """Say whether a point holds a value that only a device can give."""
        fields = (self.field(path) for path, text in leaves if text is not None)
        return any(field is not None and field.signal in _SENSED for field in fields)

    def about(self, recording: int, creator: str | None, complete: bool) -> Recording:
        """Return what is known of the recording."""
        return Recording(
            recording,
            product=creator,
            complete=complete,
            not_carried=self.not_carried,
            conversions=tuple(self.conversions),
        )


class _Document:
    """The state of reading: the track and segment at hand, the way points, and what belongs to the whole source."""

    def __init__(self, stream: XmlStream) -> None:
        self.stream = stream
        self.record = self.recordings = self.places = 0
        self.creator: str | None = None
        self.version = ""
        self.of_source: dict[str, int] = {}
        self.of_first: dict[str, int] = {}
        self.way_points = _Points("wpt", "")
        self.kept_back: list[SourceBatch] = []
        self._start_track()

    def _start_track(self) -> None:
        self.track = _Points("trkpt", self.version)
        self.segment = self.segment_of_last = 0
        self.last_time: str | None = None

    def opened(self, path: str, element: etree._Element) -> None:
        """Take note of a root, track or segment that begins."""
        if path == "gpx":
            self.creator = (element.get("creator") or "").strip() or None
            self.version = (element.get("version") or "").strip()
            self.way_points = _Points("wpt", self.version)
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
            self.track.type = text.lower()
        tally = self.track.not_carried if f"{path}/".startswith("gpx/trk/") else self.of_source
        name = path.removeprefix("gpx/")
        count_all(tally, [(name, text), *attributes(element, name)])
        if path == "gpx/trk":
            yield from self._end_track(complete=True)

    def row(self, path: str, element: etree._Element) -> Iterator[SourceBatch | Event]:
        """Take a point: of a track, or a way point with sensor values; any other is a place, not a measurement."""
        leaves = self.stream.leaves(element)
        if path == _POINT:
            yield from self._track_point(leaves)
        elif path == _WAY_POINT and self.way_points.bears_sensor_values(leaves):
            self._way_point(leaves)
        else:
            self._place(path, leaves)

    def _place(self, path: str, leaves: Leaves) -> None:
        name = path.removeprefix("gpx/")
        count_all(self.of_source, ((joined(name, part), text) for part, text in leaves))

    def _way_point(self, leaves: Leaves) -> None:
        """Keep a way point back: way points stand before the tracks, but their recording comes after them."""
        if len(self.kept_back) >= _MOST_BATCHES_BACK:
            self.places += 1
            self._place(_WAY_POINT, leaves)
            return
        self.record += 1
        points = self.way_points
        if points.columns is None:
            points.columns = PointColumns(0)
        batch = points.columns.add(self.record, *points.found(leaves))
        if batch is not None:
            self.kept_back.append(batch)

    def _track_point(self, leaves: Leaves) -> Iterator[SourceBatch | Event]:
        self.record += 1
        time, found = self.track.found(leaves)
        if self.segment != self.segment_of_last:
            yield from self._border(time)
        self.last_time = time
        if self.track.columns is None:
            self.recordings += 1
            self.track.columns = PointColumns(self.recordings)
        batch = self.track.columns.add(self.record, time, found)
        if batch is not None:
            yield batch

    def _border(self, time: str | None) -> Iterator[Event]:
        """Yield the pause between two segments: reception was lost, or the device was off."""
        before, self.segment_of_last = self.segment_of_last, self.segment
        if self.track.columns is not None:
            recording = self.track.columns.recording
            yield Event("pause", Times([self.last_time]), [f"track segment {before} ends"], recording)
            yield Event("resume", Times([time]), [f"track segment {self.segment} begins"], recording)

    def _end_track(self, complete: bool) -> Iterator[SourceBatch | Recording]:
        """Hand over a track's last rows and what is known of it; an empty track's words belong to the source."""
        track = self.track
        if track.columns is None:
            self.of_source = added(self.of_source, track.not_carried)
        else:
            batch = track.columns.finish()
            if batch is not None:
                yield batch
            yield self._about(track, track.columns.recording, complete)
        self._start_track()

    def _about(self, points: _Points, recording: int, complete: bool) -> Recording:
        if recording == 1:
            self.of_first = points.not_carried
        return points.about(recording, self.creator, complete)

    def finish(self, complete: bool) -> Iterator[SourceBatch | Recording]:
        """Hand over what is left, and with the first recording what belongs to the whole source."""
        yield from self._end_track(complete)
        points = self.way_points
        if points.columns is not None:
            self.recordings += 1
            last = points.columns.finish()
            for batch in (*self.kept_back, *([last] if last else [])):
                yield replace(batch, recording=self.recordings)
            points.conversions[_WAY_POINTS] = None
            yield self._about(points, self.recordings, complete)
        if self.of_source:
            yield Recording(1, not_carried=added(self.of_source, self.of_first))


def _note_namespaces(source: Source, stream: XmlStream) -> None:
    """Say where elements were read by their local name although their namespace is not the expected one."""
    said: set[str] = set()
    for tag, name in stream.tags.items():
        namespace, where = namespace_of(tag)
        if name == "gpx" and not namespace.endswith(_GPX_NAMESPACES):
            source.note("namespace", f"<gpx> is {where}, not in that of GPX 1.1 or 1.0: read by local names", "note")
        elif name == _EXTENSION and not namespace.endswith(_EXTENSION_NAMESPACES):
            said.add(namespace)
            source.note("namespace", f"<{name}> is {where}, not in its own: read by local names", "warning")
        elif name.lower() in _IN_EXTENSIONS and not namespace.endswith(_EXTENSION_NAMESPACES) and namespace not in said:
            source.note(
                "namespace", f"<{name}> is {where}, not in that of {_EXTENSION}: read by its local name", "note"
            )
