"""Invented exports read by mapping files alone, held value for value against readers of the standard library.

The rows are read back from the same bytes with `csv`, `json` and `xml.etree` and converted here by hand (`datetime`,
`zoneinfo`), so that nothing of the project's own reading stands on both sides.
"""

from __future__ import annotations

import csv
import io
import json
from datetime import UTC, datetime, timedelta
from xml.etree import ElementTree as ET
from zoneinfo import ZoneInfo

import pytest
from openpyxl import Workbook

from mapped import Export, export, us
from vambrace.plugin import Claim

BERLIN = ZoneInfo("Europe/Berlin")
N = 500


def instant(when: datetime) -> int:
    return (when - datetime(1970, 1, 1, tzinfo=UTC)) // timedelta(microseconds=1)


def approx(pairs: list[tuple[int, float]]) -> list[tuple[int, object]]:
    return [(time, pytest.approx(value, rel=1e-12)) for time, value in pairs]


def held(found: Export, recording: int, signal: str) -> list[tuple[int, float]]:
    assert found.error is None, found.error
    return found.values[recording, signal]


WIDE = """
name = "band-wide"
absent = [-1, "off"]

[source]
kind = "csv"
delimiter = "semicolon"
decimal = "comma"
encoding = "cp1252"
skip_lines = 2

[time]
column = "Zeit"
format = "%d.%m.%Y %H:%M:%S"
zone = "Europe/Berlin"

[device]
manufacturer = "Maker"
product = "band-A"

[[signals]]
field = "Puls"
signal = "heart_rate"
unit = "bpm"

[[signals]]
field = "Höhe"
signal = "altitude"
unit = "ft"
"""


