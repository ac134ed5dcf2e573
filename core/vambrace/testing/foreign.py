"""Bytes of other formats, which an importer must leave alone."""

from __future__ import annotations

import functools
import gzip
import io
import tarfile
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path


@dataclass(frozen=True)
class Foreign:
    """A file of another format. `format` names the importer that it belongs to, or is empty where it has none."""

    name: str
    data: bytes
    format: str = ""


def foreign_files(own: str) -> tuple[Foreign, ...]:
    """Return all that the kit has of formats other than the one of the importer named `own`."""
    return tuple(each for each in _all_files() if each.format != own)


@functools.cache
def _all_files() -> tuple[Foreign, ...]:
    return (*_plain_files(), *_tables(), *_packed(), *_of_the_demo())


def foreign_paths(folder: Path, format_: str, *patterns: str) -> tuple[Foreign, ...]:
    """Return the files of a folder that match, as files that belong to one format."""
    paths = sorted({path for pattern in patterns for path in folder.glob(pattern) if path.is_file()})
    return tuple(Foreign(path.name, path.read_bytes(), format_) for path in paths)


def _of_the_demo() -> Iterator[Foreign]:
    """Yield the demo's files: FIT, GPX, TCX and tables of text, whole."""
    for folder in sorted((files("vambrace") / "demo" / "data").iterdir(), key=lambda each: each.name):
        if not folder.is_dir():
            continue
        for path in sorted(folder.iterdir(), key=lambda each: each.name):
            suffix = path.name.rpartition(".")[2]
            yield Foreign(path.name, path.read_bytes(), "" if suffix == "zip" else suffix)


_TEXT = "Notes of a walk.\nIt rained, and nobody looked at the clock.\n"
_XML = '<?xml version="1.0" encoding="UTF-8"?>\n'
_NUMBERS = "0.5 1.5 2.5\n3.5 4.5 5.5\n"


def _plain_files() -> Iterator[Foreign]:
    yield from _unlike_anything()
    texts = {
        "notes.txt": _TEXT,
        "numbers.txt": _NUMBERS,
        "page.html": "<!DOCTYPE html>\n<html><head><title>x</title></head><body><p>A page</p></body></html>\n",
        "drawing.svg": _XML + '<svg xmlns="http://www.w3.org/2000/svg" width="1" height="1"><rect/></svg>\n',
        "news.rss": _XML + '<rss version="2.0"><channel><title>News</title></channel></rss>\n',
        "place.kml": _XML + '<kml xmlns="http://www.opengis.net/kml/2.2"><Placemark/></kml>\n',
        "settings.xml": _XML + "<settings><speed>3</speed><time>2031-03-04T09:00:00Z</time></settings>\n",
        "properties.plist": _XML + '<plist version="1.0"><dict><key>a</key><true/></dict></plist>\n',
        "object.json": '{"name": "x", "items": [1, 2, 3], "nested": {"a": null}}\n',
        "array.json": '[{"a": 1}, {"a": 2}]\n',
        "lines.jsonl": '{"a": 1}\n{"a": 2}\n',
        "settings.toml": '[tool]\nname = "x"\nnumber = 3\n',
        "settings.ini": "[tool]\nname=x\nnumber=3\n",
        "settings.yaml": "tool:\n  name: x\n  number: 3\n",
        "program.py": '"""Do a thing."""\n\nimport sys\n\nprint(sys.argv, 1, 2)\n',
        "page.md": "# A page\n\n| a | b |\n|---|---|\n| 1 | 2 |\n",
        "days.ics": "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nEND:VCALENDAR\r\n",
        "letter.eml": "From: a@example.org\r\nTo: b@example.org\r\nSubject: x\r\n\r\nText\r\n",
    }
    for name, text in texts.items():
        yield Foreign(name, text.encode())
    yield Foreign("utf-16-le.txt", b"\xff\xfe" + _TEXT.encode("utf-16-le"))
    yield Foreign("utf-16-be.txt", b"\xfe\xff" + _TEXT.encode("utf-16-be"))
    yield Foreign("utf-8-mark.txt", b"\xef\xbb\xbf" + _TEXT.encode())
    yield Foreign("drawing-utf-16.svg", (_XML.replace("UTF-8", "UTF-16") + "<svg/>\n").encode("utf-16"))


