"""What a commit changes in a record: pure functions of the record and of what is known of the others."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from vambrace.dataset.index import Index
from vambrace.dataset.ledger import Known, place_order
from vambrace.dataset.records import Occurrence, Record
from vambrace.errors import VambraceError


def replaced_by(record: Record, named: Iterable[str], index: Index) -> list[Known]:
    """Return the current records whose place the new one takes: those named, and those that cannot stand beside it.

    Two records of one content cannot (their recordings have the same names), nor can a record without content beside
    one of the same place that now has one.
    """
    keys = {*named}
    if record.sha256 is not None:
        keys |= {known.key for known in index.of_content(record.sha256)}
        at_its_places = (known for place in record.occurrences for known in index.of_place(place))
        keys |= {known.key for known in at_its_places if known.sha256 is None}
    keys.discard(record.key)
    return [index.current[key] for key in sorted(keys) if key in index.current]


def settled(record: Record, replaced: Iterable[Known], index: Index) -> Record:
    """Return the record as it is committed: with every place of its content, what it replaces, and its revision."""
    gone = list(replaced)
    same = [known for known in [*gone, *_itself(record, index)] if known.sha256 == record.sha256]
    places = {*record.occurrences, *(place for known in same for place in known.occurrences)}
    before = index.current.get(record.key)
    keys = {*record.replaces, *(known.key for known in gone), *(before.replaces if before else ())}
    return replace(
        record,
        occurrences=tuple(sorted(places, key=place_order)),
        replaces=tuple(sorted(keys)),
        revision=_revision(record, gone, index),
    )


def _itself(record: Record, index: Index) -> list[Known]:
    """Return what is known of the same key already, current or superseded."""
    return [held[record.key] for held in (index.current, index.superseded) if record.key in held]


def _revision(record: Record, replaced: Iterable[Known], index: Index) -> int:
    """Return a revision above those replaced, and not below any that once replaced this very key."""
    least = max((known.revision + 1 for known in replaced), default=1)
    known = _itself(record, index)
    if known:
        heirs = [one for one in (*index.current.values(), *index.superseded.values()) if record.key in one.replaces]
        least = max([least, *(one.revision for one in (*known, *heirs))])
    return least


def refuse_same_name(record: Record, index: Index) -> None:
    """Raise VambraceError where another content's recordings have the names that this one's would have."""
    if record.sha256 is None:
        return
    for known in index.of_prefix(record.sha256):
        if known.sha256 != record.sha256:
            raise VambraceError(
                "its SHA-256 begins with the same 16 digits as that of another source, so that their recordings "
                "would have the same names",
                where=f"{record.occurrences[0].root}/{record.occurrences[0].path}",
                todo="Convert the two sources into two datasets",
            )


def with_place(record: Record, place: Occurrence) -> Record:
    """Return the record with one more place where its content was found."""
    return replace(record, occurrences=tuple(sorted({*record.occurrences, place}, key=place_order)))


def without_place(record: Record, place: Occurrence) -> Record:
    """Return the record without one of its places; raise ValueError for the last: no source leaves the ledger so."""
    left = tuple(one for one in record.occurrences if one != place)
    if not left:
        raise ValueError("the last place of a source cannot be dropped; replace its record")
    return replace(record, occurrences=left)
