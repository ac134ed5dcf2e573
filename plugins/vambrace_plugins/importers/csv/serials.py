"""Days as spreadsheets number them, in a column of dates beside times of day."""

from __future__ import annotations

import re
from collections.abc import Sequence

import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.options import EPOCHS, Said

_DAY_S = 86_400
_SERIAL = r"^\s*(?P<day>[0-9]{5})(?:[.,]0*)?\s*$"
_DOTTED = re.compile(r"^(?:[01]?[0-9]|2[0-3])[.,][0-5][0-9]$")
_DIGITS = re.compile(r"^(?:[01]?[0-9]|2[0-3])[0-5][0-9](?:[0-5][0-9])?$")
_FRACTION = re.compile(r"^(?:0?[.,][0-9]+|[01](?:[.,]0*)?)$")


def are_serials(cells: Sequence[str]) -> bool:
    """Say whether all dates of a column are numbers of days as spreadsheets count them."""
    texts = [cell for cell in cells if cell.strip()]
    return bool(texts) and all(re.match(_SERIAL, text) for text in texts)


def zero_day(cells: Sequence[str], header: str, said: Said) -> int:
    """Return the day of Unix time from which the dates count; raise Refused where the user does not say it."""
    if said.time_kind == "serial":
        return said.epoch_s // _DAY_S
    text = next(cell.strip() for cell in cells if cell.strip())
    days = {name: serial_dates(pa.array([text]), EPOCHS[name] // _DAY_S)[0] for name in ("serial-1900", "serial-1904")}
    shown = " or ".join(f"{day} (system of {name[-4:]})" for name, day in days.items())
    what = f'{text} in the column "{header}" may be a day as spreadsheets count them: {shown}'
    todo = "Say which, as in --option csv.time=serial-1900 (or =serial-1904); or write dates as 2024-03-01"
    raise Refused("time-two-readings", what, todo=todo)


def serial_dates(cells: pa.Array, zero: int) -> pa.Array:
    """Return numbered days as dates (2024-03-01), `zero` being day 0 in days of Unix time; other texts as they are."""
    days = pc.cast(pc.struct_field(pc.extract_regex(cells, _SERIAL), "day"), pa.int32())
    dates = pc.cast(pc.cast(pc.add(days, pa.scalar(zero, pa.int32())), pa.date32()), pa.string())
    return pc.coalesce(dates, cells)


def refuse_fractions(cells: Sequence[str], header: str, date: str) -> None:
    """Raise Refused for times of day as fractions of a day or with dots; as counts they would be wrong."""
    texts = [text for cell in cells if (text := cell.strip())]
    if texts and all(map(_FRACTION.match, texts)):
        what = f'the column "{header}" has "{texts[0]}" beside the date in "{date}": it may be a fraction of the day'
        todo = "Export it again with times of day as 09:00:00, or with the whole date and time in one column"
        raise Refused("time-notation", what, todo=todo)
    if texts and all(map(_DOTTED.match, texts)):
        what = f'the column "{header}" has "{texts[0]}" beside the date in "{date}": it may be a time of day with dots'
        raise Refused("time-notation", what, todo="Export it again with times of day as 09:00:00")


def refuse_digits(cells: Sequence[str], header: str, date: str) -> None:
    """Raise Refused for times of day as mere digits; as counts they would be wrong."""
    texts = [text for cell in cells if (text := cell.strip())]
    if texts and all(map(_DIGITS.match, texts)):
        text = max(texts, key=len)
        shown = ":".join(filter(None, (text[:-4].zfill(2), text[-4:-2], text[-2:]))) if len(text) > 4 else ""
        shown = shown or f"{text[:-2].zfill(2)}:{text[-2:]}"
        what = f'the column "{header}" has "{text}" beside the date in "{date}": it may be the time of day {shown}'
        raise Refused("time-notation", what, todo="Export it again with times of day as 09:00:00")
