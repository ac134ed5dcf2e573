"""Examples of what is refused in files of the formats GPX, TCX and FIT, or of none that is known."""

from __future__ import annotations

from pathlib import Path

from refusal_example import Call, File, T

from vambrace.demo.fit_encoder import FIT_EPOCH, FitEncoder
from vambrace.plugin import Claim, Head
from vambrace.recognise import recognise

POINT = '<trkpt lat="10" lon="20">'


def gpx(inner: str, before: str = "") -> str:
    space = 'xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="band-A"'
    return f"{before}<gpx {space}><trk><trkseg>\n{inner}\n</trkseg></trk></gpx>\n"


WALK = gpx(f"{POINT}<time>{T}</time></trkpt>")


def fit_bytes(seconds: int) -> bytes:
    fit = FitEncoder()
    fit.define(0, 0, [(0, "enum"), (1, "uint16"), (3, "uint32z")])
    fit.write(0, 4, 255, 1)
    fit.define(1, 20, [(253, "uint32"), (3, "uint8")])
    fit.write(1, seconds, 60)
    fit.write(1, seconds + 1, 61)
    return fit.to_bytes()


SECONDS = 1_930_381_200 - FIT_EPOCH


def since_power_up(folder: Path) -> None:
    (folder / "a.fit").write_bytes(fit_bytes(seconds=100))


def with_instants(folder: Path) -> None:
    (folder / "a.fit").write_bytes(fit_bytes(SECONDS))


def cut_fit(folder: Path) -> None:
    (folder / "a.fit").write_bytes(fit_bytes(SECONDS)[:-4])


class Claims:
    """An importer that claims every file."""

    def __init__(self, name: str) -> None:
        self.name = name

    def recognise(self, head: Head) -> Claim:
        return Claim.NAME


def two_claims(folder: Path) -> None:
    recognise(Head("a.txt", b"60", 2), [Claims("band-A"), Claims("ring-B")])


def one_claim(folder: Path) -> None:
    recognise(Head("a.txt", b"60", 2), [Claims("band-A")])


EXAMPLES = (
    File(
        "unknown-format",
        "No importer knows the file, neither by its name nor by its first bytes.",
        b"\x00\x01\x02\x03",
        {"ignore": "*.bin"},
        name="a.bin",
    ),
    Call(
        "ambiguous-format",
        "Two importers claim the file with equal strength.",
        two_claims,
        one_claim,
        readings=("band-A", "ring-B"),
    ),
    File(
        "other-format",
        "The file is not what its name says.",
        "<!DOCTYPE html><html><body>Please sign in</body></html>\n",
        mended=WALK,
        name="a.gpx",
    ),
    File(
        "unknown-encoding",
        "An XML document names an encoding that is not read.",
        gpx(f"{POINT}<time>{T}</time></trkpt>", '<?xml version="1.0" encoding="klingon"?>\n'),
        mended=WALK,
        name="a.gpx",
    ),
    File(
        "hostile-file",
        "An XML document declares a type, which can make a reader open other files or swell without end.",
        "<!DOCTYPE gpx>\n" + WALK,
        mended=WALK,
        name="a.gpx",
    ),
    File(
        "damaged-file",
        "An XML document breaks off, or contradicts the rules of XML.",
        WALK[:-20],
        {"salvage": "yes"},
        name="a.gpx",
    ),
    File(
        "damaged-file",
        "A FIT file breaks off, or its checksum does not hold.",
        cut_fit,
        {"salvage": "yes"},
    ),
    File(
        "no-start",
        "A device whose clock was never set counts seconds from when it was switched on.",
        since_power_up,
        mended=with_instants,
    ),
    File(
        "no-time",
        "None of the values has a time, so that none can be placed: the points of a planned route, perhaps.",
        gpx(f"{POINT}</trkpt>"),
        mended=WALK,
        name="a.gpx",
    ),
    File(
        "all-set-aside",
        "Each value was set aside for a reason of its own; the table `set_aside` of the dataset holds them.",
        f"time,heart_rate\n{T},-5\n",
        mended=f"time,heart_rate\n{T},60\n",
    ),
    File(
        "order-of-time",
        "A running total falls where time goes back: its rows stand newest first, or are mixed.",
        f"time,total steps\n2031-03-04T10:00:00Z,200\n{T},100\n",
        mended=f"time,total steps\n{T},100\n2031-03-04T10:00:00Z,200\n",
        said={"counting": "total"},
        readings=("its time goes back", "the count falls"),
    ),
)