def test_a_wide_table_with_decimal_commas_and_local_times() -> None:
    lines = ["Auswertung;Höhe", "erstellt 2031", "Zeit;Puls;Höhe;Notiz"]
    start = datetime(2031, 10, 25, 23, 0)
    for n in range(N):
        pulse = "-1" if n % 7 == 0 else "off" if n % 11 == 0 else f"{60 + n % 40},5"
        lines.append(f"{start + timedelta(seconds=n):%d.%m.%Y %H:%M:%S};{pulse};{100 + n},25;{'x' if n % 2 else ''}")
    data = "\n".join([*lines, ""]).encode("cp1252")
    found = export(WIDE, data, "a.csv")
    rows = list(csv.DictReader(data.decode("cp1252").splitlines()[2:], delimiter=";"))
    times = [instant(datetime.strptime(row["Zeit"], "%d.%m.%Y %H:%M:%S").replace(tzinfo=BERLIN)) for row in rows]
    pulses = [
        (time, float(row["Puls"].replace(",", ".")))
        for time, row in zip(times, rows, strict=True)
        if row["Puls"] not in {"-1", "off"}
    ]
    heights = [(time, float(row["Höhe"].replace(",", ".")) * 0.3048) for time, row in zip(times, rows, strict=True)]
    assert found.claim is Claim.SIGNATURE
    assert held(found, 1, "heart_rate") == approx(pulses)
    assert held(found, 1, "altitude") == approx(heights)
    assert (found.about[1].manufacturer, found.about[1].product) == ("Maker", "band-A")
    assert found.not_carried == {"Notiz": N // 2}
    assert found.absent == N - len(pulses)
    assert any("band.toml" in sentence for sentence in found.conversions[1])


LONG = """
name = "hub-long"

[source]
kind = "csv"

[time]
column = "epoch"
format = "epoch"
unit = "ms"
stamp = "start"
interval_s = 60

[device]
column = "unit_id"

[where]
quality = ["good", "fair"]

[[signals]]
field = "amount"
signal = "heart_rate"
unit = "Hz"
where = { kind = "pulse" }

[[signals]]
field = "amount"
signal = "step_count"
unit = "steps"
counting = "increment"
where = { kind = ["walk", "run"] }
"""


def test_a_long_table_with_filters_several_devices_and_counts_of_intervals() -> None:
    text = io.StringIO()
    table = csv.writer(text)
    table.writerow(["epoch", "unit_id", "kind", "amount", "quality"])
    for n in range(N):
        kind = ("pulse", "walk", "run", "mood")[n % 4]
        amount = 1 + n % 3 / 4 if kind == "pulse" else n % 50
        table.writerow(
            [1_930_000_000_000 + 1000 * n, f"ring-{'AB'[n // 4 % 2]}", kind, amount, ("good", "fair", "bad")[n % 3]]
        )
    data = text.getvalue().encode()
    found = export(LONG, data, "a.csv")
    rows = [row for row in csv.DictReader(data.decode().splitlines()) if row["quality"] != "bad"]
    for number, device in ((1, "ring-A"), (2, "ring-B")):
        own = [row for row in rows if row["unit_id"] == device]
        assert found.about[number].product == device
        # A value of an interval stands at its end.
        times = {int(row["epoch"]): 1000 * int(row["epoch"]) + 60_000_000 for row in own}
        pulses = [(times[int(row["epoch"])], 60 * float(row["amount"])) for row in own if row["kind"] == "pulse"]
        assert [pair[1] for pair in held(found, number, "heart_rate")] == [pair[1] for pair in approx(pulses)]
        steps, total = [], 0.0
        for row in own:
            if row["kind"] in {"walk", "run"}:
                total += float(row["amount"])
                steps.append((times[int(row["epoch"])], total))
        assert held(found, number, "step_count")[-1][1] == total
        assert [value for _, value in held(found, number, "step_count")] == [value for _, value in steps]
    assert {time for time, _ in held(found, 1, "step_count")} <= {
        1000 * int(row["epoch"]) + extra for row in rows for extra in (0, 60_000_000)
    }
    moods = sum(row["kind"] == "mood" for row in rows)
    bad = sum(row["quality"] == "bad" for row in csv.DictReader(data.decode().splitlines()))
    assert found.not_carried == {"amount (kind: mood)": moods, 'amount (quality is not "good" or "fair")': bad}
    assert [n for (rule, _, _), n in found.notes.items() if rule == "rows-left-out"] == [bad]


DEVICES = """
name = "bench"

[source]
kind = "csv"
delimiter = "tab"

[time]
column = "s"
format = "elapsed"
unit = "s"
start = "2031-03-04T09:00:00+01:00"

[[signals]]
field = "A"
signal = "heart_rate"
unit = "bpm"
device = "band-A"

[[signals]]
field = "B"
signal = "heart_rate"
unit = "bpm"
device = "strap-R"

[[signals]]
field = "B cad"
signal = "cadence"
unit = "spm"
device = "strap-R"
"""


def test_one_column_for_each_device() -> None:
    lines = ["s\tA\tB\tB cad", *(f"{n / 2}\t{60 + n % 9}\t{61 + n % 7}\t{80 + n % 5}" for n in range(N))]
    data = "\r\n".join([*lines, ""]).encode()
    found = export(DEVICES, data, "a.tsv")
    rows = list(csv.DictReader(data.decode().splitlines(), delimiter="\t"))
    start = us("2031-03-04T08:00:00+00:00")
    for number, product, field, signal in (
        (1, "band-A", "A", "heart_rate"),
        (2, "strap-R", "B", "heart_rate"),
        (2, "strap-R", "B cad", "cadence"),
    ):
        assert found.about[number].product == product
        assert held(found, number, signal) == [(start + int(float(row["s"]) * 1e6), float(row[field])) for row in rows]


SPLIT = """
name = "logger"

[source]
kind = "csv"

[time]
date = "day"
column = "clock"
date_format = "%b %d, %Y"
format = "%I:%M %p"
zone_column = "offset"

[[signals]]
field = "spo2"
signal = "oxygen_saturation"
unit = "fraction"
"""


def test_date_and_time_of_day_in_two_columns_with_an_offset_in_a_third() -> None:
    text = io.StringIO()
    table = csv.writer(text)
    table.writerow(["day", "clock", "offset", "spo2"])
    start = datetime(2031, 3, 4, 22, 30)
    for n in range(N):
        when = start + timedelta(minutes=n)
        table.writerow([f"{when:%b %d, %Y}", f"{when:%I:%M %p}", ("+01:00", "-03:30")[n % 2], 0.9 + n % 10 / 100])
    data = text.getvalue().encode()
    found = export(SPLIT, data, "a.csv")
    rows = csv.DictReader(data.decode().splitlines())
    expected = [
        (
            instant(datetime.strptime(f"{row['day']} {row['clock']} {row['offset']}", "%b %d, %Y %I:%M %p %z")),
            100 * float(row["spo2"]),
        )
        for row in rows
    ]
    assert held(found, 1, "oxygen_saturation") == approx(expected)


NESTED = """
name = "sleepy"

[recognise]
suffix = ".json"
header = ["nights", "wearer_zone"]

[source]
kind = "json"
records = "export.nights[].epochs"

[time]
column = "at.local"
format = "iso"
zone = "Europe/Berlin"

[device]
column = "../device.model"
serial_column = "../../batch"

[[signals]]
field = "values.hr"
signal = "heart_rate"
unit = "bpm"

[[signals]]
field = "skin.0"
signal = "skin_temperature"
unit = "degF"
"""


def nested() -> bytes:
    nights = []
    for night in range(3):
        start = datetime(2031, 3, 4 + night, 22, 0)
        epochs = [
            {
                "at": {"local": f"{start + timedelta(minutes=n):%Y-%m-%dT%H:%M:%S}"},
                "values": {"hr": None if n % 5 == 0 else 50 + n % 20, "calm": n},
                "skin": [90.5 + n % 8, 1],
            }
            for n in range(100)
        ]
        nights.append({"epochs": epochs, "device": {"model": f"ring-{'AB'[night % 2]}", "mood": "x"}})
    return json.dumps({"export": {"wearer_zone": "x", "nights": nights}, "batch": "7"}, indent=1).encode()


def nested_rows(data: bytes, device: str) -> list[tuple[int, object, float]]:
    document = json.loads(data)
    return [
        (
            instant(datetime.fromisoformat(epoch["at"]["local"]).replace(tzinfo=BERLIN)),
            epoch["values"]["hr"],
            (epoch["skin"][0] - 32) / 1.8,
        )
        for night in document["export"]["nights"]
        if night["device"]["model"] == device
        for epoch in night["epochs"]
    ]


def test_nested_json_whose_devices_stand_around_their_records() -> None:
    # The zone's name stands first, as the beginning of the file has to show it.
    data = nested()
    found = export(NESTED, data, "a.json")
    assert found.claim is Claim.SIGNATURE
    for number, device in ((1, "ring-A"), (2, "ring-B")):
        rows = nested_rows(data, device)
        assert (found.about[number].product, found.about[number].serial) == (device, "7")
        assert held(found, number, "heart_rate") == [(time, hr) for time, hr, _ in rows if hr is not None]
        assert held(found, number, "skin_temperature") == approx([(time, skin) for time, _, skin in rows])
    assert found.not_carried == {"values.calm": 300, "skin[]": 300, "../../export.wearer_zone": 1}


LINES = """
name = "lines"

[recognise]
header = ["ts", "hr"]

[source]
kind = "jsonl"

[time]
column = "ts"
zone = "UTC"

[[signals]]
field = "hr"
signal = "heart_rate"
unit = "bpm"
"""


def test_json_lines() -> None:
    start = datetime(2031, 3, 4, 9, 0)
    lines = [
        json.dumps({"ts": f"{start + timedelta(seconds=n):%Y-%m-%d %H:%M:%S}", "hr": 60 + n / 8, "who": {"a": [1, 2]}})
        for n in range(N)
    ]
    data = "\n".join(lines).encode()
    found = export(LINES, data, "a.jsonl")
    rows = [json.loads(line) for line in data.splitlines()]
    assert found.claim is Claim.SIGNATURE
    assert held(found, 1, "heart_rate") == [
        (instant(datetime.fromisoformat(row["ts"]).replace(tzinfo=UTC)), row["hr"]) for row in rows
    ]
    assert found.not_carried == {"who.a[]": 2 * N}


COLUMNS = """
name = "columns"

[recognise]
header = ["series"]

[source]
kind = "json"
columns = "series"

[time]
column = "t"
format = "epoch"
unit = "s"
epoch = "2000-01-01T00:00:00Z"

[[signals]]
field = "power.watts"
signal = "power"
unit = "W"
"""


def test_columns_that_are_arrays() -> None:
    count = 25_000
    document = {
        "made": "x",
        "series": {
            "power": {"watts": [None if n % 9 == 0 else n % 400 for n in range(count)]},
            "t": [985_000_000 + n for n in range(count)],
            "spare": [1, 2, 3],
        },
    }
    data = json.dumps(document).encode()
    found = export(COLUMNS, data, "a.json")
    start = us("2000-01-01T00:00:00+00:00")
    series = json.loads(data)["series"]
    expected = [
        (start + 1_000_000 * t, watts)
        for t, watts in zip(series["t"], series["power"]["watts"], strict=True)
        if watts is not None
    ]
    assert held(found, 1, "power") == expected
    assert found.not_carried == {"made": 1, "series.spare[]": 3}


XML = """
name = "vitals"

[recognise]
header = ["vitals", "reading"]

[source]
kind = "xml"
records = "session/reading"

[time]
column = "@at"
format = "%Y-%m-%d %H:%M:%S %z"

[device]
serial_column = "../@device"

[where]
"@ok" = true

[[signals]]
field = "value"
signal = "heart_rate"
unit = "bpm"
where = { "@kind" = "pulse" }

[[signals]]
field = "value"
signal = "respiratory_rate"
unit = "/min"
where = { "@kind" = "breath" }
"""


def xml(count: int = 3000) -> bytes:
    parts = ['<?xml version="1.0"?>\n<vitals version="2">\n<!-- <reading at="never"/> -->\n']
    for session in range(2):
        parts.append(f'<session device="7{session}" mood="calm">\n <title>a &amp; b</title>\n')
        for n in range(count):
            when = datetime(2031, 3, 4 + session, 9, 0) + timedelta(seconds=n)
            kind = ("pulse", "breath")[n % 2]
            extra = ' note="a &lt; b"' if n % 97 == 0 else ""
            inner = f"<value>{12 + n % 9}.5</value>" if n % 50 else f"<value><![CDATA[{20 + n % 9}]]></value>\n"
            parts.append(
                f'  <reading kind="{kind}" at="{when:%Y-%m-%d %H:%M:%S} +0100" ok="{str(n % 3 > 0).lower()}"{extra}>'
                f'{inner}<src id="{n}"/></reading>\n'
            )
        parts.append("</session>\n")
    return "".join([*parts, "</vitals>\n"]).encode()


def test_xml_records_with_attributes_child_texts_and_a_field_around_them() -> None:
    data = xml()
    found = export(XML, data, "a.xml")
    assert found.claim is Claim.SIGNATURE
    root = ET.fromstring(data)
    for number, session in enumerate(root.iter("session"), 1):
        assert found.about[number].serial == session.get("device")
        for kind, signal in (("pulse", "heart_rate"), ("breath", "respiratory_rate")):
            expected = [
                (
                    instant(datetime.strptime(each.get("at") or "", "%Y-%m-%d %H:%M:%S %z")),
                    float(each.findtext("value") or ""),
                )
                for each in session.iter("reading")
                if each.get("ok") == "true" and each.get("kind") == kind
            ]
            assert held(found, number, signal) == expected
    readings = list(root.iter("reading"))
    assert found.not_carried == {
        "@version": 1,
        "session@mood": 2,
        "session/title": 2,
        "@note": sum("note" in each.attrib for each in readings),
        "src@id": len(readings),
        'value (@ok is not "true")': sum(each.get("ok") == "false" for each in readings),
    }


SHEET = """
name = "sheet"

[source]
kind = "xlsx"
sheet = "Data"
header_row = 2

[time]
column = "Time"
zone = "UTC"

[constants]
who = "strap-R"

[device]
column = "who"

[[signals]]
field = "HR"
signal = "heart_rate"
unit = "bpm"
"""


def test_a_sheet_of_a_spreadsheet() -> None:
    book = Workbook()
    sheet = book.create_sheet("Data")
    sheet.append(["A title"])
    sheet.append(["Time", "HR", "Note"])
    start = datetime(2031, 3, 4, 9, 0)
    rows = [(start + timedelta(seconds=n), None if n % 6 == 0 else 60 + n / 4) for n in range(N)]
    for when, rate in rows:
        sheet.append([when, rate, "x"])
    data = io.BytesIO()
    book.save(data)
    found = export(SHEET, data.getvalue(), "a.xlsx")
    assert found.claim is Claim.SIGNATURE
    assert held(found, 1, "heart_rate") == [(instant(when.replace(tzinfo=UTC)), rate) for when, rate in rows if rate]
    assert found.about[1].product == "strap-R"
    assert found.not_carried == {"Note": N}
