"""Drafts of mappings: drafted, refused while a question is open, answered, and converted to the exact rows.

The exports are our own inventions; the rows that they must give were worked out by hand.
"""

from __future__ import annotations

import io
from datetime import datetime
from pathlib import Path

import numpy as np
import openpyxl
import pytest

import vambrace
from answering import answered
from converted import samples
from vambrace import units
from vambrace.cli.app import run
from vambrace.errors import VambraceError
from vambrace.schema import SIGNALS
from vambrace_plugins.mapping.drafts.scales import factor_of

WIDE = (
    "halls.csv",
    "Auswertung von Band A\nDatum;Uhrzeit;Puls;Schritte;Notiz\n"
    "04.03.2031;09:00;61,5;12;\n04.03.2031;09:01;-1;30;Treppe\n14.03.2031;09:02;63,5;0;\n",
    {
        "absent": "[-1]",
        "time.zone": '"Europe/Berlin"',
        "time.stamp": '"start"',
        "time.interval_s": "60",
        "Puls.signal": '"heart_rate"',
        "Schritte.signal": '"step_count"',
        "Schritte.counting": '"increment"',
    },
    """
    2031-03-04T08:00:00 heart_rate 61.5
    2031-03-04T08:01:00 step_count 12
    2031-03-04T08:02:00 step_count 42
    2031-03-14T08:02:00 heart_rate 63.5
    2031-03-14T08:03:00 step_count 42
    """,
)
LONG = (
    "hub.csv",
    "unit_id,epoch,kind,amount,uom\nring-A,1930381200000,pulse,1.5,Hz\nring-B,1930381200000,pulse,1.25,Hz\n"
    "ring-A,1930381202000,respiration rate,15,/min\nring-A,1930381203000,mood,3,\nring-A,1930381204000,mood,4,\n",
    {"device.column": '"unit_id"', "amount[mood].signal": None},
    """
    2031-03-04T09:00:00 heart_rate 75
    2031-03-04T09:00:00 heart_rate 90
    2031-03-04T09:00:02 respiratory_rate 15
    """,
)
BESIDE = (
    "bench.tsv",
    "s\tA\tB\n0\t60\t61\n0.5\t62\t63\n1.0\t64\t66\n",
    {
        "time.start": '"2031-03-04T09:00:00+01:00"',
        "A.signal": '"heart_rate"\ndevice = "band-A"',
        "A.unit": '"bpm"',
        "B.signal": '"heart_rate"\ndevice = "strap-R"',
        "B.unit": '"bpm"',
    },
    """
    2031-03-04T08:00:00 heart_rate 60
    2031-03-04T08:00:00 heart_rate 61
    2031-03-04T08:00:00.500000 heart_rate 62
    2031-03-04T08:00:00.500000 heart_rate 63
    2031-03-04T08:00:01 heart_rate 64
    2031-03-04T08:00:01 heart_rate 66
    """,
)
NESTED = (
    "nights.json",
    '{"made": "2031-03-05", "nights": [{"ring": {"serial": "7"}, "epochs": ['
    '{"at": "2031-03-04T23:00:00", "values": {"hr": 58, "calm": 3}, "skin_temp": 91.4},'
    '{"at": "2031-03-04T23:01:00", "values": {"hr": null, "calm": 2}, "skin_temp": 91.5}]}]}',
    {"time.zone": '"UTC"', "skin_temp.unit": '"degF"', "values.calm.signal": None},
    """
    2031-03-04T23:00:00 heart_rate 58
    2031-03-04T23:00:00 skin_temperature 33
    2031-03-04T23:01:00 skin_temperature 33.0555555556
    """,
)
ARRAYS = (
    "series.json",
    '{"device": {"id": "band-A"}, "begun": "2031-03-04T09:00:00Z",'
    '"series": {"t": [0, 60, 120], "power": {"watts": [180, 200, 210]}}}',
    {"time.unit": '"s"', "time.start": '"2031-03-04T09:00:00Z"'},
    """
    2031-03-04T09:00:00 power 180
    2031-03-04T09:01:00 power 200
    2031-03-04T09:02:00 power 210
    """,
)
ELEMENTS = (
    "vitals.xml",
    '<vitals><session device="7">\n'
    '<reading kind="pulse" at="2031-03-04 09:00:00 +0100"><value>61</value></reading>\n'
    '<reading kind="mood" at="2031-03-04 09:00:01 +0100"><value>5</value></reading>\n'
    '<reading kind="pulse" at="2031-03-04 09:00:02 +0100"><value>62</value></reading>\n</session></vitals>\n',
    {"value[mood].signal": None},
    """
    2031-03-04T08:00:00 heart_rate 61
    2031-03-04T08:00:02 heart_rate 62
    """,
)
LINES = (
    "wrist.jsonl",
    '{"ts": "2031-03-04T09:00:00Z", "wrist": {"spo2": 97, "lux": 12}}\n'
    '{"ts": "2031-03-04T09:01:00Z", "wrist": {"spo2": 96, "lux": 14}}\n',
    {"wrist.lux.signal": None},
    """
    2031-03-04T09:00:00 oxygen_saturation 97
    2031-03-04T09:01:00 oxygen_saturation 96
    """,
)
SPANS = (
    "walks.csv",
    "began at,ended at,steps per interval,pulse (Hz)\n4/13/31 9:00 AM,4/13/31 9:01 AM,30,1.5\n"
    "4/13/31 9:01 AM,4/13/31 9:02 AM,20,1.25\n",
    {"time.format": '"%m/%d/%y %I:%M %p"', "time.century": '"20"', "time.zone": '"-05:00"'},
    """
    2031-04-13T14:01:00 step_count 30
    2031-04-13T14:02:00 step_count 50
    2031-04-13T14:00:00 heart_rate 90
    2031-04-13T14:01:00 heart_rate 75
    """,
)
EXPORTS = [WIDE, LONG, BESIDE, NESTED, ARRAYS, ELEMENTS, LINES, SPANS]


