"""Tables with a column for each device: which words of a header name the device, and which its signal."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from dataclasses import replace

from vambrace_plugins.importers.csv.vocabulary import Heading, plain, signal_with_rest


def with_devices(heads: Sequence[Heading], settled: Sequence[bool]) -> list[Heading]:
    """Return the headings with the device that each names beside its signal, as in `band-A heart rate`.

    Words beside a signal's name are a device's only where several columns of one signal differ by them; then they
    are so in every header. `settled` says of which columns the user has said what they hold.
    """
    found = {
        at: split
        for at, heading in enumerate(heads)
        if not heading.key
        and (split := signal_with_rest(heading.text, known=settled[at])) is not None
        # What the user says of a column stands: it holds that signal, or nothing.
        and (not settled[at] or heading.signal == split[0].signal)
    }
    devices = _devices(heads, found)
    return [
        _of_device(heading, *found[at], settled=settled[at])
        if at in found and plain(found[at][1]) in devices
        else heading
        for at, heading in enumerate(heads)
    ]


def _devices(heads: Sequence[Heading], found: dict[int, tuple[Heading, str]]) -> set[str]:
    """Return the words that part columns of one signal from each other."""
    by_signal: defaultdict[str, set[str]] = defaultdict(set)
    for at, heading in enumerate(heads):
        if at in found:
            by_signal[found[at][0].signal].add(plain(found[at][1]))
        elif heading.signal:
            by_signal[heading.signal].add("")
    return {words for several in by_signal.values() if len(several) > 1 for words in several} - {""}


def _of_device(heading: Heading, split: Heading, device: str, *, settled: bool) -> Heading:
    return replace(heading if settled else split, device=device)
