"""Short names of signals, names that two signals have, and names with a device's word beside them.

Which short names tables use is common practice, no source.
"""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from csv_reading import ok, read
from vambrace.plugin import SIGNALS
from vambrace_plugins.importers.csv.vocabulary import read_heading, signal_with_rest

T = "2031-03-04T09:00:00Z"


@pytest.mark.parametrize(
    ("text", "signal", "unit"),
    [
        ("ambient temp (C)", "ambient_temperature", "C"),
        ("Ambient Temp [°F]", "ambient_temperature", "°F"),
        ("air_temp", "ambient_temperature", ""),
        ("skin temp", "skin_temperature", ""),
        ("SkinTemp", "skin_temperature", ""),
        ("core temp (C)", "body_temperature", "C"),
        ("HR", "heart_rate", ""),
        ("SpO2 (%)", "oxygen_saturation", "%"),
        ("alt", "altitude", ""),
        ("dist", "distance", ""),
        ("lat", "latitude", ""),
        ("lon", "longitude", ""),
        ("lng", "longitude", ""),
        ("resp rate", "respiratory_rate", ""),
        ("Resp. rate (breaths/min)", "respiratory_rate", "breaths/min"),
        ("RR (ms)", "rr_interval", "ms"),
        ("RR [s]", "rr_interval", "s"),
        ("rr_ms", "rr_interval", "ms"),
        ("RR (bpm)", "respiratory_rate", "bpm"),
        ("RR (/min)", "respiratory_rate", "/min"),
        ("RR breaths/min", "respiratory_rate", "breaths per min"),
        ("pwr (W)", "power", "W"),
        ("temp (C)", "", ""),
        ("temperature", "", ""),
    ],
)
def test_short_names_are_the_signals_they_stand_for(text: str, signal: str, unit: str) -> None:
    heading = read_heading(text)
    assert (heading.signal, heading.unit) == (signal, unit)


def test_a_name_that_two_signals_have_is_refused_until_one_is_said() -> None:
    table = f"time,RR\n{T},850\n"
    error = read(table).error
    assert error is not None
    assert error.code == "unit-not-said"
    for word in ("RR interval", "respiratory rate", "csv.units=RR=ms", "csv.columns=RR=respiratory_rate"):
        assert word in str(error)
    assert ok(table, units="RR=ms").values("rr_interval") == ["850"]
    assert ok(f"time,RR\n{T},14\n", columns="RR=respiratory_rate").values("respiratory_rate") == ["14"]
    assert ok(f"time,RR (bpm)\n{T},14\n").values("respiratory_rate") == ["14"]


@pytest.mark.parametrize(
    ("text", "signal", "unit", "rest"),
    [
        ("band-A heart rate", "heart_rate", "", "band-A"),
        ("band-A heart rate [bpm]", "heart_rate", "bpm", "band-A"),
        ("heart_rate_ring-B", "heart_rate", "", "ring-B"),
        ("HR strap-R (bpm)", "heart_rate", "bpm", "strap-R"),
        ("HeartRate bandA", "heart_rate", "", "bandA"),
        ("left wrist heart rate", "heart_rate", "", "left wrist"),
        ("ring-B max HR", "heart_rate", "", "ring-B"),
        ("speed km/h band-A", "speed", "km/h", "band-A"),
        ("band-A speed (km/h)", "speed", "km/h", "band-A"),
        ("HR 2", "heart_rate", "", "2"),
        ("ring-B distance_m", "distance", "m", "ring-B"),
        ("the second band heart rate", "", "", ""),
        ("the new band heart rate", "heart_rate", "", "the new band"),
    ],
)
def test_words_beside_a_signal_are_told_from_it(text: str, signal: str, unit: str, rest: str) -> None:
    assert not read_heading(text).known
    found = signal_with_rest(text)
    if not signal:
        assert found is None
        return
    assert found is not None
    heading, words = found
    assert (heading.signal, heading.unit, words, heading.text, heading.canonical) == (signal, unit, rest, text, False)


@pytest.mark.parametrize(
    "text",
    [
        *("target heart rate", "heart rate zone", "HR threshold", "HR goal", "power limit (W)", "SpO2 quality"),
        *("heart rate confidence", "HR error", "HR flag", "heart rate variability", "HR std", "HR sd", "HRV"),
        *("recovery heart rate", "heart rate reserve", "HR % of max", "HR percent", "resting heart rate", "steps goal"),
        *("heart rate 30 s", "heart rate 30s", "power 20 min", "wind speed (m/s)", "vertical speed", "altitude gain"),
        *("pulse ox", "pulse pressure", "stride length", "left power (W)", "distance to go", "long run", "step 1"),
        *("a b c d heart rate", "heart rate of the old band", "band-A", "note", "", "band-A time", "time band-A"),
        # Known as they are.
        *("heart rate", "max heart rate", "HR (strap-R) [bpm]", "time", "skin temp (C)", "Average HR"),
    ],
)
def test_words_that_make_another_quantity_are_no_device(text: str) -> None:
    assert signal_with_rest(text) is None


@settings(max_examples=150, deadline=None, derandomize=True)
@given(
    name=st.sampled_from(sorted(word for signal in SIGNALS.values() for word in signal.words)),
    code=st.from_regex(r"(band|ring|strap)-[A-Z]", fullmatch=True),
    front=st.booleans(),
    join=st.sampled_from([" ", "_", "-", " - "]),
)
def test_every_name_of_a_signal_stands_beside_a_code(name: str, code: str, front: bool, join: str) -> None:
    found = signal_with_rest(f"{code}{join}{name}" if front else f"{name}{join}{code}")
    if name in {"long", "step", "bpm"}:
        assert found is None
        return
    assert found is not None
    heading, rest = found
    assert rest == code
    assert heading.signal == read_heading(name).signal


@settings(max_examples=150, deadline=None, derandomize=True)
@given(st.text(max_size=40))
def test_any_text_has_an_answer(text: str) -> None:
    found = signal_with_rest(text)
    assert found is None or (found[0].signal in SIGNALS and found[1])
