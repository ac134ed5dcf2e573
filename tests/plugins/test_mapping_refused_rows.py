"""Exports that are refused in their first rows under a mapping: the refusal is told, and no fault of the importer."""

from __future__ import annotations

import io

import pytest

from vambrace.plugin import Refused, Source
from vambrace_plugins.mapping.importer import MappingReader

MAPPING = """name = "halls"
[recognise]
suffix = ".csv"
[source]
kind = "csv"
delimiter = "semicolon"
decimal = "comma"
[time]
column = "when"
zone = "UTC"
[[signals]]
field = "amount"
signal = "power"
unit = "W"
"""


@pytest.mark.parametrize(
    ("rows", "code"),
    [
        (["2031-03-04 09:00:00;70,5", "2031-03-04 09:00:10;71.5"], "decimal-two-marks"),
        (["2031-03-04 09:00:00;70,5", "2031-03-04 09:00:10 EST;71"], "zone-word"),
    ],
)
@pytest.mark.parametrize("kinds", [False, True])
def test_the_refusal_of_the_first_rows_is_told(rows: list[str], code: str, kinds: bool) -> None:
    text = MAPPING + ('where = { is = "w" }\n' if kinds else "")
    data = "\n".join(["when;amount" + ";is" * kinds, *(row + ";w" * kinds for row in rows)]).encode() + b"\n"
    importer = MappingReader().explained_by("halls.toml", text)
    with pytest.raises(Refused) as raised:
        list(importer.read(Source("halls.csv", len(data), lambda: io.BytesIO(data), importer.Options())))
    assert raised.value.code == code
    assert raised.value.todo
