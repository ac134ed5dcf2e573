"""The wall clock that a file shows beside its time: it tells an offset at one moment, and never an instant."""

from __future__ import annotations

from vambrace.plugin import Source
from vambrace_plugins.importers.fit.decode import Block
from vambrace_plugins.importers.fit.profile import ACTIVITY, MONITORING_INFO, SYSTEM_TIME, TIMESTAMP_CORRELATION
from vambrace_plugins.importers.fit.scalar import present_or

LOCAL_TIMES = {ACTIVITY: 5, MONITORING_INFO: 0, TIMESTAMP_CORRELATION: 3}
"""The field of each message that holds a local time."""
_FARTHEST_S = 15 * 3600


def note_offset(block: Block, source: Source) -> None:
    """Note by how much the wall clock differed from UTC; a difference that no place on earth has is ignored."""
    local = present_or(block, LOCAL_TIMES[block.message], -1)
    for wall, time in zip(local.tolist(), block.time.tolist(), strict=True):
        if wall < 0 or time < SYSTEM_TIME:
            continue
        offset = wall - time
        if abs(offset) > _FARTHEST_S:
            source.note("local-time", "a local time in it is more than 15 hours from its time stamp: ignored")
        else:
            hours, minutes = divmod(abs(round(offset / 60)), 60)
            sign = "-" if offset < 0 else "+"
            source.note("local-time", f"the device's wall clock stood at UTC{sign}{hours:02d}:{minutes:02d}")
