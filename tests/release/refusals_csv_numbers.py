"""Examples of what is refused in the numbers of a table of text: units, counting, marks between digits."""

from __future__ import annotations

from refusal_example import File, T

EXAMPLES = (
    File(
        "unit-not-said",
        "Nothing says in which unit a column is, and several are in use.",
        f"time,oxygen saturation\n{T},0.97\n{T},1\n",
        {"units": "oxygen saturation=fraction"},
        readings=("a fraction (97 %)", "0.97 %"),
    ),
    File(
        "unit-unknown",
        "The header names a unit that is none of its signal.",
        f"time,HR (furlongs)\n{T},60\n",
        {"units": "HR (furlongs)=/min"},
    ),
    File(
        "unit-two-readings",
        "The cells say two units, or only some of them say one.",
        f"time,speed\n{T},3 m/s\n{T},10 km/h\n",
        mended=f"time,speed\n{T},3 m/s\n{T},2.8 m/s\n",
        readings=("3 m/s", "10 km/h"),
    ),
    File(
        "unit-two-readings",
        "The header says one unit, and the cells or the row behind it another.",
        f"time,speed (km/h)\n{T},3 m/s\n",
        mended=f"time,speed (m/s)\n{T},3 m/s\n",
        readings=("is in km/h", 'say "m/s"'),
    ),
    File(
        "unit-two-readings",
        "A column of units says another unit than its numbers are read in, or two units.",
        f"time,heart_rate,unit\n{T},1.2,Hz\n{T},70,bpm\n",
        mended=f"time,heart_rate,unit\n{T},72,bpm\n{T},70,bpm\n",
        readings=('"Hz"', '"bpm"'),
    ),
    File(
        "position-two-readings",
        "A column says the hemisphere, and the sign of the degrees beside it another.",
        f"time,lat,N/S,lon,E/W\n{T},12.5,S,8.25,E\n",
        mended=f"time,lat,N/S,lon,E/W\n{T},-12.5,S,8.25,E\n",
        readings=("-12.5", "or 12.5"),
    ),
    File(
        "counting-not-said",
        "A count may be the total so far, or what was counted since the row before.",
        f"time,steps\n{T},113\n",
        {"counting": "steps=increment"},
        readings=("a running total", "the count of one interval"),
    ),
    File(
        "interval-not-said",
        "A count belongs to an interval that begins at its time, and nothing says how long it is.",
        f"start time,steps per interval\n{T},12\n",
        {"interval_s": "60"},
    ),
    File(
        "decimal-two-readings",
        "A mark stands before three digits wherever it stands: before decimals, or between thousands.",
        f"time;power (W)\n{T};1,250\n",
        {"decimal": "comma"},
        readings=("1.250", "1250"),
    ),
    File(
        "decimal-two-readings",
        "A point stands before exactly three digits of what is counted in whole numbers, and no other cell shows more.",
        f"time\tsteps total\n{T}\t987\n{T}\t1.003\n",
        {"decimal": "comma"},
        readings=("1,003", "1003"),
        name="a.tsv",
    ),
    File(
        "decimal-not-said",
        "A comma may stand before decimals in a table whose cells are separated by commas.",
        f'time,power (W)\n{T},"120,5"\n',
        {"decimal": "comma"},
        readings=("120.5", "no number"),
    ),
    File(
        "decimal-two-marks",
        "Decimals are written with a comma here and with a point there.",
        f"time;power (W)\n{T};120,5\n{T};120.5\n",
        {"decimal": "dot"},
        readings=("120,5", "120.5"),
    ),
)
