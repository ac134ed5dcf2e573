"""Real files that nobody here wrote, through the whole pipeline: what stands in the dataset is what they hold.

FIT is read a second time by fitdecode, raw values only, and TCX by lxml by hand; scaling is done here, exactly, from
the FIT profile's own numbers. What differs is said beside each comparison.
"""

from __future__ import annotations

import os
import warnings
from collections import Counter
from datetime import datetime, timedelta, timezone
from decimal import Decimal
from fractions import Fraction
from pathlib import Path

import fitdecode
import pyarrow as pa
import pyarrow.compute as pc
import pytest
from lxml import etree

from converted import ledger, samples, statuses, table
from vambrace.api import convert

FIT_EPOCH = 631_065_600
FOLDER = os.environ.get("VAMBRACE_SAMPLES")
pytestmark = pytest.mark.skipif(not FOLDER, reason="VAMBRACE_SAMPLES does not name a folder of real files")


UNSET_CLOCK = "compressed-timestamps-speed-distance.fit"
"""Its time stamps lie below 0x10000000: by the FIT profile they count seconds since the device was switched on, not
since 1989. Other decoders show them as dates of July 1990; we refuse the file with that sentence."""


def named(kind: str) -> list[str]:
    found = sorted(path.name for path in (Path(FOLDER) / kind).glob(f"*.{kind}")) if FOLDER else []
    return [name for name in found if name != UNSET_CLOCK]


@pytest.fixture(scope="module")
def dataset(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("real") / "ds"
    convert([str(FOLDER)], target, zone="UTC", ignore=["*.md"])
    return target


def test_every_real_file_converts_and_every_row_is_accounted_for(dataset: Path) -> None:
    found = statuses(dataset)
    assert found.pop("README.md") == "ignored"
    assert found.pop(f"fit/{UNSET_CLOCK}") == "rejected"
    assert set(found.values()) == {"converted"}
    rows = ledger(dataset)
    for row in rows.values():
        assert row["rows_read"] == row["rows_kept"] + row["rows_set_aside"] + row["rows_outside"]
    assert sum(row["rows_kept"] for row in rows.values()) == len(samples(dataset)) > 100_000


def stored(dataset: Path, path: str, signal: str, fields: tuple[str, ...]) -> Counter[tuple[int, float]]:
    """Return (µs of Unix time, value) of every sample of a source that came from one of the fields."""
    recordings = {row["recording"] for row in table(dataset, "recordings") if row["path"] == path}
    wanted = [
        row["recording"]
        for row in table(dataset, "channels")
        if row["recording"] in recordings and row["signal"] == signal and row["field_in_source"] in fields
    ]
    rows = samples(dataset)
    mask = pc.and_(
        pc.equal(rows["signal"].cast(pa.string()), signal),
        pc.is_in(rows["recording"].cast(pa.string()), pa.array(wanted, pa.string())),
    )
    rows = rows.filter(mask)
    return Counter(zip(rows["time"].cast(pa.int64()).to_pylist(), rows["value"].to_pylist(), strict=True))


def fit_raw(name: str, *fields: str) -> list[tuple[int, list[int | None]]]:
    """Return for each record message its time (µs of Unix time) and the raw values of fields, None where invalid."""
    found = []
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with fitdecode.FitReader(Path(FOLDER or "") / "fit" / name, processor=Times()) as reader:
            for frame in reader:
                if isinstance(frame, fitdecode.FitDataMessage) and frame.global_mesg_num == 20:
                    raw = [
                        frame.get_raw_value(each, fallback=None) if frame.has_field(each) else None for each in fields
                    ]
                    time = frame.get_raw_value(253, fallback=None) if frame.has_field(253) else None
                    if time is not None:
                        found.append(((time + FIT_EPOCH) * 1_000_000, raw))
    return found


class Times(fitdecode.DataProcessorBase):
    """Leaves every value raw."""


@pytest.mark.parametrize("name", named("fit"))
def test_fit_heart_rates_are_the_raw_ones(name: str, dataset: Path) -> None:
    expected = Counter(
        (time, float(rate)) for time, (rate,) in fit_raw(name, "heart_rate") if rate not in (None, 0, 255)
    )
    assert stored(dataset, f"fit/{name}", "heart_rate", ("record.heart_rate",)) == expected


@pytest.mark.parametrize("name", named("fit"))
def test_fit_positions_are_the_nearest_doubles_to_their_semicircles(name: str, dataset: Path) -> None:
    for signal, field in (("latitude", "position_lat"), ("longitude", "position_long")):
        pairs = fit_raw(name, "position_lat", "position_long")
        at = ("position_lat", "position_long").index(field)
        # Half a fix is set aside, so only whole ones are expected.
        whole = [(time, raw[at]) for time, raw in pairs if None not in raw and 0x7FFFFFFF not in raw]
        expected = Counter((time, float(Fraction(raw * 180, 2**31))) for time, raw in whole if raw is not None)
        assert stored(dataset, f"fit/{name}", signal, (f"record.{field}",)) == expected


@pytest.mark.parametrize("name", named("fit"))
def test_fit_distances_are_centimetres_to_the_last_digit(name: str, dataset: Path) -> None:
    # Running totals are joined over resets; where a file has none, every value stands as it is.
    resets = [row for row in table(dataset, "events") if row["kind"].startswith("counter")]
    own = {row["recording"] for row in table(dataset, "recordings") if row["path"] == f"fit/{name}"}
    if own & {row["recording"] for row in resets if "distance" in row["text"]}:
        pytest.skip("this file's distance falls back, and is joined")
    raw = [(time, cm) for time, (cm,) in fit_raw(name, "distance") if cm is not None and cm != 0xFFFFFFFF]
    expected = Counter((time, float(Decimal(cm) / 100)) for time, cm in raw)
    found = stored(dataset, f"fit/{name}", "distance", ("record.distance",))
    assert not expected or found == expected


def tcx_points(name: str) -> list[dict[str, str]]:
    """Return each track point as its elements' texts by path of local names."""
    points = []
    for point in etree.parse(Path(FOLDER or "") / "tcx" / name).iter("{*}Trackpoint"):
        texts = {}
        for element in point.iter("{*}*"):
            parent = element.getparent()
            key = f"{etree.QName(parent).localname}/{etree.QName(element).localname}"
            if len(element) == 0 and (element.text or "").strip():
                texts[key] = (element.text or "").strip()
        points.append(texts)
    return points


def instant(text: str) -> int:
    """Return µs of Unix time of an ISO 8601 text, exactly."""
    time = datetime.fromisoformat(text)
    time = time.replace(tzinfo=timezone.utc) if time.tzinfo is None else time  # noqa: UP017
    return (time - datetime(1970, 1, 1, tzinfo=timezone.utc)) // timedelta(microseconds=1)  # noqa: UP017


@pytest.mark.parametrize("name", named("tcx"))
@pytest.mark.parametrize(
    ("signal", "key"),
    [
        ("heart_rate", "HeartRateBpm/Value"),
        ("latitude", "Position/LatitudeDegrees"),
        ("longitude", "Position/LongitudeDegrees"),
        ("altitude", "Trackpoint/AltitudeMeters"),
    ],
)
def test_tcx_values_are_those_of_the_elements(name: str, signal: str, key: str, dataset: Path) -> None:
    expected = Counter(
        (instant(point["Trackpoint/Time"]), float(point[key]))
        for point in tcx_points(name)
        if key in point and not (signal == "heart_rate" and float(point[key]) == 0)
    )
    found = stored(dataset, f"tcx/{name}", signal, (key.removeprefix("Trackpoint/"),))
    assert found == expected