def drafted(folder: Path, name: str, data: str | bytes) -> tuple[Path, Path]:
    """Return the export and the draft of its mapping, from the command line."""
    folder.mkdir(exist_ok=True)
    export, draft = folder / name, folder / "draft.toml"
    export.write_bytes(data if isinstance(data, bytes) else data.encode())
    assert run(["draft-mapping", str(export), "--to", str(draft)]) == 0
    return export, draft


def rows(folder: Path, export: Path, mapping: Path) -> list[str]:
    assert run(["inspect", str(export), "--mapping", str(mapping), "--all"]) == 0
    assert run(["convert", str(export), "--to", str(folder / "ds"), "--mapping", str(mapping)]) == 0
    found = samples(folder / "ds").to_pylist()
    return sorted(
        f"{row['time'].replace(tzinfo=None).isoformat()} {row['signal']} {row['value']:.12g}" for row in found
    )


@pytest.mark.parametrize(("name", "data", "answers", "expected"), EXPORTS, ids=[each[0] for each in EXPORTS])
def test_a_draft_whose_questions_are_answered_reads_every_value(
    name: str, data: str, answers: dict[str, str | None], expected: str, tmp_path: Path
) -> None:
    export, draft = drafted(tmp_path, name, data)
    draft.write_text(answered(draft.read_text("utf-8"), answers), "utf-8")
    assert rows(tmp_path, export, draft) == sorted(line.strip() for line in expected.strip().splitlines())


