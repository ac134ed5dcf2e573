"""Reads TCX v2: each activity is a recording, each track point a row, and what laps count is added at their ends."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import ClassVar

import numpy as np
from lxml import etree

from vambrace.plugin import Claim, Column, Event, Head, Recording, Rejected, Source, SourceBatch, Times
from vambrace_plugins.importers.pointcolumns import Field, Found, PointColumns, added, count, count_all, prefer
from vambrace_plugins.importers.xmlprolog import head_start
from vambrace_plugins.importers.xmlstream import Leaves, XmlStream, attributes, handed_over, joined, namespace_of

_ROOT = "TrainingCenterDatabase"
_ROWS = frozenset({"Trackpoint"})
_NAMESPACES = {_ROOT: f"/{_ROOT}/v2", "TPX": "/ActivityExtension/v2", "LX": "/ActivityExtension/v2"}

_DIRECT = {
    "Position/LatitudeDegrees": ("latitude", "deg"),
    "Position/LongitudeDegrees": ("longitude", "deg"),
    "AltitudeMeters": ("altitude", "m"),
    "DistanceMeters": ("distance", "m"),
    "HeartRateBpm/Value": ("heart_rate", "bpm"),
}
_IN_EXTENSIONS = {"Speed": ("speed", "m/s"), "Watts": ("power", "W")}
_STRIDES = "{strides}/min"
_LAP_TOTALS = "totals of laps: each stands at the time of the lap's last track point"
_LAP_ALONE = "totals of a lap without track points: they stand TotalTimeSeconds after its StartTime"
_CALORIES = "energy_expended: Calories taken as kilocalories (common practice, no source)"
_RUNNING = "cadence: Cadence of a running activity taken as strides of one foot (common practice, no source)"
_RUN_CADENCE = "cadence: RunCadence taken as strides of one foot (common practice, no source)"
_CADENCE_UNKNOWN = "cadence: as written; the file does not say what is counted"
_LONGEST_LAP_S = 1e8
_VERSION = tuple(f"Version/{part}" for part in ("VersionMajor", "VersionMinor", "BuildMajor", "BuildMinor"))


@dataclass(frozen=True, slots=True)
class TcxOptions:
    """TCX needs no options."""


class TcxImporter:
    """Reads TCX."""

    name = "tcx"
    version = "1"
    title = "TCX v2, with speed, cadence and power from extensions, and the energy and steps of laps"
    Options: ClassVar[type] = TcxOptions
    end_mark = True

    def recognise(self, head: Head) -> Claim:
        """Claim a document whose root element is TrainingCenterDatabase; by name alone only weakly."""
        if head_start(head.data).name == _ROOT:
            return Claim.SIGNATURE.because(f"the root element is {_ROOT}")
        return Claim.NAME.because("the name ends with .tcx") if head.suffix == ".tcx" else Claim.NONE

    def read(self, source: Source) -> Iterator[SourceBatch | Rejected | Event | Recording]:
        """Yield the track points of each activity, its laps and pauses, and what is not carried."""
        stream = XmlStream(source, _ROOT, _ROWS)
        yield from handed_over(stream, _Activities(stream))
        _note_namespaces(source, stream)


@dataclass(frozen=True, slots=True)
class _Point:
    """One track point as found."""

    record: int
    time: str | None
    found: Found
    flag: str | None


@dataclass(slots=True)
class _Lap:
    """The lap at hand: its number in the activity, its totals as columns by signal, and where its tracks stand."""

    number: int
    start: str | None
    totals: dict[str, Column] = field(default_factory=dict)
    seconds: str | None = None
    begun: bool = False
    track: int = 0
    track_of_last: int = 0


class _Activities:
    """The state of reading: which activity is at hand, and what belongs to none."""

    def __init__(self, stream: XmlStream) -> None:
        self.stream = stream
        self.record = self.recordings = 0
        self.activity: _Activity | None = None
        self.of_source: dict[str, int] = {}
        self.of_first: dict[str, int] = {}

    def opened(self, path: str, element: etree._Element) -> None:
        """Take note of an activity, lap or track that begins."""
        activity = self.activity
        if activity is None:
            if path.startswith(f"{_ROOT}/Activities/") and path.endswith("/Activity"):
                self.activity = _Activity(self, path, (element.get("Sport") or "").strip())
        elif path == f"{activity.path}/Lap":
            activity.laps += 1
            activity.lap = _Lap(activity.laps, (element.get("StartTime") or "").strip() or None)
        elif path == f"{activity.path}/Lap/Track":
            activity.lap.track += 1

    def closed(self, path: str, element: etree._Element) -> Iterator[SourceBatch | Event | Recording]:
        """Take note of what ends; a lap or an activity that ends hands over its last rows."""
        activity = self.activity
        text = (element.text or "").strip()
        if activity is None:
            name = path.removeprefix(_ROOT).removeprefix("/")
            count_all(self.of_source, [(name, text), *attributes(element, name)] if name else [])
        elif path == activity.path:
            count_all(activity.not_carried, [("Activity", text), *attributes(element, "Activity")])
            yield from self._end_activity(complete=True)
        elif path == f"{activity.path}/Lap":
            others = (pair for pair in attributes(element, "Lap") if pair[0] != "Lap@StartTime")
            count_all(activity.not_carried, [("Lap", text), *others])
            yield from activity.end_lap()
        else:
            activity.take(path.removeprefix(f"{activity.path}/"), text, element)

    def row(self, path: str, element: etree._Element) -> Iterator[SourceBatch | Event]:
        """Take a track point; those of courses are plans of a route and belong to no device."""
        leaves = self.stream.leaves(element)
        activity = self.activity
        if activity is not None and path == f"{activity.path}/Lap/Track/Trackpoint":
            yield from activity.point(leaves)
            return
        name = path.removeprefix(f"{_ROOT}/")
        count_all(self.of_source, ((joined(name, part), text) for part, text in leaves))

    def next_record(self) -> int:
        """Return the number of the next row of the source."""
        self.record += 1
        return self.record

    def new_recording(self) -> PointColumns:
        """Return the columns of a new recording."""
        self.recordings += 1
        return PointColumns(self.recordings)

    def _end_activity(self, complete: bool) -> Iterator[SourceBatch | Recording]:
        """Hand over what is known of an activity; the words of one without rows belong to the source."""
        activity, self.activity = self.activity, None
        if activity is None:
            return
        yield from activity.finish()
        about = activity.about(complete)
        if about is None:
            self.of_source = added(self.of_source, activity.not_carried)
            return
        if about.recording == 1:
            self.of_first = activity.not_carried
        yield about

    def finish(self, complete: bool) -> Iterator[SourceBatch | Recording]:
        """Hand over what is left, and with the first recording what belongs to the whole source."""
        yield from self._end_activity(complete)
        if self.of_source:
            yield Recording(1, not_carried=added(self.of_source, self.of_first))


class _Activity:
    """The activity at hand: where it stands in the document, and what was found in it."""

    def __init__(self, source: _Activities, path: str, sport: str) -> None:
        self.source, self.path, self.sport = source, path, sport
        self.columns: PointColumns | None = None
        self.waiting: _Point | None = None
        self.last_time: str | None = None
        self.laps = 0
        self.lap = _Lap(0, None)
        self.fields: dict[tuple[str, str], Field | None] = {}
        self.creator: dict[str, str] = {}
        self.not_carried: dict[str, int] = {}
        self.conversions: dict[str, None] = {}

    def take(self, name: str, text: str, element: etree._Element) -> None:
        """Take the text of an element that is no track point: of the lap, of the device, or not carried."""
        lap = self.lap
        if name == "Lap/TotalTimeSeconds" and lap.seconds is None:
            lap.seconds = text
        elif name == "Lap/Calories" and "energy_expended" not in lap.totals:
            self._take_total("energy_expended", text, "kcal", name)
            self.conversions[_CALORIES] = None
        elif name.startswith("Lap/Extensions/") and name.endswith("/Steps") and "step_count" not in lap.totals:
            self._take_total("step_count", text, "{steps}", name)
        elif name.startswith("Creator/") and name.removeprefix("Creator/") not in self.creator:
            self.creator[name.removeprefix("Creator/")] = text
        else:
            count_all(self.not_carried, [(name, text)])
        count_all(self.not_carried, attributes(element, name))

    def _take_total(self, signal: str, text: str, unit: str, name: str) -> None:
        self.lap.totals[signal] = Column(signal, [text or None], unit, name, counting="increment", statistic="total")

    def point(self, leaves: Leaves) -> Iterator[SourceBatch | Event]:
        """Take a track point's values; it waits until it is known whether it is the lap's last."""
        time: str | None = None
        flag: str | None = None
        sensors = [""]
        found: Found = {}
        for path, text in leaves:
            if path == "Time" and time is None:
                time = text
            elif path == "SensorState" and flag is None:
                flag = text
            elif path.endswith("/TPX@CadenceSensor") and text is not None:
                sensors.append(text)
            else:
                known = self._field(path, sensors[-1])
                over = path if known is None else prefer(found, known, text)
                if over is not None and text is not None:
                    count(self.not_carried, joined("Trackpoint", over))
        yield from self._hand_over()
        yield from self._begin_lap()
        yield from self._border(time)
        self.waiting = _Point(self.source.next_record(), time, found, self._flag(flag, found))
        self._count_sensors(sensors, found)
        self.last_time = time

    def _flag(self, state: str | None, found: Found) -> str | None:
        """Return the sensor's state as a flag, where the point has a value of a sensor to bear it."""
        if state is None or any(known.flagged and text is not None for known, text in found.values()):
            return None if state is None else f"sensor_state={state[:40]}"
        count(self.not_carried, "Trackpoint/SensorState")
        return None

    def _count_sensors(self, sensors: list[str], found: Found) -> None:
        """Count the sensors that are named without giving a cadence."""
        known, text = found.get("cadence", (None, None))
        idle = sensors[1:]
        if known is not None and text is not None and known.sensor:
            idle.remove(known.sensor)
        count_all(self.not_carried, (("Trackpoint/Extensions/TPX@CadenceSensor", sensor) for sensor in idle))

    def _field(self, path: str, sensor: str) -> Field | None:
        """Return how a part of a track point is handed over, or None where no signal fits."""
        key = (path, sensor)
        if key not in self.fields:
            self.fields[key] = self._new_field(path, sensor)
        return self.fields[key]

    def _new_field(self, path: str, sensor: str) -> Field | None:
        if path in _DIRECT:
            return Field(*_DIRECT[path], path, flagged=path == "HeartRateBpm/Value")
        if path == "Cadence":
            return self._cadence(path)
        last = path.rpartition("/")[2]
        if not path.startswith("Extensions/"):
            return None
        if last == "RunCadence":
            self.conversions[_RUN_CADENCE] = None
            return Field("cadence", _STRIDES, path, counts="steps", rank=1, flagged=True, sensor=sensor)
        return Field(*_IN_EXTENSIONS[last], path) if last in _IN_EXTENSIONS else None

    def _cadence(self, path: str) -> Field:
        if self.sport == "Running":
            self.conversions[_RUNNING] = None
            return Field("cadence", _STRIDES, path, counts="steps", flagged=True)
        if self.sport == "Biking":
            return Field("cadence", "/min", path, counts="revolutions", flagged=True)
        self.conversions[_CADENCE_UNKNOWN] = None
        return Field("cadence", "/min", path, counts="unknown", flagged=True)

    def _recording(self) -> PointColumns:
        if self.columns is None:
            self.columns = self.source.new_recording()
        return self.columns

    def _begin_lap(self) -> Iterator[Event]:
        """Yield the lap that begins, once, as soon as it has a row."""
        lap = self.lap
        if not lap.begun:
            lap.begun = True
            yield Event("lap", Times([lap.start]), [f"lap {lap.number}"], self._recording().recording)

    def _border(self, time: str | None) -> Iterator[Event]:
        """Yield the pause between two tracks of a lap, of which this is the time of the second one's first point."""
        lap = self.lap
        before, lap.track_of_last = lap.track_of_last, lap.track
        if before and before != lap.track:
            recording = self._recording().recording
            yield Event("pause", Times([self.last_time]), [f"track {before} of lap {lap.number} ends"], recording)
            yield Event("resume", Times([time]), [f"track {lap.track} of lap {lap.number} begins"], recording)

    def _hand_over(self) -> Iterator[SourceBatch]:
        point, self.waiting = self.waiting, None
        if point is not None:
            batch = self._recording().add(point.record, point.time, point.found, point.flag)
            if batch is not None:
                yield batch

    def end_lap(self) -> Iterator[SourceBatch | Event]:
        """Hand over the lap's totals: with its last track point, or as a row of their own where it has none."""
        lap, point = self.lap, self.waiting
        totals = tuple(lap.totals.values())
        if point is None and totals:
            yield from self._lap_alone(totals)
            self.lap = _Lap(0, None)
            return
        count_all(self.not_carried, [("Lap/TotalTimeSeconds", lap.seconds)])
        if point is None:
            count_all(self.not_carried, [("Lap@StartTime", lap.start)])
        elif totals:
            self.waiting = None
            self.conversions[_LAP_TOTALS] = None
            yield from self._recording().add_alone(point.record, point.time, point.found, point.flag, totals)
        else:
            yield from self._hand_over()
        self.lap = _Lap(0, None)

    def _lap_alone(self, totals: tuple[Column, ...]) -> Iterator[SourceBatch | Event]:
        lap = self.lap
        self.conversions[_LAP_ALONE] = None
        yield from self._begin_lap()
        recording = self._recording()
        before = recording.finish()
        if before is not None:
            yield before
        seconds = _seconds(lap.seconds)
        if seconds is None:
            count_all(self.not_carried, [("Lap/TotalTimeSeconds", lap.seconds)])
        start = None if seconds is None else lap.start
        record = np.array([self.source.next_record()], np.int64)
        yield SourceBatch(record, Times([start]), totals, recording.recording, interval_s=seconds, stamp="start")

    def finish(self) -> Iterator[SourceBatch]:
        """Hand over the last rows; the totals of a lap that was cut off fit none of them."""
        yield from self._hand_over()
        batch = None if self.columns is None else self.columns.finish()
        if batch is not None:
            yield batch
        cut_off = [(total.field, total.values[0]) for total in self.lap.totals.values()]
        count_all(self.not_carried, [*cut_off, ("Lap/TotalTimeSeconds", self.lap.seconds)])

    def about(self, complete: bool) -> Recording | None:
        """Return what the activity says of its device, or None where it has no rows."""
        said = self.creator
        if self.columns is None:
            count_all(self.not_carried, ((f"Creator/{name}", text) for name, text in said.items()))
            return None
        product = said.pop("Name", "") or said.pop("ProductID", "")
        serial = "" if said.get("UnitId") == "0" else said.pop("UnitId", "")
        firmware = ".".join(said.pop(part) for part in _VERSION if said.get(part))
        count_all(self.not_carried, ((f"Creator/{name}", text) for name, text in said.items()))
        return Recording(
            self.columns.recording,
            product=product or None,
            serial=serial or None,
            firmware=firmware or None,
            complete=complete,
            not_carried=self.not_carried,
            conversions=tuple(self.conversions),
        )


def _seconds(text: str | None) -> float | None:
    try:
        seconds = float(text or "")
    except ValueError:
        return None
    return seconds if 0 <= seconds < _LONGEST_LAP_S else None


def _note_namespaces(source: Source, stream: XmlStream) -> None:
    """Say where elements were read by their local name although their namespace is not the expected one."""
    for tag, name in stream.tags.items():
        namespace, where = namespace_of(tag)
        if name in _NAMESPACES and not namespace.endswith(_NAMESPACES[name]):
            source.note(
                "namespace",
                f"<{name}> is {where}, not in one that ends in {_NAMESPACES[name]}: read by its local name",
                "warning" if namespace else "note",
            )
