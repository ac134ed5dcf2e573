"""The watch's two files: the paced walk as GPX, the way to the workshop as TCX."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import UTC, datetime

import numpy as np

from vambrace.demo.devices import Watch

_SCHEMA = "http://www.w3.org/2001/XMLSchema-instance"
_GPX = "http://www.topografix.com/GPX/1/1"
_POINT = "urn:demo:watch-C:point"
"""The namespace of the watch's own extensions; it is no one else's."""


def walk_gpx(watch: Watch) -> bytes:
    """Write one track with a segment for each part; heart rate and cadence stand in extensions."""
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<gpx version="1.1" creator="watch-C" xmlns="{_GPX}" xmlns:w="{_POINT}">',
        f"<metadata><time>{_utc(int(watch.time[0]))}</time></metadata>",
        "<trk><name>paced walk</name><type>walking</type>",
        *(line for part in (1, 2) for line in _segment(watch, part)),
        "</trk>",
        "</gpx>",
    ]
    return _text(lines)


def _segment(watch: Watch, part: int) -> Iterator[str]:
    yield "<trkseg>"
    for i in np.flatnonzero(watch.part == part).tolist():
        place = f'lat="{_degrees(watch.latitude[i])}" lon="{_degrees(watch.longitude[i])}"'
        extra = f"<w:hr>{watch.heart_rate[i]}</w:hr><w:cad>{watch.cadence[i]}</w:cad>"
        when = _utc(int(watch.time[i]))
        yield f"<trkpt {place}><ele>{_tenths(watch.altitude_dm[i])}</ele><time>{when}</time>"
        yield f"<extensions>{extra}</extensions></trkpt>"
    yield "</trkseg>"


def road_tcx(watch: Watch) -> bytes:
    """Write one activity with a lap for each part; the steps of one foot a minute stand in an extension.

    The energy is invented: 60 kcal a kilometre.
    """
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<TrainingCenterDatabase xmlns:xsi="{_SCHEMA}">',
        '<Activities><Activity Sport="Running">',
        f"<Id>{_utc(int(watch.time[0]))}</Id>",
        *(line for part in (1, 2) for line in _lap(watch, part)),
        '<Creator xsi:type="Device_t"><Name>watch-C</Name><UnitId>20815</UnitId><ProductID>1</ProductID>'
        "<Version><VersionMajor>1</VersionMajor><VersionMinor>7</VersionMinor></Version></Creator>",
        "</Activity></Activities>",
        "</TrainingCenterDatabase>",
    ]
    return _text(lines)


def _lap(watch: Watch, part: int) -> Iterator[str]:
    rows = np.flatnonzero(watch.part == part).tolist()
    first, last = rows[0], rows[-1]
    spent = int(watch.time[last] - watch.time[first])
    covered = watch.distance_dm[last] - watch.distance_dm[first]
    yield f'<Lap StartTime="{_utc(int(watch.time[first]))}"><TotalTimeSeconds>{spent}</TotalTimeSeconds>'
    yield f"<DistanceMeters>{_tenths(covered)}</DistanceMeters><Calories>{int(covered) * 6 // 1000}</Calories>"
    yield "<Intensity>Active</Intensity><TriggerMethod>Manual</TriggerMethod><Track>"
    for i in rows:
        rate = watch.heart_rate[i]
        yield f"<Trackpoint><Time>{_utc(int(watch.time[i]))}</Time>"
        yield f"<Position><LatitudeDegrees>{_degrees(watch.latitude[i])}</LatitudeDegrees>"
        yield f"<LongitudeDegrees>{_degrees(watch.longitude[i])}</LongitudeDegrees></Position>"
        yield f"<AltitudeMeters>{_tenths(watch.altitude_dm[i])}</AltitudeMeters>"
        yield f"<DistanceMeters>{_tenths(watch.distance_dm[i])}</DistanceMeters>"
        if rate:
            yield f"<HeartRateBpm><Value>{rate}</Value></HeartRateBpm>"
        yield f"<Extensions><TPX><RunCadence>{watch.cadence[i]}</RunCadence></TPX></Extensions></Trackpoint>"
    yield "</Track></Lap>"


def _utc(time: int) -> str:
    return datetime.fromtimestamp(time, UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _degrees(value: np.int64) -> str:
    return _decimal(int(value), 7)


def _tenths(value: np.int64) -> str:
    return _decimal(int(value), 1)


def _decimal(value: int, digits: int) -> str:
    """Return value / 10**digits as text, without a detour through binary fractions."""
    whole, rest = divmod(abs(value), 10**digits)
    return f"{'-' if value < 0 else ''}{whole}.{rest:0{digits}d}"


def _text(lines: list[str]) -> bytes:
    return "".join(f"{line}\n" for line in lines).encode()
