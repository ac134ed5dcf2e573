"""FIT bytes to raw columnar blocks, one kind of message each; whatever goes wrong becomes `DamagedFile`.

fitdecode frames the messages; nothing of its scaling, times or expansion is used. A columnar reader can take its place
behind `read_blocks` without a change to what the blocks mean.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, BinaryIO

import numpy as np
from fitdecode.profile import MESSAGE_TYPES
from numpy.typing import NDArray

from vambrace.plugin import DamagedFile
from vambrace_plugins.importers.fit.frames import DATA, DEFINITION, HEADER, check_crc, check_header, frames
from vambrace_plugins.importers.fit.layout import (
    Described,
    Layout,
    Raw,
    Slot,
    count_present,
    merged,
    numbers,
    texts,
)

BLOCK_MESSAGES = 10_000
BLOCK_BYTES = 8 << 20
"""A block ends with the message that reaches either; a message may hold up to 65 KB."""
NO_TIME = -1
_FIELD_DESCRIPTION = 206


Wanted = Mapping[int, frozenset[int]]
"""Global message numbers and the fields of each that are read; all others are only counted."""

Left = int | tuple[int, int, str]
"""A field that is not read: its number, or a developer field's index, number and name."""


@dataclass(frozen=True, slots=True)
class Block:
    """Data messages of one kind, in file order; every array has length n.

    `record` is the running number of each data message in the source, from 1. `time` is its own time in seconds of
    the FIT epoch (field 253 or a compressed header), `clock` the last time that any message of the file had said by
    then; NO_TIME where there is none. `fields` holds the wanted number fields, `words` the wanted text fields,
    `developer` the developer fields of which the file says what native field they stand for. `counts` says how many
    values each other field holds: by field number, or by the developer field's index, number and name.
    """

    message: int
    record: NDArray[np.int64]
    time: NDArray[np.int64]
    clock: NDArray[np.int64]
    fields: Mapping[int, Raw]
    words: Mapping[int, list[str | None]]
    developer: tuple[tuple[Described, Raw], ...]
    counts: Mapping[Left, int]

    def __len__(self) -> int:
        return len(self.record)


@dataclass(frozen=True, slots=True)
class FileEnd:
    """One of the chained files is whole, and its checksum holds."""


def read_blocks(stream: BinaryIO, wanted: Wanted, *, native: bool = False) -> Iterator[Block | FileEnd]:
    """Yield the messages of a FIT source in blocks, and where each chained file ends.

    `native` asks for developer fields that stand for a native one. Messages before a damage are yielded before
    `DamagedFile` is raised; errors of the stream itself pass through.
    """
    piles = _Piles(wanted, native)
    size = 0
    try:
        for frame in frames(stream):
            kind = frame.frame_type
            if kind == DATA:
                if piles.are_full or piles.is_new(frame.chunk.bytes):
                    yield from piles.blocks()
                piles.add(frame.chunk.bytes)
            elif kind == DEFINITION:
                piles.define(frame.chunk.bytes)
            elif kind == HEADER:
                size = frame.body_size
                check_header(frame)
            else:
                yield from piles.blocks()
                check_crc(frame, size)
                yield FileEnd()
                piles.next_file()
    except DamagedFile:
        yield from piles.blocks()
        raise


_Taken = Mapping[tuple[int, int], Slot]
"""The slots of a definition that are read, by field number and developer index (-1 for the profile's own fields)."""


@dataclass(slots=True)
class _Pile:
    """Data messages of one definition that wait to become a block."""

    layout: Layout
    taken: _Taken
    messages: list[bytes] = field(default_factory=list)
    record: list[int] = field(default_factory=list)
    time: list[int] = field(default_factory=list)
    clock: list[int] = field(default_factory=list)


