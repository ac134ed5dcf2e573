"""A wrong mapping is refused before any row is read: one sentence with its file, line, reason and remedy."""

from __future__ import annotations

import re
import tomllib

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mapped import export
from vambrace.errors import VambraceError
from vambrace.plugin import SIGNALS
from vambrace_plugins.mapping import load
from vambrace_plugins.mapping.model import KINDS
from vambrace_plugins.mapping.toml_lines import lines_of

GOOD = """name = "band"
title = "Band"
absent = [-1]

[source]
kind = "csv"
delimiter = "comma"

[time]
column = "when"
format = "iso"
zone = "UTC"

[where]
ok = "yes"

[[signals]]
field = "puls"
signal = "heart_rate"
unit = "bpm"

[[signals]]
field = "walk"
signal = "step_count"
unit = "steps"
counting = "total"
"""


def fault(text: str) -> str:
    with pytest.raises(VambraceError) as caught:
        load("band.toml", text)
    return str(caught.value)


WRONG = [
    ('unit = "bpm"', 'unit = "km/h"', 20, r'"km/h" is no unit of heart_rate\. Give one of /min, bpm, Hz'),
    ('"heart_rate"', '"hart_rate"', 19, r'cannot be "hart_rate"\. Did you mean "heart_rate"\?'),
    ('zone = "UTC"', 'zones = "UTC"', 12, r'"zones" is no key of \[time\]\. Did you mean zone\?'),
    ('title = "Band"', 'tilte = "Band"', 2, r'"tilte" is no key of a mapping\. Did you mean title\?'),
    ('column = "when"', "column = 7", 10, r"time\.column must be a text, and is a whole number"),
    ('column = "when"\n', "", 9, r"time\.column is missing: it names the field that holds the times"),
    ('[time]\ncolumn = "when"\nformat = "iso"\nzone = "UTC"\n', "", 1, r"time.* is missing"),
    ('format = "iso"', 'format = "ISO"', 11, r'time\.format cannot be "ISO"\. Give one of iso, day-first'),
    ('format = "iso"', 'format = "%d.%m %H:%M"', 11, r"a date needs year, month and day"),
    ('format = "iso"', 'format = "%H:%M"', 11, r"has no date, and nothing else says it"),
    (
        'format = "iso"',
        'format = "%d.%m.%y %H:%M"',
        11,
        r'two digits\. Add their first two digits, as in century = "20"',
    ),
    ('format = "iso"', 'format = "%Q"', 11, r"%Q is no part that is known"),
    ('format = "iso"\nzone = "UTC"', 'format = "epoch"', 9, r"time\.unit is missing"),
    ('format = "iso"', 'format = "epoch"\nunit = "s"', 13, r"time\.zone has no meaning"),
    ('format = "iso"\nzone = "UTC"', 'format = "elapsed"\nunit = "s"', 9, r"time\.start is missing"),
    ('zone = "UTC"', 'zone = "Mars/Base"', 12, r"Mars/Base"),
    ('zone = "UTC"', 'zone = "UTC"\nstamp = "start"', 13, r"nothing says how long these are\. Add interval_s"),
    ('kind = "csv"', 'kind = "cvs"', 6, r'Did you mean "csv"\?'),
    ('delimiter = "comma"', 'records = "a"', 7, r"source\.records has no meaning for csv"),
    ('kind = "csv"\ndelimiter = "comma"', 'kind = "json"', 5, r"can be told from any other\. Add recognise\.header"),
    ('counting = "total"\n', "", 22, r'"walk" does not say .* running total or the count of one interval'),
    ('counting = "total"', 'counting = "increment"', 9, r'the middle or the end of what "walk" counts'),
    ('unit = "bpm"', 'unit = "bpm"\ncounting = "total"', 21, r"counting has no meaning for heart_rate"),
    (
        '"step_count"\nunit = "steps"\ncounting = "total"',
        '"heart_rate"\nunit = "Hz"',
        22,
        r'both "puls" \(line 17\) and "walk" are heart_rate of one device\. Leave one out',
    ),
    ('field = "walk"', 'field = "puls"', 23, r'"puls" is both heart_rate \(line 17\) and step_count'),
    ('zone = "UTC"', 'zone = "? where was it worn"', 12, r"time\.zone is still an open question \(where was it worn\)"),
    ('zone = "UTC"', "zone = UTC", 12, r"it is no TOML"),
    ('name = "band"', 'name = "My Band"', 1, r"Use small letters"),
    ("absent = [-1]", "absent = []", 3, r"absent must be a text or a number"),
    ('ok = "yes"', "ok = { a = 1 }", 15, r"where\.ok must be a text or a number"),
]


def test_the_good_mapping_is_good() -> None:
    assert load("band.toml", GOOD).fields == ("when", "puls", "walk", "ok")


