"""Who made the file, and which sensor gave the heart rate."""

from __future__ import annotations

from dataclasses import dataclass, field

from vambrace_plugins.importers.fit.book import Book
from vambrace_plugins.importers.fit.decode import Block
from vambrace_plugins.importers.fit.profile import DEVICE_INFO, FILE_ID, SOURCE_TYPES
from vambrace_plugins.importers.fit.scalar import present_or

_BLUETOOTH_LOW_ENERGY, _BUILT_IN = 3, 5
_HEART_RATE_TYPES = {_BLUETOOTH_LOW_ENERGY: 1, _BUILT_IN: 10}
_ANT_HEART_RATE = 120
"""Device types that mean a heart rate sensor, by source type; files without a source type use ANT's numbers."""


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
            self._file(block)
        else:
            for at in range(len(block)):
                self._device(block, at)

    def _file(self, block: Block) -> None:
        self.book.created = int(present_or(block, 4, -1)[0])
        self._describe(block, 0, {"manufacturer": 1, "product": 2, "serial": 3}, 8)

    def _device(self, block: Block, at: int) -> None:
        index, type_, source = (int(present_or(block, number, -1)[at]) for number in (0, 1, 25))
        if index == 0:
            self._describe(block, at, {"manufacturer": 2, "product": 4, "serial": 3}, 27)
            version = int(present_or(block, 5, -1)[at])
            if version >= 0:
                self.book.about["firmware"] = f"{version // 100}.{version % 100:02d}"
        elif type_ == _HEART_RATE_TYPES.get(source, _ANT_HEART_RATE):
            serial = int(present_or(block, 3, 0)[at])
            words = [SOURCE_TYPES.get(source, ""), f"serial {serial}" if serial else ""]
            inside = ", ".join(word for word in words if word)
            known = self.built_in if source == _BUILT_IN else self.paired
            name = "built-in heart rate sensor" if source == _BUILT_IN else "paired heart rate sensor"
            known[name if source == _BUILT_IN or not inside else f"{name} ({inside})"] = None

    def _describe(self, block: Block, at: int, numbers: dict[str, int], name: int) -> None:
        about = self.book.about
        for word, number in numbers.items():
            value = int(present_or(block, number, -1)[at])
            if value >= 0:
                about[word] = str(value)
        named = block.words.get(name)
        if named is not None and named[at]:
            about["product"] = str(named[at])


DEVICE_MESSAGES = frozenset({FILE_ID, DEVICE_INFO})
