"""The rules that look at samples: what their numbers and times say."""

from __future__ import annotations

from vambrace.rules.words import COMMON, OWN, Rule, Severity, Threshold
from vambrace.schema import SIGNALS

_PLAUSIBLE = {name: each.plausible for name, each in SIGNALS.items() if each.plausible}
_QARTOD = "the test is that of IOOS QARTOD; the numbers are our own choice, no source"
_SIGNAL_UNIT = "the signal's unit"

ORDER_OF_FILE = (
    Rule(
        "time-goes-back",
        Severity.WARNING,
        "A row's time lies before that of the row above it in the same recording and signal; "
        "a note, where all rows stand newest first.",
        "Rows out of order, or a clock that was set while recording: pairs made by time may join the wrong moments.",
        "Look at the rows around the place. Where the clock was set, split the recording there; where rows only stand "
        "in another order, nothing need be done, since samples are sorted by time.",
    ),
    Rule(
        "counter-fell",
        Severity.WARNING,
        "A running total, such as a step counter, is lower than before: it began again, or a count was taken back.",
        "The total is joined over such places, and a wrong joint makes counts up or loses them.",
        "Look at the events of the recording: a reset at midnight or at a new start is usual, another fall is not.",
    ),
    Rule(
        "unit-suspect",
        Severity.WARNING,
        "The values contradict their declared unit, and would make sense in another one; nothing is converted.",
        "A wrong unit is a wrong value by a constant factor, which a comparison shows as a huge bias of the device.",
        "Look at what the device's settings and its maker's description say of the field; then correct the header or "
        "the option that names the unit.",
        (
            Threshold("share", "1", OWN, 0.9),
            Threshold("least_n", "samples", OWN, 10),
            Threshold("tolerance", "1", OWN, 0.05),
            Threshold("within_s", "s from row to row, where ways are added up", OWN, 10),
            Threshold("least_m", "m, the shortest way that is judged", OWN, 100),
        ),
    ),
    Rule(
        "rate-follows-steps",
        Severity.WARNING,
        "The heart rate stays equal to the step rate of the same records for a long time.",
        "Optical sensors lock onto the swing of the arm: the device then shows steps, not heart beats.",
        "Compare the stretch with the reference. Two rates may also be equal by chance.",
        (
            Threshold("for_s", "s", COMMON, 60),
            Threshold("tolerance", "/min", COMMON, 2),
            Threshold("least_n", "samples", OWN, 10),
            Threshold("within_s", "s from sample to sample", OWN, 60),
        ),
    ),
)

ORDER_OF_TIME = (
    Rule(
        "outside-plausible",
        Severity.WARNING,
        "A value is outside what a person's device would show; it is kept.",
        "Such values are mostly artefacts, and a few of them move a mean or a limit of agreement.",
        "Look at them before a comparison; their quality in `samples` is `suspect` by the built-in ranges alone.",
        (
            Threshold("low", _SIGNAL_UNIT, COMMON, by_signal={name: low for name, (low, _) in _PLAUSIBLE.items()}),
            Threshold("high", _SIGNAL_UNIT, COMMON, by_signal={name: high for name, (_, high) in _PLAUSIBLE.items()}),
        ),
    ),
    Rule(
        "rate-of-change",
        Severity.WARNING,
        "A value differs from the one before it by more than a body or a device can change in that time.",
        "A jump is an artefact, a lost contact or another sensor that took over.",
        "Look at the place in both devices; a jump in one alone is that device's error, and stays in the comparison.",
        (
            Threshold(
                "per_s",
                "the signal's unit a second",
                f"heart rate: {COMMON}; all others: {OWN}",
                by_signal={
                    "heart_rate": 30,
                    "oxygen_saturation": 10,
                    "step_count": 10,
                    "latitude": 0.001,
                    "longitude": 0.002,
                    "altitude": 50,
                    "distance": 60,
                    "speed": 20,
                    "respiratory_rate": 30,
                    "body_temperature": 0.5,
                    "skin_temperature": 2,
                    "ambient_temperature": 5,
                    "energy_expended": 1,
                },
            ),
            Threshold("least_s", "s, shorter intervals count as this long", OWN, 1),
        ),
    ),
    Rule(
        "spike",
        Severity.WARNING,
        "One value stands out from both its neighbours on the same side.",
        "A single wrong value moves a maximum, and a root mean square more than a mean.",
        "Look at the place; nothing is smoothed, and the value stays.",
        (
            Threshold(
                "height",
                _SIGNAL_UNIT,
                _QARTOD,
                by_signal={"heart_rate": 30, "oxygen_saturation": 10, "altitude": 50, "speed": 15},
            ),
            Threshold("within_s", "s to either neighbour", OWN, 10),
        ),
    ),
    Rule(
        "flat-line",
        Severity.WARNING,
        "The value does not change at all for a long time.",
        "A sensor that has stopped, or a device that repeats its last value, looks steady and is not measuring.",
        "Compare with the reference. If that moves, the stretch is a failure of the device.",
        (
            Threshold("for_s", "s", _QARTOD, by_signal={"heart_rate": 600, "rr_interval": 30}),
            Threshold("least_n", "samples", OWN, 30),
            Threshold("within_s", "s from sample to sample", OWN, 300),
        ),
    ),
    Rule(
        "gap",
        Severity.WARNING,
        "There is no sample for much longer than is usual in the channel; one that lasts covers the time to its end.",
        "What is missing is often the hard part of an activity: agreement over the rest flatters the device.",
        "Look whether the device was paused (see events) or lost contact; coverage is reported with every agreement.",
        (Threshold("factor", "median intervals", OWN, 3), Threshold("least_s", "s", OWN, 10)),
    ),
    Rule(
        "overlap",
        Severity.WARNING,
        "An interval begins before the one before it has ended.",
        "The overlap is counted twice: totals and times in a stage become too large.",
        "Look whether two exports were joined into one file, or intervals are stamped at their end.",
    ),
    Rule(
        "duplicate-time",
        Severity.WARNING,
        "Several samples of one channel stand at the same instant.",
        "Which of them a pair takes is a matter of their order; where they differ, one of them is wrong.",
        "Look whether rows were exported twice, or times were cut to seconds.",
    ),
    Rule(
        "sampling-irregular",
        Severity.NOTE,
        "Many intervals between samples are far from the usual one.",
        "A device that records only on change, or to save power, has fewer samples just when little happens.",
        "Set the device to record every second where it can, and compare over windows where it cannot.",
        (
            Threshold("share", "1", OWN, 0.25),
            Threshold("deviation", "1, of the median interval", OWN, 0.5),
            Threshold("least_n", "samples", OWN, 30),
        ),
    ),
    Rule(
        "too-few-samples",
        Severity.NOTE,
        "A channel holds only a few samples.",
        "No statistic of so few values says anything of the device.",
        "Check that the whole recording was exported.",
        (Threshold("least_n", "samples", OWN, 10),),
    ),
    Rule(
        "epoch-misaligned",
        Severity.WARNING,
        "A sleep epoch does not begin, or end, a whole number of epochs after the first one.",
        "Stages are compared epoch by epoch; one that is shifted by half is compared with two.",
        "Score both sides on the same epochs, or say by the importer's options what a time stamp marks.",
        (Threshold("epoch_s", "s", "30 s epochs: Rechtschaffen and Kales 1968", by_signal={"sleep_stage": 30}),),
    ),
)