@pytest.mark.parametrize(("name", "data", "answers", "expected"), EXPORTS, ids=[each[0] for each in EXPORTS])
def test_nothing_is_read_while_a_question_is_open(
    name: str, data: str, answers: object, expected: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    export, draft = drafted(tmp_path, name, data)
    said = capsys.readouterr().out
    text = draft.read_text("utf-8").splitlines()
    asked = [at for at, line in enumerate(text, 1) if ' = "? ' in line]
    assert asked, "each of these exports leaves something open"
    n = f"{len(asked)} open question{'s' if len(asked) > 1 else ''}"
    assert f"with {n} (line{'s' if len(asked) > 1 else ''} {', '.join(map(str, asked))})" in said
    assert f"$ vambrace inspect {export} --mapping {draft}" in said
    to = tmp_path / "ds"
    for command in (["inspect", str(export)], ["convert", str(export), "--to", str(to)]):
        assert run([*command, "--mapping", str(draft)]) == 2
        error = capsys.readouterr().err
        line = int(error.partition("draft.toml, line ")[2].partition(":")[0])
        assert line in asked, error
        assert "is still an open question" in error
        assert "Answer it: write what" in error
    assert not to.exists()


def test_a_spreadsheet_is_drafted(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.append(["Ride of band-A"])
    sheet.append(["when", "effort (W)", "tempo km/h"])
    sheet.append([datetime(2031, 3, 4, 9, 0, 0), 180, 21.6])
    sheet.append([datetime(2031, 3, 4, 9, 0, 5), 190, 36])
    book.create_sheet("Notes").append(["hello"])
    data = io.BytesIO()
    book.save(data)
    export, draft = drafted(tmp_path, "ride.xlsx", data.getvalue())
    answers = {"time.zone": '"UTC"', "effort (W).signal": '"power"', "tempo km/h.signal": '"speed"'}
    draft.write_text(answered(draft.read_text("utf-8"), answers), "utf-8")
    assert rows(tmp_path, export, draft) == [
        "2031-03-04T09:00:00 power 180",
        "2031-03-04T09:00:00 speed 6",
        "2031-03-04T09:00:05 power 190",
        "2031-03-04T09:00:05 speed 10",
    ]


def test_what_is_certain_is_no_question_and_says_why(tmp_path: Path) -> None:
    text = "Recorded (UTC),heart rate (Hz),steps total\n2031-03-04T09:00:00,1.5,10\n2031-03-04T09:00:30,2.9,30\n"
    _, draft = drafted(tmp_path, "sure.csv", text)
    written = draft.read_text("utf-8")
    assert 'unit = "Hz"  # sure: the name says it' in written
    assert "values 1.5 to 2.9" in written
    assert 'counting = "total"  # sure: the name says so' in written


def test_inspect_says_why_a_mapping_claims_a_file_or_not(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    export, draft = drafted(tmp_path, "at.csv", "at,hr\n2031-03-04T09:00:00Z,61\n2031-03-04T09:00:01Z,62\n")
    other = tmp_path / "other.csv"
    other.write_text("when,hr\n2031-03-04T09:00:00Z,61\n")
    capsys.readouterr()
    assert run(["inspect", str(export), str(other), "--mapping", str(draft), "--all"]) == 0
    fits, not_so = " ".join(capsys.readouterr().out.split()).split("other.csv ", 1)
    assert "at: signature, wins (mapping draft.toml)" in fits
    assert '"at", "hr" stand in a line of its beginning, as draft.toml says' in fits
    assert "at: none (mapping draft.toml)" in not_so
    assert '"at", "hr" do not stand in a line of its beginning, as draft.toml says' in not_so


def test_a_name_that_is_near_a_signal_narrows_the_question(tmp_path: Path) -> None:
    text = "at,temp of it\n2031-03-04T09:00:00Z,91.2\n2031-03-04T09:00:01Z,91.3\n"
    _, draft = drafted(tmp_path, "near.csv", text)
    written = draft.read_text("utf-8")
    assert "They would fit body_temperature, skin_temperature, ambient_temperature." in written
    assert "Cel or [degF] or K of body_temperature" in written


def test_a_time_that_is_the_same_for_every_row_is_not_taken_for_theirs(tmp_path: Path) -> None:
    data = '{"start": "2031-03-04T09:00:00Z", "interval": 60, "data": {"hr": [61, 62, 63], "watts": [100, 110, 120]}}'
    _, draft = drafted(tmp_path, "every.json", data)
    assert 'column = "? which field says when a row was measured?' in draft.read_text("utf-8")


PACES = "timestamp,hr,pace\n1930381200000,61,5:42\n1930381201000,62,5:40\n"
BEDTIMES = "date,resting hr,hr,asleep from\n2031-03-04,50,61,22:40\n2031-03-05,51,62,23:10\n"


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (PACES, 'column = "timestamp"'),
        (PACES.replace("timestamp", "at.1"), 'column = "at.1"'),
        (BEDTIMES, 'column = "? does \\"asleep from\\" say when a row was measured?'),
        ("hr,pace\n61,5:42\n62,5:40\n", 'column = "? does \\"pace\\" say when a row was measured?'),
    ],
)
def test_a_clock_whose_name_says_no_time_is_not_taken_for_the_time_of_rows(
    data: str, says: str, tmp_path: Path
) -> None:
    _, draft = drafted(tmp_path, "clocks.csv", data)
    assert says in draft.read_text("utf-8")


def test_which_field_holds_the_values_is_asked_where_several_may(tmp_path: Path) -> None:
    data = "".join(
        f'{{"at": {1930381200 + at}, "w": {60 + at % 7}, "q": {at * 37 % 50}, "is": "hr"}}\n' for at in range(9)
    )
    _, draft = drafted(tmp_path, "several.jsonl", data)
    assert 'field = "? which of \\"w\\", \\"q\\" holds the values?"' in draft.read_text("utf-8")
    _, draft = drafted(tmp_path / "named", "named.jsonl", data.replace('"w"', '"value"'))
    assert 'field = "value"' in draft.read_text("utf-8")


def test_a_unit_that_the_values_do_not_fit_is_asked(tmp_path: Path) -> None:
    _, draft = drafted(
        tmp_path, "odd.csv", "time,heart rate (bpm)\n2031-03-04T09:00:00Z,1.2\n2031-03-04T09:00:01Z,1.3\n"
    )
    written = draft.read_text("utf-8")
    assert 'unit = "? Hz or bpm: values 1.2 to 1.3; the values fit Hz"' in written
    assert '# the name or a field says "bpm", which the values do not fit' in written


@pytest.mark.parametrize(
    ("cells", "key", "asks"),
    [
        (["03/04/2031 09:00:00Z", "05/06/2031 09:00:00Z"], "format", "is the day or the month first"),
        (["1200000000", "1200000001"], "epoch", "1970-01-01T00:00:00Z (it begins 2008-01-10) or 1989-12-31T00:00:00Z"),
        (["09:00:00", "09:00:01"], "first_date", "the date of the first row"),
        (["2031-03-04 09:00:00", "2031-03-04 09:00:01"], "zone", "where did the clock stand?"),
    ],
)
def test_times_of_two_readings_are_asked(cells: list[str], key: str, asks: str, tmp_path: Path) -> None:
    text = "time,hr\n" + "".join(f"{cell},6{at}\n" for at, cell in enumerate(cells))
    _, draft = drafted(tmp_path, "times.csv", text)
    (line,) = [line for line in draft.read_text("utf-8").splitlines() if line.startswith(f'{key} = "? ')]
    assert asks in line


def test_a_file_that_is_there_is_never_overwritten_unasked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("hub.csv").write_text(LONG[1])
    Path("hub.toml").write_text("mine")
    assert run(["draft-mapping", "hub.csv"]) == 2
    assert "hub.toml: it is there already" in capsys.readouterr().err
    assert Path("hub.toml").read_text() == "mine"
    assert run(["draft-mapping", "hub.csv", "--overwrite"]) == 0
    assert vambrace.draft_mapping("hub.csv", "other.toml").questions
    assert Path("hub.toml").read_text() == Path("other.toml").read_text()


@pytest.mark.parametrize(
    ("name", "data", "says"),
    [
        ("a.bin", bytes(range(256)) * 9, "it is no text, no JSON, no XML and no spreadsheet"),
        ("a.zip", b"PK\x03\x04" + bytes(60), "it is an archive"),
        ("a.csv", b"", "there is nothing in it"),
        ("a.csv", b"2031-03-04,61\n2031-03-05,62\n", "no line names the columns of a table"),
        ("a.csv", b"name,town\nx,y\nz,w\n", "none of its fields may hold a signal"),
        ("a.json", b"{}", "there is no array of records in it"),
        ("a.xml", b"<x/>", "no element inside its outermost one"),
        ("a.xml", b'<!DOCTYPE x [<!ENTITY a "b">]><x><r t="1"/></x>', "DOCTYPE"),
        ("a.xlsx", b"PK\x03\x04" + bytes(60), "it is no whole spreadsheet"),
    ],
)
def test_what_cannot_be_drafted_is_refused_in_a_sentence(name: str, data: bytes, says: str, tmp_path: Path) -> None:
    (tmp_path / name).write_bytes(data)
    with pytest.raises(VambraceError, match=says) as raised:
        vambrace.draft_mapping(tmp_path / name, tmp_path / "draft.toml")
    assert name in str(raised.value)
    assert raised.value.todo
    assert not (tmp_path / "draft.toml").exists()


def test_rows_far_behind_are_looked_at_too(tmp_path: Path) -> None:
    rows_before = "".join(f"2031-03-04T09:00:{at % 60:02d}Z,pulse,6{at % 10}\n" for at in range(60_000))
    behind = "".join(f"2031-03-04T10:00:{at % 60:02d}Z,spo2,9{at % 10}\n" for at in range(60_000))
    _, draft = drafted(tmp_path, "late.csv", f"at,kind,amount\n{rows_before}{behind}")
    assert 'where = { kind = "spo2" }' in draft.read_text("utf-8")


def test_the_scales_of_units_are_those_of_the_core() -> None:
    for signal in SIGNALS.values():
        for unit in signal.units:
            scale = factor_of(signal.name, unit)
            assert scale is not None, f"{signal.name} in {unit}"
            for value in (1.0, 98.6):
                (expected,) = units.conversion(unit, signal).apply(np.array([value])).tolist()
                assert value * scale[0] + scale[1] == pytest.approx(expected), f"{signal.name} in {unit}"
