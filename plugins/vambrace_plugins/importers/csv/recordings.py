"""Which rows and columns of a table are which recording: columns of one signal, and rows of several devices."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeAlias

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from vambrace.plugin import SIGNALS, Recording, Refused
from vambrace_plugins.importers.csv.layout import Field
from vambrace_plugins.importers.csv.options import option_key
from vambrace_plugins.importers.csv.vocabulary import Heading, is_total, plain, statistic_of

CARRIED = frozenset({"instant", "mean", "max", "min", "total"})
"""The statistics whose values are the signal's."""
_MOST = 100
Key: TypeAlias = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Part:
    """Rows (None for all) and columns of a block that belong to one recording.

    `statistic` is what a column of statistics says of the rows, "" without one; `left` are the columns whose values
    it makes another quantity, by the word for it.
    """

    recording: int
    rows: NDArray[np.intp] | None
    fields: tuple[Field, ...]
    sensor: str
    statistic: str = ""
    left: tuple[tuple[Field, str], ...] = ()


class Recordings:
    """The recordings of one table, numbered as they come; the words of key columns part the rows."""

    def __init__(
        self,
        heads: Sequence[Heading],
        columns: Sequence[Field],
        numbers: dict[tuple[Key, int], int],
        people: dict[str, str],
        before: int,
    ) -> None:
        """Take the columns that tell devices and people apart, and the numbers and people that are known so far.

        `before` counts the recordings of other tables.
        """
        self._keys = [(at, heading) for at, heading in enumerate(heads) if heading.key and heading.key != "person"]
        self._people = [(at, heading) for at, heading in enumerate(heads) if heading.key == "person"]
        self._seen_people = people
        lanes = sorted({each.lane for each in columns})
        self._has_statistics = bool(self._statistics)
        self._lanes = [tuple(each for each in columns if each.lane == lane) for lane in lanes]
        self._numbers, self._before = numbers, before

    @property
    def count(self) -> int:
        """Return how many recordings there are so far, at least one."""
        return max(1, len(self._numbers))

    @property
    def begun(self) -> bool:
        """Say whether any rows were parted."""
        return bool(self._numbers)

    def key_of(self, number: int) -> tuple[Key, str]:
        """Return the words of the key columns of a recording, and the device that its headers name."""
        key, lane = next(pair for pair, known in self._numbers.items() if known == number)
        return key, self._lanes[lane][0].heading.device

    @property
    def used(self) -> set[int]:
        """Return the places of the columns that part the rows."""
        return {at for at, _ in self._keys}

    @property
    def _statistics(self) -> str:
        """Return the header of the column of statistics."""
        return next((heading.text.strip() for _, heading in self._keys if heading.key == "statistic"), "")

    def parts(self, columns: Sequence[pa.Array], n: int) -> Iterator[Part]:
        """Yield the parts of a block of n rows, in the order in which their recordings begin."""
        self._check_people(columns)
        for key, rows in self._by_key(columns, n):
            word = self._word(key, "statistic") or ""
            for lane, held in enumerate(self._lanes):
                kept = tuple(each for each in held if not self._has_statistics or self._fits(each, word))
                left = tuple((each, word) for each in held if each not in kept)
                number = self._number(key, lane) if kept else 0
                yield Part(number, rows, kept, self._word(key, "sensor") or "", word if kept else "", left)

    def _fits(self, each: Field, word: str) -> bool:
        """Say whether rows of a statistic hold values of the signal; raise Refused where its header names another."""
        said = each.heading.statistic
        if word and said not in {"instant", word}:
            header = each.heading.text.strip()
            what = (
                f'the column "{header}" holds the {said} of each while, and "{self._statistics}" says {word} beside it'
            )
            todo = f'Leave out what is wrong, as in --option "csv.columns={option_key(self._statistics)}=-"'
            raise Refused("statistic-two-readings", what, todo=todo)
        return word in CARRIED and (word != "total" or is_total(each.heading.signal))

    def _check_people(self, columns: Sequence[pa.Array]) -> None:
        for at, heading in self._people:
            column = plain(heading.text)
            people = {cell.strip() for cell in pc.unique(columns[at]).to_pylist()} | {self._seen_people.get(column, "")}
            people -= {""}
            if len(people) > 1:
                first, second, *_ = sorted(people)
                name = heading.text.strip()
                what = f'its rows are of several people ("{first}" and "{second}" in the column "{name}")'
                one = f'--option "csv.columns={option_key(name)}=-"'
                todo = f"Split it into one file for each, or say that they are one with {one}"
                raise Refused("several-people", what, todo=todo)
            self._seen_people.update(dict.fromkeys([column], *people) if people else {})

    def _by_key(self, columns: Sequence[pa.Array], n: int) -> Iterator[tuple[Key, NDArray[np.intp] | None]]:
        if not self._keys:
            yield (), None
            return
        places: dict[Key, list[int]] = {}
        for row, key in enumerate(zip(*(columns[at].to_pylist() for at, _ in self._keys), strict=True)):
            places.setdefault(key, []).append(row)
        merged: dict[Key, list[int]] = {}
        for key, rows in places.items():
            merged.setdefault(self._told(key), []).extend(rows)
        for key, rows in merged.items():
            yield key, None if len(rows) == n else np.array(sorted(rows), np.intp)

    def _told(self, key: Key) -> Key:
        """Return the words of a key as they part rows; raise Refused for one that is no statistic."""
        return tuple(
            self._statistic(cell.strip(), heading) if heading.key == "statistic" else cell.strip()
            for cell, (_, heading) in zip(key, self._keys, strict=True)
        )

    def _statistic(self, cell: str, heading: Heading) -> str:
        found = statistic_of(cell)
        if found is None:
            name = heading.text.strip()
            what = f'the column "{name}" says "{cell[:40]}", which is no statistic that we know'
            way = f'--option "csv.columns={option_key(name)}=-"'
            raise Refused(
                "statistic-unknown", what, todo=f"Mend the cells, or, if all rows are alike, leave it out: {way}"
            )
        return found or cell.lower()

    def _number(self, key: Key, lane: int) -> int:
        number = self._numbers.setdefault((key, lane), self._before + len(self._numbers) + 1)
        if number > self._before + _MOST:
            names = " and ".join(f'"{heading.text.strip()}"' for _, heading in self._keys)
            what = f"the column {names} would part its rows into more than {_MOST} recordings"
            name = self._keys[0][1].text.strip() if self._keys else ""
            todo = f'If it does not tell devices apart, leave it out: --option "csv.columns={option_key(name)}=-"'
            raise Refused("too-many-recordings", what, todo=todo)
        return number

    def _word(self, key: Key, kind: str) -> str | None:
        return next(
            (word for word, (_, heading) in zip(key, self._keys, strict=True) if heading.key == kind and word), None
        )

    def about(
        self, sentences: tuple[str, ...], not_carried: Mapping[str, int], *, complete: bool | None
    ) -> Iterator[Recording]:
        """Yield what is known of each recording; values that no signal fits are counted with the first."""
        for (key, lane), number in self._numbers.items() or [(((), 0), self._before + 1)]:
            yield Recording(
                number,
                product=self._product(key, lane),
                serial=self._word(key, "serial") if key else None,
                complete=complete,
                not_carried=dict(not_carried) if number == self._before + 1 else {},
                conversions=(*sentences, *_without_unit(self._lanes[lane]), *self._parted()),
            )

    def _product(self, key: Key, lane: int) -> str | None:
        """Return the device that the row names, or the header, or both."""
        words = (self._word(key, "product") if key else None, self._lanes[lane][0].heading.device)
        return ", ".join(word for word in words if word) or None

    def _parted(self) -> Iterator[str]:
        if len(self._lanes) > 1:
            signals = [each.heading.signal for lane in self._lanes for each in lane]
            twice = dict.fromkeys(signal for signal in signals if signals.count(signal) > 1)
            yield f"{', '.join(twice)}: in several columns, each a recording of its own"
        if len({key for key, _ in self._numbers}) > 1:
            names = " and ".join(f'"{heading.text.strip()}"' for _, heading in self._keys)
            yield f"rows parted into recordings by the column {names}"


def _without_unit(columns: Sequence[Field]) -> Iterator[str]:
    """Yield a sentence for each unit that no header says and no option."""
    for each in columns:
        heading = each.heading
        says = heading.unit or heading.canonical or heading.signal == "step_count"
        if not says and each.unit == SIGNALS[heading.signal].unit:
            yield f'{heading.signal}: the header "{heading.text.strip()}" gives no unit, taken as {each.unit}'
