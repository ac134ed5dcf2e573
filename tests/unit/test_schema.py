"""The list of signals: consistent in itself, and as the contract words it."""

from __future__ import annotations

import pytest

from vambrace.schema import SIGNALS, Kind, Signal

# Unit, kind and domain of every signal of the contract's table, typed from the table; ecg follows with its reader.
CONTRACT = {
    "heart_rate": ("/min", "instant", 1, 350, 20, 250),
    "rr_interval": ("ms", "beat", 100, 10000, 240, 3000),
    "oxygen_saturation": ("%", "instant", 1, 100, 70, 100),
    "step_count": ("{steps}", "running_total", 0, float("inf"), None, None),
    "latitude": ("deg", "position", -90, 90, None, None),
    "longitude": ("deg", "position", -180, 180, None, None),
    "altitude": ("m", "instant", -1000, 20000, -430, 9000),
    "distance": ("m", "running_total", 0, float("inf"), None, None),
    "speed": ("m/s", "instant", 0, 350, 0, 60),
    "cadence": ("/min", "instant", 0, 500, 0, 300),
    "power": ("W", "instant", 0, 10000, 0, 3000),
    "respiratory_rate": ("/min", "instant", 0, 200, 2, 80),
    "body_temperature": ("Cel", "instant", -90, 100, 30, 43),
    "skin_temperature": ("Cel", "instant", -90, 100, 15, 42),
    "ambient_temperature": ("Cel", "instant", -90, 100, -50, 60),
    "energy_expended": ("kcal", "running_total", 0, float("inf"), None, None),
}


@pytest.mark.parametrize("name", CONTRACT)
def test_signal_is_as_the_contract_says(name: str) -> None:
    signal = SIGNALS[name]
    plausible = signal.plausible or (None, None)
    assert (signal.unit, signal.kind.value, *signal.domain, *plausible) == CONTRACT[name]


def test_no_signal_is_missing_or_made_up() -> None:
    assert set(SIGNALS) == {*CONTRACT, "sleep_stage"}


def test_sleep_stages_are_the_listed_codes() -> None:
    assert SIGNALS["sleep_stage"].kind == Kind.CODED_EPOCH
    assert set(SIGNALS["sleep_stage"].codes) == {0, 1, 2, 3, 4, 9, 12}


@pytest.mark.parametrize("signal", SIGNALS.values(), ids=lambda signal: signal.name)
def test_plausible_lies_inside_domain(signal: Signal) -> None:
    low, high = signal.plausible or signal.domain
    assert signal.domain[0] <= low < high <= signal.domain[1]


def test_no_header_word_names_two_signals() -> None:
    words = [word for signal in SIGNALS.values() for word in signal.words]
    assert len(words) == len(set(words))


def test_value_columns_are_those_of_the_contract() -> None:
    # contract, samples: "whose value column is named signal + unit"
    columns = {name: SIGNALS[name].column for name in ("heart_rate", "oxygen_saturation", "step_count", "latitude")}
    assert columns == {
        "heart_rate": "heart_rate_per_min",
        "oxygen_saturation": "oxygen_saturation_percent",
        "step_count": "step_count_steps",
        "latitude": "latitude_deg",
    }
    assert SIGNALS["altitude"].column == "altitude_m"
    assert len({signal.column for signal in SIGNALS.values()}) == len(SIGNALS)


def test_absent_zeros_are_those_of_the_contract() -> None:
    assert {name for name, signal in SIGNALS.items() if signal.zero_is_absent} == {"heart_rate", "oxygen_saturation"}
