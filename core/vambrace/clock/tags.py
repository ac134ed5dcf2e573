"""What stands in square brackets after a date-time (RFC 9557)."""

from __future__ import annotations

import re
from dataclasses import dataclass

from vambrace.clock.isotexts import offset_seconds
from vambrace.clock.zones import zone_names

_TAG = re.compile(r"\[(!?)([^\[\]]*)\]")


@dataclass(frozen=True, slots=True)
class Tag:
    """The zone (or the offset in its place) that a text names; both absent where it names one we do not know.

    `empty` is True where nothing in brackets matters to the instant, `unreadable` where something does that we
    cannot honour: it is marked as critical, or the zone is named twice.
    """

    zone: str = ""
    offset_s: int | None = None
    empty: bool = False
    unreadable: bool = False


def tag_of(text: str) -> Tag:
    """Return what the bracketed texts after a date-time say of its zone."""
    zones = []
    for critical, said in _TAG.findall(text):
        if "=" not in said:
            zones.append((critical, said))
        elif critical:
            return Tag(unreadable=True)
    if not zones:
        return Tag(empty=True)
    critical, said = zones[0]
    if len(zones) > 1 or not said:
        return Tag(unreadable=True)
    if said in zone_names():
        return Tag(zone=said)
    offset = offset_seconds(said)
    return Tag(offset_s=offset) if offset is not None else Tag(unreadable=bool(critical))
