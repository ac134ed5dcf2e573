"""Several known columns of times in a table: which is read is recorded, and refused where they disagree."""

from __future__ import annotations

import pytest

from csv_canonical import Canonical, canonical
from csv_instants import instants, sentences
from vambrace_plugins.importers.csv import Options

ZULU = ["2024-03-13T09:00:00Z", "2024-03-13T09:00:10Z"]


def read(header: str, rows: list[tuple[str, str]], zone: str | None = None, **options: object) -> Canonical:
    text = f"{header},heart_rate\n" + "".join(f"{first},{second},7{at}\n" for at, (first, second) in enumerate(rows))
    return canonical(text.encode(), Options(**options), zone)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("header", "second", "zone"),
    [
        ("time (UTC),timestamp (ms)", ["1710320400000", "1710320410250"], None),
        ("time (UTC),measured at", ["2024-03-13T10:00:00+01:00", "2024-03-13T10:00:10+01:00"], None),
        ("time (UTC),local time", ["2024-03-13 10:00:00", "2024-03-13 10:00:10"], "Europe/Berlin"),
        ("time (UTC),local time", ["2024-03-13 10:00:00", "2024-03-13 10:00:10"], None),  # of some zone
        ("time (UTC),local time", ["2024-03-13 14:45", "2024-03-13 14:45"], None),  # in minutes, of a zone at +05:45
        ("time (UTC),elapsed (s)", ["0", "9"], None),
    ],
)
def test_which_column_is_read_is_recorded(header: str, second: list[str], zone: str | None) -> None:
    cells = [cell[:-1] for cell in ZULU]
    result = read(header, list(zip(cells, second, strict=True)), zone)
    assert instants(result) == ZULU
    other = header.partition(",")[2]
    assert f'times: read from "time (UTC)", and not from "{other}"' in sentences(result)


@pytest.mark.parametrize(
    ("header", "second", "zone"),
    [
        ("time (UTC),timestamp (ms)", ["1710320400000", "1710320411250"], None),
        ("time (UTC),timestamp (ms)", ["1710324000000", "1710324010000"], None),  # an hour later
        ("time (UTC),measured at", ["2024-03-13T09:00:00Z", "2024-03-13T09:05:00Z"], None),
        ("time (UTC),local time", ["2024-03-13 09:00:00", "2024-03-13 09:00:10"], "Europe/Berlin"),
        ("time (UTC),local time", ["2024-03-13 10:00:00", "2024-03-13 10:01:10"], None),
        ("start time (UTC),time", ["2024-03-13 10:00:00", "2024-03-13 10:01:10"], None),
    ],
)
def test_columns_that_say_other_instants_are_refused(header: str, second: list[str], zone: str | None) -> None:
    rows = list(zip((cell[:-1] for cell in ZULU), second, strict=True))
    result = read(header, rows, zone)
    main, other = header.split(",")
    assert (result.code, result.channels) == ("time-two-columns", {}), result.said
    assert f'"{main}"' in result.said
    assert f"csv.columns={other}=-" in result.said
    assert len(instants(read(header, rows, zone, columns=f"{other}=-"))) == 2


def test_the_column_that_the_user_names_is_read_whatever_others_say() -> None:
    rows = list(zip(ZULU, ["2024-03-13T09:05:00Z", "2024-03-13T09:05:10Z"], strict=True))
    result = read("time (UTC),measured at", rows, columns="measured at=time")
    assert instants(result) == [second for _, second in rows]
    assert 'times: read from "measured at", and not from "time (UTC)"' in sentences(result)
