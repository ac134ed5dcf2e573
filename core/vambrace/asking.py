"""Runs what plugins give us to run: within a limit, without their noise, and with words for whatever they raise."""

from __future__ import annotations

import contextlib
import io
import logging
import threading
import warnings
from collections.abc import Callable, Iterator
from typing import Any, TypeVar

ANSWER_S = 2.0
"""How long an importer may think about one file before it is taken to hang; most need microseconds."""
LOADING_S = 60.0
"""How long a plugin may take to be imported: large libraries on a cold disk need a while."""

_Answer = TypeVar("_Answer")
Tell = Callable[[str, str], None]


class Stopped(BaseException):
    """A thread is told to stop; no plugin that catches what it expects catches this."""


OURS = (KeyboardInterrupt, GeneratorExit, Stopped)
"""What passes every guard: it comes from us or from the person, whatever code it meets."""


class TimedOut(Exception):
    """A plugin did not come back in time."""


def within(seconds: float, call: Callable[[], _Answer], progress: Callable[[], int] = lambda: 0) -> _Answer:
    """Return what a call returns, or raise what it raises; raise TimedOut where it does not come back.

    It runs in a thread of its own, and has so many seconds for each step that `progress` counts. One that is late is
    told to stop, and left alone if it does not: a thread that waits outside Python cannot be ended, and a process
    that has done its work does not wait for it.
    """
    ended: list[tuple[_Answer | None, BaseException | None]] = []

    def run() -> None:
        try:
            ended.append((call(), None))
        except BaseException as error:
            ended.append((None, error))

    thread = threading.Thread(target=run, daemon=True, name="vambrace-plugin")
    thread.start()
    seen = -1
    while thread.is_alive() and progress() != seen:
        seen = progress()
        thread.join(seconds)
    if thread.is_alive():
        _stop(thread)
        raise TimedOut
    answer, error = ended[0]
    if isinstance(error, OURS):
        # A person's Ctrl-C reaches the main thread only: here it is the plugin's own doing.
        raise RuntimeError(f"it raised {type(error).__name__}") from error
    if error is not None:
        raise error
    return answer  # type: ignore[return-value]


def _stop(thread: threading.Thread) -> None:
    """Raise Stopped in a thread; it comes as soon as the thread runs Python again."""
    import ctypes

    ctypes.pythonapi.PyThreadState_SetAsyncExc(ctypes.c_ulong(thread.ident or 0), ctypes.py_object(Stopped))


@contextlib.contextmanager
def hushed(tell: Tell) -> Iterator[None]:
    """Hand what a plugin warns of, logs or prints to `tell` as a rule and a text, and let nothing through.

    Nothing is collected here: a plugin that warns at every row costs no memory.
    """

    def warned(message: Warning | str, *_: Any, **__: Any) -> None:
        tell("decoder-warning", words(message))

    log, logging.lastResort = logging.lastResort, _Logged(tell)
    try:
        with warnings.catch_warnings(), contextlib.redirect_stdout(_Printed(tell)):
            warnings.simplefilter("always")
            warnings.showwarning = warned
            yield
    finally:
        logging.lastResort = log


class _Logged(logging.Handler):
    """Takes what is logged where nobody has set logging up; others see it as they wished."""

    def __init__(self, tell: Tell) -> None:
        super().__init__(logging.WARNING)
        self._tell = tell

    def emit(self, record: logging.LogRecord) -> None:
        self._tell("decoder-warning", record.getMessage())


class _Printed(io.TextIOBase):
    """Takes what is printed, line by line."""

    def __init__(self, tell: Tell) -> None:
        self._tell = tell

    def writable(self) -> bool:
        return True

    def write(self, text: str, /) -> int:
        for line in filter(None, map(str.strip, text.splitlines())):
            self._tell("decoder-output", f"the importer prints: {line[:200]}")
        return len(text)


def words(error: object) -> str:
    """Return an error's own words; some cannot even say those."""
    try:
        return str(error)
    except Exception:
        return "it cannot say what"


def described(error: BaseException) -> str:
    """Return the kind of an error and its words."""
    return f"{type(error).__name__}: {words(error)}"
