"""What stands beside the time of a row and may change it: AM and PM, a fraction of the second, or another time."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

import pyarrow as pa
import pyarrow.compute as pc

from vambrace.plugin import Refused
from vambrace_plugins.importers.csv.blocks import Block, Cells, Numbers
from vambrace_plugins.importers.csv.layout import said_of
from vambrace_plugins.importers.csv.options import Said, option_key
from vambrace_plugins.importers.csv.timecells import full_days, without_half
from vambrace_plugins.importers.csv.timing import places
from vambrace_plugins.importers.csv.vocabulary import Heading, plain, read_heading, signal_with_rest

_HALF = re.compile(r"^[AaPp]\.?[Mm]\.?$")
_HALF_WORDS = {"am per pm", "am pm", "ampm", "a m per p m", "pm per am", "meridiem", "meridian", "half day", "day half"}
_DATED = re.compile(
    r"[0-9]{1,4}[-/.][0-9]{1,2}[-/.][0-9]{1,4}(?:[Tt]|,? +)[0-9]{1,2}[:.][0-9]{2}|^[0-9]{8}T?[0-9]{4,6}"
)
_CLOCK_OR_COUNT = re.compile(r"^[0-9]{1,2}:[0-9]{2}(?::|$)|^[0-9]{10,19}(?:[.,][0-9]*)?$")
_BARE_CLOCK = re.compile(r"(?:^|[T ])(?P<h>[0-9]{1,2})(?P<rest>:[0-9]{2}(?::[0-9]{2})?)")
_TIME_WORDS = {"time", "timestamp", "datetime"}
# When something else was done with a row than to measure it (common practice, no source).
_ACTS = {
    *("created", "creation", "updated", "update", "uploaded", "upload", "imported", "import", "exported", "export"),
    *("modified", "synced", "sync", "received", "saved", "inserted", "processed", "edited", "downloaded"),
}
_CONSTANT_FROM = 3
_FREE = 0
# Headers of what finishes the second or the minute of a time, with the digits that it has at most;
# a mere fraction has as many as it likes.
_PARTS = {
    **dict.fromkeys(("ms", "msec", "msecs", "milli", "millis", "millisecond", "milliseconds"), 3),
    **dict.fromkeys(("us", "μs", "usec", "usecs", "micro", "micros", "microsecond", "microseconds"), 6),
    **dict.fromkeys(("ns", "nsec", "nsecs", "nano", "nanos", "nanosecond", "nanoseconds"), 9),
    **dict.fromkeys(("fraction", "fractional", "fractional second", "fractional seconds", "second fraction"), _FREE),
    **dict.fromkeys(("fraction of second", "fractions", "subsecond", "subseconds", "sub second", "sub seconds"), _FREE),
}
_SECONDS = {"s", "sec", "secs", "second", "seconds"}
_WHOLE = re.compile(r":[0-9]{2}(?::[0-9]{2})(?![0-9:.,])|^[0-9]{9,11}$")
_MINUTES = re.compile(r"(?:^|[T ])[0-9]{1,2}:[0-9]{2}(?![0-9:.,])")


def checked(heads: Sequence[Heading], said: Said, blocks: Iterator[Block]) -> Iterator[Block]:
    """Yield the blocks of a table; raise Refused where a column that is not read may change its times.

    It is decided from the first block in which a column has cells.
    """
    rest = [at for at, heading in enumerate(heads) if _unread(heading, at, said)]
    asked = [at for at, heading in enumerate(heads) if at in rest or _is_count(heading)]
    for block in blocks:
        filled = [at for at in asked if _has_cells(block.columns[at])]
        if filled:
            _refuse(heads, said, block, [at for at in filled if at in rest], filled)
            asked = [at for at in asked if at not in filled]
        yield block


def _has_cells(column: Cells) -> bool:
    """Say whether a column has a cell that is not blank."""
    cells = pa.array(column) if isinstance(column, Numbers) else column
    longest = pc.max(pc.binary_length(cells)).as_py()
    return bool(longest) and bool(pc.any(pc.invert(pc.utf8_is_space(cells)), min_count=0).as_py())


def _refuse(heads: Sequence[Heading], said: Said, block: Block, rest: Sequence[int], filled: Sequence[int]) -> None:
    found = places(heads, said)
    counts = [at for at in filled if at not in rest and at not in found.used]
    cells = {at: _cells(block, at) for at in [*rest, *counts]}
    main = found.date if found.main is None else found.main
    if main is None:
        raise AssertionError("places always finds one")
    for at in [*rest, *counts]:
        if at in rest and _says_half(heads[at], cells[at]):
            _refuse_half(name_of(heads, at), cells[at], heads[main].text.strip(), _cells(block, main, at))
        digits = _digits(heads[at], cells[at])
        if digits is not None:
            _refuse_part(name_of(heads, at), cells[at], heads[main].text.strip(), _cells(block, main), digits)
    times = [at for at in rest if _is_time(heads, at, cells[at], len(block))]
    if times:
        raise _second(heads, main, times)


def _is_count(heading: Heading) -> bool:
    """Say whether a header is that of a time in parts of a second, which may be the rest of another."""
    return heading.time is not None and heading.time.unit in _PARTS and not heading.time.elapsed


def _unread(heading: Heading, at: int, said: Said) -> bool:
    if heading.known or heading.key:
        return False
    return said_of(said.columns, heading.text.strip() or f"column {at + 1}") != "-"


def name_of(heads: Sequence[Heading], at: int) -> str:
    """Return what a column is called, which may have no header."""
    return heads[at].text.strip() or f"column {at + 1}"


def _cells(block: Block, at: int, beside: int | None = None) -> list[str]:
    """Return the different cells of a column that are not blank, in the rows in which another column has cells."""
    column = pc.utf8_trim_whitespace(block.columns[at])
    if beside is not None:
        column = column.filter(pc.not_equal(pc.utf8_trim_whitespace(block.columns[beside]), ""))
    return [cell for cell in pc.unique(column).to_pylist() if cell]


def _all(cells: Sequence[str], pattern: re.Pattern[str]) -> bool:
    """Say whether all cells match, but perhaps the first, which may be a unit's."""
    if not cells:
        return False
    others = cells[1:] if len(cells) > 1 else cells
    return all(pattern.search(cell) for cell in others)


