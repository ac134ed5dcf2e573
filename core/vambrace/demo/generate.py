"""Writes the files of the invented study "Loom and ladder" from its seed: the same bytes on every machine."""

from __future__ import annotations

import io
import zipfile
from pathlib import Path

from vambrace.demo import body, csv_files, devices, fit_files, xml_files
from vambrace.demo.noise import Noise, NoiseFor
from vambrace.demo.plan import MAIN_VISIT, SEED, TRIAL, Visit

README = """\
Loom and ladder

An invented study: no person wore these devices and no device of these names
exists. On the morning of 4 March 2031 the participant P01 rests, walks round
the yard, carries crates, climbs ladders, works at the loom and recovers.

strap-R   chest strap, the reference for heart rate
band-A    wrist band: the session, and the whole day as it counted it
ring-B    finger ring: heart rate, oxygen saturation
watch-C   watch: the way to the workshop and the paced walk
observer  a person who counted the steps of the walk and of the crates

The wall clock of the workshop follows Atlantic/Azores. The ring's files give
its times without saying so.
"""

_ZIP_TIME = (2031, 3, 4, 15, 0, 0)
_UNIX, _PLAIN_FILE = 3, 0o100644 << 16


def files() -> dict[str, bytes]:
    """Return the bytes of every file of the study by its path."""
    noise = _noise(MAIN_VISIT)
    truth = body.live(MAIN_VISIT, noise)
    ring = devices.wear_ring(truth, MAIN_VISIT, noise)
    session = fit_files.band_fit(devices.wear_band(truth, MAIN_VISIT, noise))
    day = fit_files.band_day_fit(devices.wear_band_all_day(truth, MAIN_VISIT, noise))
    return {
        "README.txt": README.encode(),
        "band-A/day.zip": _zipped("day.fit", day),
        "band-A/session.fit": session,
        "band-A/session_again.fit": session,
        "band-A/trial.fit": _broken_upload(),
        "observer/steps.csv": csv_files.tally_csv(devices.tally(truth, MAIN_VISIT)),
        "ring-B/heart_rate.csv": csv_files.ring_rate_csv(ring),
        "ring-B/oxygen.csv": csv_files.ring_oxygen_csv(ring),
        "strap-R/session.fit": fit_files.strap_fit(devices.wear_strap(truth, MAIN_VISIT, noise)),
        "watch-C/to_the_workshop.tcx": xml_files.road_tcx(devices.watch_road(truth, MAIN_VISIT, noise)),
        "watch-C/walk.gpx": xml_files.walk_gpx(devices.watch_yard(truth, MAIN_VISIT, noise)),
    }


def generate(target: Path) -> list[Path]:
    """Write every file of the study below a folder, over what stands there, and return their paths."""
    written = []
    for name, data in sorted(files().items()):
        path = target / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)
        written.append(path)
    return written


def _noise(visit: Visit) -> NoiseFor:
    """Return streams of random numbers of one day's own."""

    def noise(purpose: str) -> Noise:
        return Noise(SEED, f"{visit.date} {purpose}")

    return noise


def _broken_upload() -> bytes:
    """Return the first two thirds of the trial's file: the upload broke off in the middle of a message."""
    noise = _noise(TRIAL)
    whole = fit_files.band_fit(devices.wear_band(body.live(TRIAL, noise), TRIAL, noise))
    return whole[: len(whole) * 2 // 3]


def _zipped(name: str, data: bytes) -> bytes:
    """Return an archive of one member, stored as it is: packed bytes would depend on the packing library."""
    member = zipfile.ZipInfo(name, _ZIP_TIME)
    member.create_system, member.external_attr = _UNIX, _PLAIN_FILE
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        archive.writestr(member, data)
    return out.getvalue()
