"""What a walk finds, and how a worker reaches it again: plain frozen values that travel between processes."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal, TypeAlias

from vambrace.errors import DamagedFile, SourceError, VambraceError

Kind: TypeAlias = Literal["content", "archive", "problem", "ignored"]
Codec: TypeAlias = Literal["gzip", "bzip2", "xz", "zstd"]

_SUFFIXES = ("gz", "bz2", "xz", "zst")


@dataclass(frozen=True, slots=True)
class Limits:
    """What an archive may cost; bytes unless said otherwise.

    `total` is what all members of one archive (those of archives inside it included) may unpack to, `ratio` how many
    times its packed size a member, a compressed stream or a whole archive may unpack to, `floor` the unpacked size
    up to which the ratio does not matter (small tables of equal rows pack very well). `members` counts members,
    `depth` archives inside one another (2 is an archive in an archive). `spool` is what may be unpacked to a
    temporary file where members cannot be reached otherwise; `header` what one header inside an archive may hold.
    """

    total: int = 64 << 30
    ratio: int = 200
    floor: int = 100 << 20
    members: int = 100_000
    depth: int = 2
    spool: int = 8 << 30
    header: int = 1 << 20


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Unpack:
    """Decompress the whole stream."""

    codec: Codec


@dataclass(frozen=True, slots=True)
class ZipMember:
    """Take the member whose local header stands at `offset`; the rest is what the archive's directory says of it."""

    offset: int
    method: int
    packed: int
    size: int
    crc: int


@dataclass(frozen=True, slots=True)
class Slice:
    """Take `size` bytes from `offset` on."""

    offset: int
    size: int


Step: TypeAlias = Unpack | ZipMember | Slice


@dataclass(frozen=True, slots=True)
class Location:
    """Where bytes stand: a file, and the steps from its bytes to the source's, outermost first.

    `stamp` is the file's size and modification time in ns when it was listed: digests and positions hold only as
    long as the file is the same, so one that was changed is refused.
    """

    file: str
    steps: tuple[Step, ...] = ()
    stamp: tuple[int, int] | None = None

    def then(self, *steps: Step) -> Location:
        """Return the place that further steps lead to."""
        return Location(self.file, self.steps + steps, self.stamp)


@dataclass(frozen=True, slots=True)
class Entry:
    """One row of the ledger in the making: a source, an archive, or what could not or should not be read.

    `root` and `path` are the contract's. `kind` is `content` (to be read), `archive` (its members follow as entries
    of their own), `problem` (rejected: `reason` says what and what to do, `code` names the refusal) or `ignored`
    (an ignore pattern matched). `size` counts the bytes of the source as exported, None where it has none.
    `location` is None where there is nothing to read.
    """

    root: str
    path: str
    kind: Kind
    reason: str = ""
    location: Location | None = field(default=None, repr=False)
    size: int | None = None
    code: str = ""

    @property
    def name(self) -> str:
        """Return the name by which importers know the source: the path's last part, without `.gz` and its like."""
        steps = self.location.steps if self.location else ()
        name = self.path.rpartition("/")[2]
        if any(not isinstance(step, Unpack) for step in steps):
            name = name.rpartition("!")[2] or name
        if steps and isinstance(steps[-1], Unpack):
            stem, _, suffix = name.rpartition(".")
            name = stem if stem and suffix.lower() in _SUFFIXES else name
        return name


@dataclass(frozen=True, slots=True)
class Scanned:
    """A source read once from end to end.

    `sha256` (hex) and `size` are of the source as exported: of a `.gz` its packed bytes. `head` holds the first
    4,096 bytes of what an importer reads and `content_size` counts them all; the two sizes differ only where the
    source itself is one compressed stream.

    `damage` is what is wrong with bytes that end too early or contradict themselves: then `content_size` counts those
    that stand before. Of a damaged member of an archive `sha256` is that of its header and its bytes as they stand in
    the archive: what can be read of it may be the whole of another source.
    """

    sha256: str
    head: bytes
    size: int
    content_size: int
    damage: DamagedFile | None = None


@dataclass(frozen=True, slots=True)
class Fault:
    """Why something is rejected: the code of the refusal, and sentences that say what, and what to do."""

    code: str
    reason: str

    @classmethod
    def of(cls, error: SourceError) -> Fault:
        """Return the fault that an error describes; the place is the entry's own."""
        return cls(error.code, str(VambraceError(error.what, todo=error.todo)))


@dataclass(frozen=True, slots=True)
class Member:
    """What an archive says of one member: how to reach it, or why it cannot be reached safely."""

    path: str
    size: int
    step: Step | None = None
    fault: Fault | None = None


@dataclass(frozen=True, slots=True)
class Listing:
    """An archive's members in its own order; `fault` says what is wrong with the archive as a whole, `note` is odd."""

    members: tuple[Member, ...]
    fault: Fault | None = None
    note: str = ""
