"""What can go wrong with a source or a row, in closed lists."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum


class VambraceError(Exception):
    """Say what is wrong, where, and what to do next."""

    def __init__(self, what: str, *, where: str = "", todo: str = "") -> None:
        """Hold the three parts of a message: what (with why), where (file, byte or line), what to do."""
        super().__init__(what, where, todo)
        self.what, self.where, self.todo = what, where, todo

    def __str__(self) -> str:
        parts = [f"{self.where}: {self.what}" if self.where else self.what, self.todo]
        return " ".join(_sentence(part) for part in parts if part)


def _sentence(text: str) -> str:
    return text if text.endswith((".", "!", "?")) else text + "."


class SourceError(VambraceError):
    """End one source, never the run; `status` is the word in the ledger."""

    code: str = "source"
    status: str = "rejected"

    def __reduce__(self) -> tuple[object, ...]:
        """Travel between processes with the keyword arguments and the code."""
        return (_rebuild, (type(self), self.what, self.where, self.todo, self.code, self.status))


def _rebuild(kind: type[SourceError], what: str, where: str, todo: str, code: str, status: str) -> SourceError:
    error = kind.__new__(kind)
    VambraceError.__init__(error, what, where=where, todo=todo)
    error.code, error.status = code, status
    return error


class UnknownFormat(SourceError):
    """No importer claims the source."""

    code = "unknown-format"
    status = "unrecognised"


class AmbiguousFormat(SourceError):
    """Two importers claim the source with equal strength."""

    code = "ambiguous-format"


class DamagedFile(SourceError):
    """The source is cut, or its bytes contradict its format; rows handed over before stand before the damage."""

    code = "damaged-file"


class HostileFile(SourceError):
    """The source would cost more than it may: a bomb, an entity, a path that leaves its archive."""

    code = "hostile-file"


class NoTimeZone(SourceError):
    """The source writes local times, and nothing says in which zone."""

    code = "no-time-zone"


class PluginFault(SourceError):
    """An importer broke its promise or raised what is not one of these errors."""

    code = "plugin-fault"


class Refused(SourceError):
    """The source could be read in more than one way, or in none; `code` names the refusal in words."""

    def __init__(self, code: str, what: str, *, where: str = "", todo: str = "", unrecognised: bool = False) -> None:
        """Name the refusal; `unrecognised` is for a table without any column that we know."""
        super().__init__(what, where=where, todo=todo)
        self.code = code
        if unrecognised:
            self.status = "unrecognised"


class Reason(StrEnum):
    """Why a row was set aside: the closed list of the contract."""

    OUTSIDE_DOMAIN = "outside-domain"
    NO_TIME = "no-time"
    TIME_AMBIGUOUS = "time-ambiguous"
    TIME_NONEXISTENT = "time-nonexistent"
    TIME_IMPLAUSIBLE = "time-implausible"
    NOT_A_NUMBER = "not-a-number"
    HALF_A_FIX = "half-a-fix"
    NOT_WORN = "not-worn"
    UNKNOWN_CODE = "unknown-code"


@dataclass(frozen=True, slots=True)
class Rejected:
    """One sample candidate that an importer could not hand over, in plain values.

    `record` is the number of the record, track point or row in the source; `found` is what the source
    says there; `time_text` its time as the source writes it, where it has one.
    """

    signal: str
    record: int
    reason: str
    found: str
    recording: int = 1
    time_text: str = ""

    def __post_init__(self) -> None:
        """Raise ValueError for a reason that is not in the closed list."""
        Reason(self.reason)
