"""All rules over one source, while it is read."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from vambrace.rules.infile import FileOrder
from vambrace.rules.inorder import Channel
from vambrace.rules.judging import Floats, Ints
from vambrace.rules.thresholds import Thresholds
from vambrace.rules.words import Finding


class Evaluation:
    """Gathers what the rules find in one source: `file` is told its rows in file order, `in_time_order` sorted ones."""

    def __init__(self, thresholds: Thresholds | None = None) -> None:
        """Begin with the catalogue's thresholds, or others."""
        self.thresholds = thresholds or Thresholds()
        self.file = FileOrder(self.thresholds)
        self._channels: dict[tuple[str, str], Channel] = {}

    def in_time_order(self, channel: tuple[str, str], time: Ints, time_end: Ints, value: Floats, record: Ints) -> None:
        """Judge the next rows of a channel (recording, signal), sorted by time and record."""
        if channel not in self._channels:
            self._channels[channel] = Channel(*channel, self.thresholds)
        self._channels[channel].add(time, time_end, value, record)

    def findings(self) -> Iterator[Finding]:
        """Yield what was found, in no order."""
        yield from self.file.findings()
        for channel in self._channels.values():
            yield from channel.findings()


InTimeOrder = Callable[[tuple[str, str], Ints, Ints, Floats, Ints], None]
"""What is told sorted rows: channel, times, ends, values, records."""
