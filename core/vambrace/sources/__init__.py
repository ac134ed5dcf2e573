"""Walks folders and archives safely, and opens what stands there.

Nothing is ever extracted by name. A member of an archive is reached by its position in the archive's bytes, through
a stream that counts; what must be unpacked before it can be reached goes to an unnamed temporary file.
"""

from vambrace.sources.entry import Entry, Limits, Scanned
from vambrace.sources.opening import open_entry, scan
from vambrace.sources.spool import close_spools
from vambrace.sources.walking import BY_PATTERN, walk

__all__ = ["BY_PATTERN", "Entry", "Limits", "Scanned", "close_spools", "open_entry", "scan", "walk"]
