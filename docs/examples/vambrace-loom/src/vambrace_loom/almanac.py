"""Reads Almanac exports: nested JSON, a day after the other, with the times of a wall clock."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Any, ClassVar, Literal

import numpy as np

from vambrace.plugin import Claim, Column, DamagedFile, Event, Head, Recording, Rejected, Source, SourceBatch, Times


@dataclass(frozen=True, slots=True)
class AlmanacOptions:
    """What an Almanac export does not say of itself."""

    counted: Literal["after", "before"] = field(
        default="after", metadata={"help": "a count is of the minutes after its time, or before it"}
    )


class AlmanacImporter:
    """Reads Almanac exports."""

    name = "almanac"
    version = "1"
    title = "Almanac: pulse readings and steps by the quarter of an hour, JSON"
    Options: ClassVar[type] = AlmanacOptions
    end_mark = True

    def recognise(self, head: Head) -> Claim:
        """Claim an object whose first member is almanac."""
        if b"".join(head.data[:40].split()).startswith(b'{"almanac":'):
            return Claim.SIGNATURE.because("the first member of the object is almanac")
        return Claim.NONE

    def read(self, source: Source) -> Iterator[SourceBatch | Rejected | Event | Recording]:
        """Yield each day's steps and pulse; what no signal fits is counted."""
        options = source.options or AlmanacOptions()
        try:
            export = json.loads(source.read())
            days = [(day, list(batches(day))) for day in export["days"]]
            device = export["device"]
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            what = f"it is no whole Almanac export: {type(error).__name__}: {error}"
            raise DamagedFile(what, todo="Export it again") from error
        stamp: Literal["start", "end"] = "start" if options.counted == "after" else "end"
        record = 0
        for _, made in days:
            for times, column, interval_s in made:
                numbers = np.arange(record + 1, record + 1 + len(times))
                record += len(times)
                yield SourceBatch(numbers, times, (column,), interval_s=interval_s, stamp=stamp)
        moods = sum(len(day.get("moods", ())) for day, _ in days)
        not_carried = {"moods": moods} if moods else {}
        yield Recording(product=device["name"], firmware=device["firmware"], not_carried=not_carried)


def batches(day: dict[str, Any]) -> Iterator[tuple[Times, Column, float | None]]:
    """Yield the lists of a day: times as the wall clock showed them, a column, and the length of an interval."""
    minutes = int(day["minutes"])
    for part in day["steps"]:
        clock = np.datetime64(f"{day['date']}T{part['from']}", "m") + np.arange(len(part["counts"])) * minutes
        column = Column("step_count", texts(part["counts"]), "{steps}", "steps.counts", counting="increment")
        yield Times(np.datetime_as_string(clock).tolist(), basis="local"), column, minutes * 60.0
    at = [f"{day['date']}T{reading['at']}" for reading in day["pulse"]]
    pulse = Column("heart_rate", texts(reading["bpm"] for reading in day["pulse"]), "bpm", "pulse.bpm")
    yield Times(at, basis="local"), pulse, None


def texts(values: Iterable[Any]) -> list[str | None]:
    """Return JSON values as texts, None for null: one that is no number is then set aside, and shown as it stood."""
    return [None if value is None else str(value) for value in values]
