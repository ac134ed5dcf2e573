"""Who made the file, and which sensor gave the heart rate."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from vambrace_plugins.importers.fit.book import Book
from vambrace_plugins.importers.fit.decode import Block
from vambrace_plugins.importers.fit.profile import DEVICE_INFO, FILE_ID, SOURCE_TYPES
from vambrace_plugins.importers.fit.scalar import present_or

_BLUETOOTH_LOW_ENERGY, _BUILT_IN = 3, 5
_HEART_RATE_TYPES = {_BLUETOOTH_LOW_ENERGY: 1, _BUILT_IN: 10}
_ANT_HEART_RATE = 120
"""Device types that mean a heart rate sensor, by source type; files without a source type use ANT's numbers."""

_FILE = {"manufacturer": 1, "product": 2, "serial": 3, "created": 4}
_DEVICE = {"index": 0, "type": 1, "manufacturer": 2, "serial": 3, "product": 4, "version": 5, "source": 25}


@dataclass(slots=True)
class Devices:
    """What a chained file says of the recording device (into the book) and of its heart rate sensors."""

    book: Book
    paired: dict[str, None] = field(default_factory=dict)
    built_in: dict[str, None] = field(default_factory=dict)

    @property
    def heart_rate_sensor(self) -> str:
        """Return what gave the heart rate, as far as the file says; a paired sensor stands first."""
        return " or ".join((*self.paired, *self.built_in))

    def take(self, block: Block) -> None:
        """Take file_id or device_info messages."""
        if block.message == FILE_ID:
            said = _Said(block, _FILE, 8)
            self.book.created = said.number("created", 0)
            self._describe(said, 0)
            return
        said = _Said(block, _DEVICE, 27)
        for at in range(len(block)):
            self._device(said, at)

    def _device(self, said: _Said, at: int) -> None:
        source = said.number("source", at)
        if said.number("index", at) == 0:
            self._describe(said, at)
        elif said.number("type", at) == _HEART_RATE_TYPES.get(source, _ANT_HEART_RATE):
            if source == _BUILT_IN:
                self.built_in["built-in heart rate sensor"] = None
                return
            serial = said.number("serial", at)
            words = [SOURCE_TYPES.get(source, ""), f"serial {serial}" if serial >= 0 else ""]
            inside = ", ".join(word for word in words if word)
            self.paired[f"paired heart rate sensor ({inside})" if inside else "paired heart rate sensor"] = None

    def _describe(self, said: _Said, at: int) -> None:
        """Take what a message says of the recording device; what it leaves out stays as it was."""
        about = self.book.about
        for word in ("manufacturer", "product", "serial"):
            if (value := said.number(word, at)) >= 0:
                about[word] = str(value)
        if said.names is not None and (name := said.names[at]):
            about["product"] = name
        if (version := said.number("version", at)) >= 0:
            about["firmware"] = f"{version // 100}.{version % 100:02d}"


class _Said:
    """The fields of a block's messages by word; a missing value is -1."""

    def __init__(self, block: Block, fields: Mapping[str, int], name: int) -> None:
        self.columns = {word: present_or(block, number, -1).tolist() for word, number in fields.items()}
        self.names = block.words.get(name)

    def number(self, word: str, at: int) -> int:
        column = self.columns.get(word)
        return -1 if column is None else int(column[at])


DEVICE_MESSAGES = frozenset({FILE_ID, DEVICE_INFO})