def _says_half(heading: Heading, cells: Sequence[str]) -> bool:
    return plain(heading.text) in _HALF_WORDS or _all(cells, _HALF)


def _refuse_half(name: str, halves: Sequence[str], header: str, times: Sequence[str]) -> None:
    """Refuse times of day beside a column of AM and PM, unless they say it themselves."""
    if times and all(without_half(cell) is not None for cell in times):
        return
    half = next((cell for cell in halves if _HALF.match(cell)), "")
    if not half:
        return
    telling = next((cell for cell in times if (found := _BARE_CLOCK.search(cell)) and 0 < int(found["h"]) < 12), "")
    text = telling or next(iter(times), "")
    clock = _BARE_CLOCK.search(text)
    what = f'"{name}" has "{half}" in a column of its own beside "{header}" ("{text}")'
    if clock:
        bare = f"{clock['h']}{clock['rest']}"
        late = _in_full(f"{bare} PM")
        what += f': "{bare}" with PM may be {late}, or {bare} of a clock of 24 hours'
    todo = f'If the clock has 24 hours, leave the column out, as in --option "csv.columns={option_key(name)}=-"; '
    todo += "if it has 12, export it again with 24, or with AM and PM behind each time"
    raise Refused("time-two-readings", what, where="line 1", todo=todo)


def _in_full(text: str) -> str:
    return str(full_days(pa.array([text], pa.string()))[0].as_py())


def _digits(heading: Heading, cells: Sequence[str]) -> int | None:
    """Return how many digits a part of a time has that a column may hold, None where it holds none."""
    body = heading.time.unit if heading.time is not None else plain(heading.text)
    digits = 2 if body in _SECONDS and heading.time is None else _PARTS.get(body)
    if digits is None or not any(letter in "123456789" for cell in cells for letter in cell):
        return None
    most = {2: "[0-5]?[0-9]", _FREE: "[0-9]{1,9}"}.get(digits, f"[0-9]{{1,{digits}}}")
    return digits if _all(cells, re.compile(rf"^(?:{most})?(?:[.,][0-9]*)?$")) else None


def _refuse_part(name: str, parts: Sequence[str], header: str, times: Sequence[str], digits: int) -> None:
    """Refuse times of whole seconds (or minutes) beside a column that may hold what comes behind them."""
    shape = _MINUTES if digits == 2 else _WHOLE
    found = [shape.search(cell) for cell in times]
    first = found[0] if found else None
    if first is None or not all(found):
        return
    text, at = first.string, first.end()
    part = next(cell for cell in parts if any(letter in "123456789" for letter in cell))
    whole, _, rest = part.replace(",", ".").partition(".")
    behind = (whole.zfill(digits) if digits != _FREE else "" if rest else whole) + rest
    behind = f"{whole.zfill(2)}.{rest}" if digits == 2 and rest else behind
    may = f"{text[:at]}{':' if digits == 2 else '.'}{behind}{text[at:]}"
    what = f'"{name}" has "{part}" beside "{header}" ("{text}"): the time may be {may}, or {text}'
    todo = f'If "{name}" is no part of the time, leave it out, as in --option "csv.columns={option_key(name)}=-"; '
    todo += f"if it is, export it again with {'the seconds' if digits == 2 else 'the fraction'} in the time itself"
    raise Refused("time-two-readings", what, where="line 1", todo=todo)


def _is_time(heads: Sequence[Heading], at: int, cells: Sequence[str], rows: int) -> bool:
    """Say whether a column that is not read shows another time of each row."""
    if not cells or (len(cells) == 1 and rows >= _CONSTANT_FROM):
        return False
    dated = _all(cells, _DATED)
    if not (dated or _all(cells, _CLOCK_OR_COUNT)):
        return False
    words = plain(heads[at].text)
    if not words:
        return dated
    tokens = words.split()
    if not _TIME_WORDS.isdisjoint(tokens) and _ACTS.isdisjoint(tokens) and dated:
        return True
    return _names_another(words, heads)


def _names_another(words: str, heads: Sequence[Heading]) -> bool:
    """Say whether a header is that of a time with a number behind it, or with a device or a signal beside it."""
    front, _, last = words.rpartition(" ")
    if last.isdecimal():
        time = read_heading(front).time
        return time is not None and time.part in {"time", "date"}
    if last not in _TIME_WORDS or not front:
        return False
    devices = {plain(heading.device) for heading in heads if heading.device}
    return front in devices or bool(read_heading(front).signal) or signal_with_rest(front) is not None


def _second(heads: Sequence[Heading], main: int, times: Sequence[int]) -> Refused:
    names = [name_of(heads, at) for at in times]
    header = heads[main].text.strip()
    what = f'"{names[0]}" may be the time of the columns behind it, and "{header}" that of all'
    left = "; ".join(f"{option_key(name)}=-" for name in names)
    todo = f'If "{header}" is the time of all, leave it out, as in --option "csv.columns={left}"'
    todo += "; if not, export each part with its own time as a table of its own"
    return Refused("time-two-columns", what, where="line 1", todo=todo)