def _unlike_anything() -> Iterator[Foreign]:
    yield Foreign("empty.bin", b"")
    yield Foreign("one-zero.bin", b"\0")
    yield Foreign("zeros.bin", bytes(5000))
    yield Foreign("ones.bin", b"\xff" * 5000)
    yield Foreign("spaces.txt", b" " * 5000)
    yield Foreign("line-ends.txt", b"\n" * 5000)
    yield Foreign("all-bytes.bin", bytes(range(256)) * 4)
    signatures = {
        "picture.png": b"\x89PNG\r\n\x1a\n\0\0\0\rIHDR",
        "picture.jpg": b"\xff\xd8\xff\xe0\0\x10JFIF\0\1",
        "picture.gif": b"GIF89a\1\0\1\0",
        "picture.bmp": b"BM\x46\0\0\0\0\0\0\0\x36\0\0\0",
        "picture.webp": b"RIFF\x24\0\0\0WEBPVP8 ",
        "picture.tif": b"II*\0\x08\0\0\0",
        "picture.heic": b"\0\0\0\x18ftypheic",
        "sound.wav": b"RIFF\x24\0\0\0WAVEfmt ",
        "sound.mp3": b"ID3\3\0\0\0\0\0\x0f",
        "sound.ogg": b"OggS\0\2",
        "film.mp4": b"\0\0\0\x18ftypisom",
        "letter.pdf": b"%PDF-1.7\n%\xe2\xe3\xcf\xd3\n",
        "store.sqlite": b"SQLite format 3\0\x10\0",
        "program.exe": b"MZ\x90\0\3\0\0\0",
        "program": b"\x7fELF\2\1\1\0",
        "packed.7z": b"7z\xbc\xaf\x27\x1c\0\4",
        "packed.xz": b"\xfd7zXZ\0\0\4",
        "packed.zst": b"\x28\xb5\x2f\xfd\4\0",
        "table.parquet": b"PAR1\x15\4\x15\x10",
        "table.arrow": b"ARROW1\0\0\xff\xff\xff\xff",
        "array.npy": b"\x93NUMPY\1\0v\0{'descr'",
        "old.doc": b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1",
    }
    for name, signature in signatures.items():
        yield Foreign(name, signature + bytes(600))


def _tables() -> Iterator[Foreign]:
    """Yield tables of text that hold no measurements."""
    yield Foreign("shop.csv", b"article,price,in stock\nlamp,12.50,3\nchair,40.00,0\n")
    yield Foreign("names.tsv", b"name\ttown\nA\tB\nC\tD\n")


def _packed() -> Iterator[Foreign]:
    text = _TEXT.encode()
    yield Foreign("packed.zip", _zip({"notes.txt": text}))
    yield Foreign("letter.docx", _zip({"[Content_Types].xml": b"<Types/>", "word/document.xml": b"<w/>"}))
    yield Foreign("table.xlsx", _zip({"[Content_Types].xml": b"<Types/>", "xl/workbook.xml": b"<workbook/>"}), "xlsx")
    yield Foreign("empty.zip", _zip({}))
    yield Foreign("packed.gz", gzip.compress(text, mtime=0))
    packed = io.BytesIO()
    with tarfile.open(fileobj=packed, mode="w") as tar:
        member = tarfile.TarInfo("notes.txt")
        member.size = len(text)
        tar.addfile(member, io.BytesIO(text))
    yield Foreign("packed.tar", packed.getvalue())


def _zip(members: dict[str, bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        for name, data in members.items():
            archive.writestr(zipfile.ZipInfo(name), data)
    return packed.getvalue()