@pytest.mark.parametrize(
    ("before", "after", "line", "said"), WRONG, ids=[after.replace("\n", " ")[:40] for _, after, _, _ in WRONG]
)
def test_each_fault_is_one_sentence_with_file_line_and_remedy(before: str, after: str, line: int, said: str) -> None:
    assert GOOD.count(before) == 1
    sentence = fault(GOOD.replace(before, after))
    assert sentence.startswith(f"band.toml, line {line}: "), sentence
    assert re.search(said, sentence), sentence
    assert "\n" not in sentence
    assert re.search(r"[.?] (Add|Give|Leave|Did|Use|Write|Mend|Answer|Say|Name)", sentence), sentence


def test_a_time_format_that_fits_no_row_is_refused_before_anything_is_handed_over() -> None:
    mapping = GOOD.replace('format = "iso"', 'format = "%d.%m.%Y %H:%M"')
    found = export(mapping, b"when,puls,walk,ok\n2031-03-04T09:00,60,1,yes\n2031-03-04T09:01,60,2,yes\n")
    assert not found.values
    assert str(found.error).startswith("band.toml, line 11: the time format"), found.error
    assert "2031-03-04T09:00" in str(found.error)


@pytest.mark.parametrize("text", ["iso", "day-first", "epoch", "%H:%M %d.%m.%Y"])
def test_no_format_fits_what_is_written_in_another_way(text: str) -> None:
    unit = '\nunit = "s"' if text == "epoch" else ""
    zone = "" if text == "epoch" else '\nzone = "UTC"'
    mapping = GOOD.replace('format = "iso"\nzone = "UTC"', f'format = "{text}"{unit}{zone}')
    for written in (
        {"iso": "1930000000", "day-first": "2031-03-04T09:00", "epoch": "2031-03-04T09:00"}.get(text, "x"),
        "tea",
    ):
        found = export(mapping, f"when,puls,walk,ok\n{written},60,1,yes\n".encode())
        assert found.error is not None
        assert found.error.code == "mapping-time"
        assert not found.values


@settings(deadline=None, derandomize=True, max_examples=150)
@given(st.sampled_from(sorted(SIGNALS)), st.text("abcHz/%°C1mskh{}[]_ ", min_size=1, max_size=8))
def test_a_unit_loads_exactly_where_it_is_one_of_the_signal(signal: str, unit: str) -> None:
    counting = '\ncounting = "total"' if SIGNALS[signal].kind == "running_total" else ""
    text = (
        GOOD[: GOOD.index("[[signals]]")]
        + f'[[signals]]\nfield = "a"\nsignal = "{signal}"\nunit = "{unit}"{counting}\n'
    )
    if SIGNALS[signal].ucum(unit):
        assert load("band.toml", text).signals[0].unit == unit
    elif unit.strip():
        assert re.match(rf'band\.toml, line 20: "{re.escape(unit)}" is no unit of {signal}\. ', fault(text))


@settings(deadline=None, derandomize=True, max_examples=150)
@given(
    st.integers(0, GOOD.count("\n")), st.sampled_from(["x = 1", "[new]", "column = 2", "[[signals]]", "=", "kind = []"])
)
def test_a_line_more_anywhere_is_read_or_refused_with_a_line(at: int, more: str) -> None:
    lines = GOOD.splitlines()
    text = "\n".join([*lines[:at], more, *lines[at:], ""])
    filters, sentence = read_or_refused(text)
    if filters is None:
        assert re.match(r"band\.toml, (line \d+|last line): .+\. .+\.$", sentence), sentence
    else:
        # Only a filter takes any name.
        assert more in {"x = 1", "column = 2"}
        assert filters == {"ok", more[:-4]}


def read_or_refused(text: str) -> tuple[set[str] | None, str]:
    """Return the fields of the filters of a mapping, or None and what is wrong with it."""
    try:
        return {each.field for each in load("band.toml", text).where}, ""
    except VambraceError as error:
        return None, str(error)


@settings(deadline=None, derandomize=True, max_examples=100)
@given(st.text(max_size=60))
def test_any_text_is_refused_in_our_own_words(text: str) -> None:
    with pytest.raises(VambraceError):
        load("band.toml", text)


def test_every_key_of_a_mapping_has_its_line() -> None:
    places = lines_of(GOOD)
    lines = GOOD.splitlines()

    def check(value: object, place: tuple[str | int, ...]) -> None:
        if isinstance(value, dict):
            for key, inner in value.items():
                check(inner, (*place, key))
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for at, inner in enumerate(value):
                check(inner, (*place, at))
        if place and isinstance(place[-1], str):
            line = lines[places[place] - 1]
            assert re.match(rf"\s*(\[+)?{place[-1]}\b", line), (place, line)

    check(tomllib.loads(GOOD), ())


def test_the_kinds_are_those_of_the_page() -> None:
    assert KINDS == ("csv", "json", "jsonl", "xml", "xlsx")
