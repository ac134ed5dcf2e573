"""Columns that change what another says, and words that are no device's: each is read so, or refused."""

from __future__ import annotations

import pytest

from csv_canonical import Canonical, canonical
from vambrace_plugins.importers.csv import Options

T = "2031-03-04T09:00:00Z"
U = "2031-03-04T09:00:01Z"
V = "2031-03-04T09:00:02Z"


def table(header: str, *rows: str, zone: str | None = None, **options: str) -> Canonical:
    return canonical("\n".join([header, *rows, ""]).encode(), Options(**options), zone)


def values(result: Canonical) -> dict[str, list[list[float]]]:
    assert not result.code, result.said
    assert not result.rejected
    return {signal: [[value for _, value in rows] for rows in each] for signal, each in result.signals.items()}


def sentences(result: Canonical) -> list[str]:
    assert result.reading is not None
    return [sentence for said in result.reading.conversions.values() for sentence in said]


@pytest.mark.parametrize(
    "names", ["lat,N/S,lon,E/W", "lat,latitude ref,lon,longitude ref", "lat,lat dir,lon,lon dir", "lat,q,lon,w"]
)
def test_a_hemisphere_beside_an_unsigned_number_is_refused_with_both_readings(names: str) -> None:
    for side in ("S", "south", "South"):
        result = table(f"time,{names}", f"{T},33.9,{side},18.4,E")
        assert result.code == "position-two-readings"
        assert "-33.9 or 33.9" in result.said
    assert table(f"time,{names}", f"{T},33.9,N,18.4,W").code == "position-two-readings"
    assert table(f"time,{names}", f"{T},-33.9,N,18.4,E").code == "position-two-readings"


def test_a_hemisphere_that_agrees_with_the_sign_changes_nothing() -> None:
    read = {"latitude": [[-33.9, 0]], "longitude": [[18.4, 18.5]]}
    assert values(table("time,lat,N/S,lon,E/W", f"{T},-33.9,S,18.4,E", f"{U},0.0,S,18.5,E")) == read
    assert values(table("time,lat,N/S,lon", f"{T},33.9,S,1", columns="N/S=-")) == {
        "latitude": [[33.9]],
        "longitude": [[1]],
    }


def test_a_hemisphere_is_looked_at_behind_the_first_block() -> None:
    rows = [f"{T},33.9,N"] * 20_000
    assert table("time,lat,N/S", *rows, f"{T},33.9,S").code == "position-two-readings"


@pytest.mark.parametrize("name", ["unit", "heart rate unit", "HeartRateUnit", "heart_rate_units", "uom"])
def test_a_column_of_units_that_says_two_is_refused(name: str) -> None:
    result = table(f"time,heart_rate,{name}", f"{T},1.2,Hz", f"{U},70,bpm")
    assert result.code == "unit-two-readings"
    assert '"Hz"' in result.said
    assert '"bpm"' in result.said
    rows = [f"{T},70,bpm"] * 20_000
    assert table(f"time,heart_rate,{name}", *rows, f"{T},1.2,Hz").code == "unit-two-readings"
    assert table(f"time,heart_rate,{name}", f"{T},70,furlongs").code == "unit-unknown"


def test_a_column_of_units_stands_against_the_header() -> None:
    header = "time,skin temperature [°C],skin temperature unit"
    result = table(header, f"{T},95,F")
    assert result.code == "unit-two-readings"
    assert "is in °C" in result.said
    assert '"F"' in result.said
    assert values(table(header, f"{T},35,C")) == {"skin_temperature": [[35]]}
    assert values(table(header, f"{T},35,F", columns="skin temperature unit=-")) == {"skin_temperature": [[35]]}
    assert values(table("time,altitude,unit", f"{T},5,ft", units="altitude=m")) == {"altitude": [[5]]}


def test_one_unit_beside_all_numbers_is_taken_and_recorded() -> None:
    result = table("time,altitude,unit", f"{T},100,ft", f"{U},200,ft")
    assert values(result) == {"altitude": [[30.48, 60.96]]}
    assert 'altitude: unit "ft" taken from the column "unit"' in sentences(result)
    assert table("time,altitude,unit", f"{T},100,ft", f"{U},200,").code == "unit-two-readings"
    two = table("time,altitude,unit,speed,unit", f"{T},100,ft,36,km/h")
    assert values(two) == {"altitude": [[30.48]], "speed": [[10]]}


@pytest.mark.parametrize("name", ["uom", "unit of measure", "measurement unit", "Units"])
def test_a_long_table_names_its_units_in_many_words(name: str) -> None:
    assert values(table(f"time,signal,value,{name}", f"{T},heart_rate,1.2,Hz")) == {"heart_rate": [[72]]}


@pytest.mark.parametrize(
    "other",
    [
        *("low", "high", "lo", "hi", "lower", "upper", "p5", "p95", "q1", "q3", "25th", "se", "sem", "n", "ci95"),
        *("fitted", "residual", "lag", "log", "x2", "critical", "ref"),
    ],
)
def test_a_statistic_or_a_bound_is_no_device(other: str) -> None:
    assert values(table(f"time,heart_rate,heart_rate {other}", f"{T},71,55")) == {"heart_rate": [[71]]}


@pytest.mark.parametrize("other", ["power L", "power R", "power left", "wkg power", "FTP power", "critical power"])
def test_half_of_a_power_and_what_a_rider_could_give_are_no_devices(other: str) -> None:
    assert values(table(f"time,power,{other}", f"{T},200,100")) == {"power": [[200]]}


def test_single_letters_within_a_name_still_name_a_device() -> None:
    assert values(table("time,strap-R power,strap-L power", f"{T},200,201")) == {"power": [[200], [201]]}
