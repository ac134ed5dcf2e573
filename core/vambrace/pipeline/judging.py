"""Tells the rules what a source says, batch by batch, in the order of the file."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np
from numpy.typing import NDArray

from vambrace import screen
from vambrace.batch import Candidates, SourceBatch
from vambrace.counters import Step
from vambrace.errors import Rejected
from vambrace.harmonise import Spans
from vambrace.rules import Evaluation


class Judge:
    """Speaks the language of a pass to the rules: ordinals of recordings, candidates, faults."""

    def __init__(self, rules: Evaluation, name_of: Callable[[int], str]) -> None:
        """Hold the rules; `name_of` gives the identifier of a recording from its ordinal."""
        self._file, self._name_of = rules.file, name_of
        self._beside: dict[str, tuple[NDArray[np.intp], NDArray[np.int64], NDArray[np.float64]]] = {}

    def given(self, batch: SourceBatch, span: Spans, each: Candidates, fault: NDArray[np.uint8]) -> None:
        """Show all that a column gives, before anything of it is left out."""
        name, signal = self._name_of(batch.recording), each.column.signal
        numbers, timed = each.present & ~each.garbled, span.fault == 0
        self._file.given(name, signal, each.value[numbers], span.start[numbers & timed], batch.record[numbers])
        if not fault.any():
            return
        for number in np.unique(fault[fault > 0]):
            at = each.present & (fault == number)
            reason, value = screen.REASONS[int(number) - 1], each.value[at & numbers]
            self._file.set_aside(name, signal, reason, span.start[at & timed], batch.record[at], value)

    def rejected(self, row: Rejected) -> None:
        """Show a value that the importer itself set aside."""
        self._file.rejected(self._name_of(row.recording), [row])

    def kept(
        self,
        recording: int,
        signal: str,
        rows: NDArray[np.intp],
        time: NDArray[np.int64],
        record: NDArray[np.int64],
        value: NDArray[np.float64],
    ) -> None:
        """Show the kept rows of a column; `rows` are their places in the batch."""
        self._file.kept(self._name_of(recording), signal, time, record)
        self._beside[signal] = (rows, time, value)

    def fell(
        self, recording: int, signal: str, steps: Sequence[Step], time: NDArray[np.int64], record: NDArray[np.int64]
    ) -> None:
        """Show where a counter fell; a declared roll-over is no fall."""
        falls = [step for step in steps if step.kind != "counter_rollover"]
        if falls:
            at = [step.row for step in falls]
            sizes = np.array([step.fall for step in falls])
            self._file.fell(self._name_of(recording), signal, time[at], record[at], sizes)

    def end(self, batch: SourceBatch) -> None:
        """Show the columns of a batch side by side, after the last of them."""
        steps = any(column.signal == "cadence" and column.counts == "steps" for column in batch.columns)
        self._file.side_by_side(self._name_of(batch.recording), self._beside, batch.record, steps=steps)
        self._beside = {}
