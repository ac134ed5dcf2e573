"""Examples of what is refused of archives and compressed files."""

from __future__ import annotations

import gzip
import io
import tarfile
import zipfile
from pathlib import Path

from refusal_example import TABLE, File


def encrypted(folder: Path) -> None:
    with zipfile.ZipFile(folder / "a.zip", "w") as box:
        box.writestr("a.csv", TABLE)
    data = bytearray((folder / "a.zip").read_bytes())
    # The lowest bit of the flags says "encrypted", before the member and in the archive's directory.
    data[6] |= 1
    data[data.rindex(b"PK\x01\x02") + 8] |= 1
    (folder / "a.zip").write_bytes(data)


def unpacked(folder: Path) -> None:
    (folder / "a.zip").unlink()
    (folder / "a.csv").write_text(TABLE)


def packed_as_usual(folder: Path) -> None:
    with zipfile.ZipFile(folder / "a.zip", "w", zipfile.ZIP_DEFLATED) as box:
        box.writestr("a.csv", TABLE)


def one_name_twice(folder: Path) -> None:
    with zipfile.ZipFile(folder / "a.zip", "w") as box:
        box.writestr("a.csv", TABLE)
        box.writestr("./a.csv", "time,heart_rate\n")


def packed_by_lzma(folder: Path) -> None:
    with zipfile.ZipFile(folder / "a.zip", "w", zipfile.ZIP_LZMA) as box:
        box.writestr("a.csv", TABLE)


def packed_twice(folder: Path) -> None:
    (folder / "a.csv.gz").write_bytes(gzip.compress(gzip.compress(TABLE.encode())))


def packed_once(folder: Path) -> None:
    (folder / "a.csv.gz").write_bytes(gzip.compress(TABLE.encode()))


def leads_out(folder: Path) -> None:
    with zipfile.ZipFile(folder / "a.zip", "w") as box:
        box.writestr("../a.csv", TABLE)


def bomb(folder: Path) -> None:
    with zipfile.ZipFile(folder / "a.zip", "w") as box:
        box.writestr("a.csv", TABLE)
    data = bytearray((folder / "a.zip").read_bytes())
    # As in a bomb, the archive's directory gives the member a size that its packed bytes are too few for.
    at = data.rindex(b"PK\x01\x02") + 24
    data[at : at + 4] = (1 << 30).to_bytes(4, "little")
    (folder / "a.zip").write_bytes(data)


def one_of_two(folder: Path) -> None:
    with zipfile.ZipFile(folder / "a.zip", "w") as box:
        box.writestr("a.csv", TABLE)
        box.writestr("/b.csv", "time,heart_rate\n")


def link_inside(folder: Path) -> None:
    with tarfile.open(folder / "a.tar", "w") as box:
        link = tarfile.TarInfo("a.csv")
        link.type, link.linkname = tarfile.SYMTYPE, "/etc/hosts"
        box.addfile(link)


def file_inside(folder: Path) -> None:
    with tarfile.open(folder / "a.tar", "w") as box:
        member = tarfile.TarInfo("a.csv")
        member.size = len(TABLE)
        box.addfile(member, io.BytesIO(TABLE.encode()))


def box_in_a_box_in_a_box(folder: Path) -> None:
    (folder / "a.csv").write_text(TABLE)
    for inner, outer in (("a.csv", "a.zip"), ("a.zip", "b.zip"), ("b.zip", "c.zip")):
        with zipfile.ZipFile(folder / outer, "w") as box:
            box.write(folder / inner, inner)
        (folder / inner).unlink()


def outer_box_unpacked(folder: Path) -> None:
    with zipfile.ZipFile(folder / "c.zip") as box:
        box.extractall(folder)
    (folder / "c.zip").unlink()


def cut(folder: Path) -> None:
    (folder / "a.csv.gz").write_bytes(gzip.compress(TABLE.encode(), mtime=0)[:-9])


def whole(folder: Path) -> None:
    (folder / "a.csv.gz").write_bytes(gzip.compress(TABLE.encode(), mtime=0))


EXAMPLES = (
    File("encrypted", "A member of an archive can only be read with a password.", encrypted, mended=unpacked),
    File(
        "unreached-members",
        "The archive's own row: some of its members could not be read. The rows of the members say why.",
        one_of_two,
        mended=packed_as_usual,
    ),
    File(
        "same-name",
        "Two members of an archive have the same name.",
        one_name_twice,
        mended=packed_as_usual,
    ),
    File(
        "unsupported-method",
        "A member is packed by a method that is not read.",
        packed_by_lzma,
        mended=packed_as_usual,
    ),
    File(
        "unsupported-method",
        "A file is packed twice, or a zip archive has other bytes before it.",
        packed_twice,
        mended=packed_once,
    ),
    File("special-file", "A member of an archive is a link, or no file.", link_inside, mended=file_inside),
    File(
        "nested-too-deep",
        "An archive stands in an archive in an archive. One in another is read, no more.",
        box_in_a_box_in_a_box,
        mended=outer_box_unpacked,
    ),
    File("hostile-file", "The name of a member leads out of its archive.", leads_out, mended=unpacked),
    File(
        "hostile-file",
        "A small file unpacks to a very large one, as is done to fill a computer's disk or memory.",
        bomb,
        mended=packed_as_usual,
    ),
    File("damaged-file", "A compressed file is cut, or its bytes are not those that were packed.", cut, mended=whole),
)