class _Piles:
    """The state of one chained file: definitions, developer fields, clock; and the messages that wait."""

    def __init__(self, wanted: Wanted, native: bool) -> None:
        self.wanted, self.native = wanted, native
        self.record = self.waiting = self.bytes = 0
        self.next_file()

    @property
    def are_full(self) -> bool:
        """Say whether what waits is enough for a block."""
        return self.waiting >= BLOCK_MESSAGES or self.bytes >= BLOCK_BYTES

    def next_file(self) -> None:
        """Forget what holds for one file only."""
        self.clock = NO_TIME
        self.local: dict[int, _Pile] = {}
        self.descriptions: dict[tuple[int, int], Described] = {}
        self.known: dict[bytes, _Pile] = {}
        self.by_message: dict[int, list[_Pile]] = {}
        self.seen: set[tuple[int, frozenset[tuple[int, int]]]] = set()

    def define(self, definition: bytes) -> None:
        """Take a definition message; equal ones share a pile."""
        key = bytes((definition[0] & 0x20,)) + definition[1:]
        pile = self.known.get(key)
        if pile is None:
            layout = Layout(definition, self.descriptions)
            wanted = self.wanted.get(layout.message, frozenset())
            pile = self.known[key] = _Pile(layout, _taken(layout, wanted, self.native))
        self.local[definition[0] & 15] = pile

    def _pile_of(self, message: bytes) -> _Pile:
        head = message[0]
        return self.local[(head >> 5) & 3 if head & 0x80 else head & 15]

    def is_new(self, message: bytes) -> bool:
        """Say whether a data message is the first of its file to hold these fields.

        Such a message begins a block, so that the order in which kinds and fields appear never depends on block sizes.
        """
        pile = self._pile_of(message)
        if pile.messages:
            return False
        content = (pile.layout.message, frozenset(pile.taken))
        new = content not in self.seen
        self.seen.add(content)
        return new

    def add(self, message: bytes) -> None:
        """Take a data message."""
        head, pile = message[0], self._pile_of(message)
        layout = pile.layout
        time = NO_TIME
        if layout.time_at is not None:
            stored = int.from_bytes(message[layout.time_at : layout.time_at + 4], layout.order)
            if stored != 0xFFFFFFFF:
                time = self.clock = stored
        if time == NO_TIME and head & 0x80 and self.clock != NO_TIME:
            time = self.clock = self.clock + ((head - self.clock) & 31)
        self.record += 1
        self.waiting += 1
        self.bytes += len(message)
        if not pile.messages:
            self.by_message.setdefault(layout.message, []).append(pile)
        pile.messages.append(message)
        pile.record.append(self.record)
        pile.time.append(time)
        pile.clock.append(self.clock)
        if layout.message == _FIELD_DESCRIPTION:
            self._describe(layout, message)

    def _describe(self, layout: Layout, message: bytes) -> None:
        described = _description(layout.array([message]), layout)
        if described is not None:
            self.descriptions[described.index, described.number] = described
            # A definition is read with the descriptions that stand before it, so equal bytes may now mean another.
            self.known = {key: pile for key, pile in self.known.items() if not key[0]}

    def blocks(self) -> Iterator[Block]:
        """Yield what waits, one block for each kind of message, in the order in which the kinds appear."""
        waiting, self.by_message, self.waiting, self.bytes = self.by_message, {}, 0, 0
        for message, piles in waiting.items():
            yield _block(message, piles)
            for pile in piles:
                pile.messages, pile.record, pile.time, pile.clock = [], [], [], []


def _description(array: NDArray[Any], layout: Layout) -> Described | None:
    found: dict[int, int] = {}
    words: dict[int, str] = {}
    for slot in layout.slots:
        if slot.kind == "number" and slot.developer is None:
            raw = numbers(array, slot)
            if raw.valid[0, 0]:
                found.setdefault(slot.number, int(raw.values[0, 0]))
        elif slot.kind == "text":
            words.setdefault(slot.number, texts(array, slot)[0] or "")
    if 0 not in found or 1 not in found:
        return None
    base = found.get(2, 0x0D)
    scale, offset = found.get(6) or 1, found.get(7, 0)
    name, unit = words.get(3, ""), words.get(8, "")
    return Described(found[0], found[1], base, name, unit, scale, offset, found.get(14), found.get(15))


