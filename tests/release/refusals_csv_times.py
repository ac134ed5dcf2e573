"""Examples of what is refused in the times of a table of text."""

from __future__ import annotations

from refusal_example import TABLE, File, T

EXAMPLES = (
    File(
        "no-time-column",
        "No column holds the time of a row.",
        f"when,heart_rate\n{T},60\n",
        {"columns": "when=time"},
    ),
    File(
        "time-two-columns",
        "Two columns could be the time of a row.",
        f"time,timestamp,heart_rate\n{T},2031-03-04T10:00:00Z,60\n",
        {"columns": "timestamp=-"},
        readings=('"time"', '"timestamp"'),
    ),
    File(
        "time-two-readings",
        "A date may have its day or its month first.",
        "time,heart_rate\n03/04/2031 09:00:00,60\n",
        {"time": "day-first", "zone": "Europe/Berlin"},
        readings=("2031-04-03 (day first)", "2031-03-04 (month first)"),
    ),
    File(
        "time-two-readings",
        "Seconds may count from 1970, or from the last day of 1989, as devices that write FIT have it.",
        "timestamp (s),heart_rate\n1078215330,60\n",
        {"time": "fit-s"},
        readings=("2004-03-02 (since 1970)", "2024-03-01 (since 1989-12-31)"),
    ),
    File(
        "time-two-readings",
        "A number may be a day of a spreadsheet, which counts from 1900 or from 1904.",
        "timestamp,heart_rate\n45352.5,60\n",
        {"time": "serial-1900", "zone": "Europe/Berlin"},
        readings=("2024-03-01 (system of 1900)", "2028-03-02 (system of 1904)"),
    ),
    File(
        "time-two-digit-year",
        "A year of two digits does not say its century, nor always which of three numbers it is.",
        "time,heart_rate\n03/04/31 09:00:00,60\n",
        {"century": "20", "time": "day-first", "zone": "Europe/Berlin"},
        readings=("1931", "2031-04-03 (day first)", "2031-03-04 (month first)"),
    ),
    File(
        "time-mixed",
        "The cells of one column write times in two ways.",
        f"time,heart_rate\n{T},60\n1930381200,61\n",
        mended=f"time,heart_rate\n{T},60\n2031-03-04T09:00:01Z,61\n",
        readings=(T, "1930381200"),
    ),
    File(
        "time-notation",
        "A time is written in a way that is not read.",
        "time,heart_rate\nsoon,60\n",
        mended=TABLE,
    ),
    File(
        "time-rounded",
        "A spreadsheet has rounded long counts, and their last digits are gone.",
        "time_ms,heart_rate\n1.93038E+12,60\n",
        mended="time_ms,heart_rate\n1930381200000,60\n",
    ),
    File(
        "time-unit-not-said",
        "A count has no unit, and there is more than one in which it would be a date, or none.",
        "timestamp,heart_rate\n12345,60\n",
        {"time": "elapsed-s", "start": T},
    ),
    File(
        "time-unit-contradicts",
        "The header names a unit in which the counts are no dates.",
        "timestamp (s),heart_rate\n1930381200250,60\n",
        {"time": "epoch-ms"},
        readings=("says s", "only in ms"),
    ),
    File(
        "no-start",
        "Times count from a start, and the file does not say when that was.",
        "elapsed time (s),heart_rate\n0,60\n1.5,61\n",
        {"start": T},
    ),
    File(
        "time-without-date",
        "A time of day comes without its day.",
        "time,heart_rate\n09:00:00,60\n",
        {"date": "2031-03-04", "zone": "Europe/Berlin"},
        readings=("a time of day", "since a start"),
    ),
    File(
        "time-two-readings",
        "Two parts of a time since a start may be minutes and seconds, or hours and minutes.",
        "elapsed,heart_rate\n10:15,60\n",
        {"time": "elapsed-mm:ss", "start": T},
        said={"start": T},
        readings=("10 min 15 s", "10 h 15 min"),
    ),
    File(
        "time-two-readings",
        "Times of day that fall by less than half a day may be out of order, or of another day.",
        "time,heart_rate\n09:00:05,60\n09:00:04,61\n",
        mended="time,heart_rate\n09:00:04,61\n09:00:05,60\n",
        said={"date": "2031-03-04", "zone": "Europe/Berlin"},
        readings=("out of order", "a day lies between"),
    ),
    File(
        "zone-word",
        "A short name behind a time may be a time zone, and such names stand for several.",
        "time,heart_rate\n2031-03-04 09:00:00 IST,60\n",
        {"zones": "IST=+05:30"},
        readings=("+05:30", "+01:00", "+02:00"),
    ),
    File(
        "time-days-only",
        "Days come without a time of day.",
        "date,at,heart_rate\n2031-03-04,09:00:00,60\n",
        {"columns": "at=time", "zone": "Europe/Berlin"},
    ),
    File(
        "no-time-zone",
        "Times are local, and nothing says in which zone.",
        "time,heart_rate\n2031-03-04T09:00:00,60\n",
        {"zone": "Europe/Berlin"},
    ),
    File(
        "zone-word",
        "A short name in a header may be a time zone, and such names stand for several.",
        "time (EST),heart_rate\n2031-03-04T09:00:00,60\n",
        {"columns": "time (EST)=time", "zone": "America/New_York"},
    ),
    File(
        "zone-two-readings",
        "The header and the cells say different things of the zone.",
        f"local time,heart_rate\n{T},60\n",
        {"columns": "local time=time"},
        readings=("local", "UTC"),
    ),
    File(
        "offset-two-readings",
        "A column of zones may say how the clock was set, or only where one was.",
        "time,timezone,heart_rate\n2031-03-04 09:00:00,Europe/Berlin,60\n",
        {"columns": "timezone=offset"},
        readings=('how the clock of "time" was set', "where one was while it ran on UTC"),
    ),
)