def _block(message: int, piles: list[_Pile]) -> Block:
    arrays = [pile.layout.array(pile.messages) for pile in piles]
    taken = [pile.taken for pile in piles]
    record = np.array([number for pile in piles for number in pile.record], np.int64)
    order = np.argsort(record, kind="stable")
    fields: dict[int, Raw] = {}
    words: dict[int, list[str | None]] = {}
    developer: list[tuple[Described, Raw]] = []
    for key in dict.fromkeys(key for slots in taken for key in slots):
        mine = [slots.get(key) for slots in taken]
        first = next(slot for slot in mine if slot is not None)
        if first.kind == "text":
            words[key[0]] = _texts(arrays, mine, order)
            continue
        columns = [None if slot is None else numbers(a, slot) for a, slot in zip(arrays, mine, strict=True)]
        raw = merged([(len(a), column) for a, column in zip(arrays, columns, strict=True)], order)
        if first.described is None:
            fields[key[0]] = raw
        else:
            developer.append((first.described, raw))
    return Block(
        message,
        record[order],
        np.array([time for pile in piles for time in pile.time], np.int64)[order],
        np.array([clock for pile in piles for clock in pile.clock], np.int64)[order],
        fields,
        words,
        tuple(developer),
        _counts(arrays, piles, taken),
    )


def _taken(layout: Layout, wanted: frozenset[int], native: bool) -> dict[tuple[int, int], Slot]:
    taken: dict[tuple[int, int], Slot] = {}
    for slot in layout.slots:
        if slot.kind == "misfit" or slot.is_time:
            continue
        if slot.developer is None and slot.number in wanted:
            taken.setdefault((slot.number, -1), slot)
        elif native and slot.kind == "number" and _stands_for(slot.described, layout.message):
            taken.setdefault((slot.number, slot.developer or 0), slot)
    return taken


def _stands_for(described: Described | None, message: int) -> bool:
    """Say whether a developer field stands for a native field of this message (an absent message means this one)."""
    return described is not None and described.field is not None and described.message in (None, message)


def _texts(arrays: list[NDArray[Any]], slots: list[Slot | None], order: NDArray[np.intp]) -> list[str | None]:
    words: list[str | None] = []
    for array, slot in zip(arrays, slots, strict=True):
        words += [None] * len(array) if slot is None else texts(array, slot)
    return [words[at] for at in order.tolist()]


def _counts(arrays: list[NDArray[Any]], piles: list[_Pile], taken: Sequence[_Taken]) -> dict[Left, int]:
    counts: dict[Left, int] = {}
    for array, pile, slots in zip(arrays, piles, taken, strict=True):
        read = set(map(id, slots.values()))
        for slot in pile.layout.slots:
            if id(slot) in read or slot.is_time:
                continue
            key: Left = slot.number
            if slot.developer is not None:
                key = (slot.developer, slot.number, slot.described.name if slot.described else "")
            counts[key] = counts.get(key, 0) + count_present(array, slot)
    return {key: count for key, count in counts.items() if count}


def message_name(message: int) -> str | None:
    """Return the public profile's name of a message, or None."""
    known = MESSAGE_TYPES.get(message)
    return None if known is None else str(known.name)


def field_name(message: int, number: int) -> str:
    """Return the public profile's name of a message and field with a dot between; unknown ones by their numbers."""
    known = MESSAGE_TYPES.get(message)
    if known is None:
        return f"message_{message}.field_{number}"
    named = known.fields.get(number)
    return f"{known.name}.field_{number}" if named is None else f"{known.name}.{named.name}"
