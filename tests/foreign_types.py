"""Files of formats that hold no measurements of a person, written by the libraries that own the formats."""

from __future__ import annotations

import ast
import bz2
import configparser
import dbm.dumb
import email.message
import gzip
import io
import json
import lzma
import mailbox
import marshal
import pickle
import plistlib
import py_compile
import sqlite3
import struct
import tarfile
import wave
import xml.etree.ElementTree as ET
import zipfile
import zlib
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.feather
import pyarrow.orc
import pyarrow.parquet

WORDS = "Loom and ladder: notes on a morning in the workshop. Nobody measured anything.\n" * 40
TABLE = pa.table({"article": ["lamp", "chair"], "price": [12.5, 40.0]})


def binary_files(folder: Path) -> dict[str, bytes]:
    """Return binary files by name, each whole and real."""
    made = {**_packed(), **_images(), **_of_libraries(folder), **_of_python(folder)}
    made["sound.wav"] = _sound()
    made["letter.pdf"] = _pdf()
    made["catalogue.mo"] = struct.pack("<7I", 0x950412DE, 0, 0, 28, 28, 0, 28)
    made["tune.mid"] = (
        b"MThd" + struct.pack(">IHHH", 6, 0, 1, 96) + b"MTrk" + struct.pack(">I", 4) + b"\x00\xff\x2f\x00"
    )
    made["module.wasm"] = b"\0asm\1\0\0\0"
    made["settings.plist"] = plistlib.dumps({"speed": 3, "time": "now"}, fmt=plistlib.FMT_BINARY)
    return made


def text_files(folder: Path) -> dict[str, bytes]:
    """Return files of text by name: XML vocabularies, markup, data, source code, mail, plain words."""
    made = {**_xml(), **_mail(folder)}
    made["data.json"] = json.dumps({"time": [1, 2], "speed": {"unit": "km/h"}}, indent=1).encode()
    made["lines.jsonl"] = b'{"time": 1, "heart_rate": 60}\n{"time": 2, "heart_rate": 61}\n'
    made["notebook.ipynb"] = json.dumps({"cells": [], "metadata": {}, "nbformat": 4, "nbformat_minor": 5}).encode()
    made["tree.json"] = json.dumps([ast.dump(ast.parse("speed = distance / time"))]).encode()
    made["settings.ini"] = _ini()
    made["settings.xml.plist"] = plistlib.dumps({"speed": 3, "time": "now"})
    return made | {name: text.encode() for name, text in _TEXTS.items()}


_TEXTS = {
    "notes.txt": WORDS,
    "list.txt": "bread\nbutter\nsalt\n",
    "page.html": f"<!DOCTYPE html>\n<html><head><title>Speed</title></head><body><p>{WORDS}</p></body></html>\n",
    "page.md": f"# Speed and distance\n\n{WORDS}\n| a | b |\n|---|---|\n| 1 | 2 |\n",
    "page.rst": f"Speed\n=====\n\n{WORDS}",
    "page.tex": "\\documentclass{article}\n\\begin{document}\nSpeed, time, distance.\n\\end{document}\n",
    "books.bib": "@book{loom, title = {Loom}, year = {2031}}\n",
    "style.css": "body { speed: normal; transition: all 1s }\n",
    "script.js": "const speed = distance / time;\nconsole.log(speed);\n",
    "types.ts": "export interface Sample { time: number; speed: number }\n",
    "program.py": "from time import time\n\nspeed = 3 / time()\n",
    "longer.c": "double speed, time, distance;\n\nint main(void) { return 3, 4, 5; }\n",
    "program.c": "#include <time.h>\nint main(void) { return (int)time(0); }\n",
    "Program.java": "class Program { double speed, time, distance; }\n",
    "program.rs": 'fn main() { let (time, speed) = (1, 2); println!("{}", time * speed); }\n',
    "query.sql": "SELECT time, heart_rate, speed FROM samples;\n",
    "run.sh": "#!/bin/sh\ntime ls; power=3\n",
    "Makefile": "all:\n\ttime cc program.c\n",
    "settings.toml": "[tool]\ntime = 3\nspeed = 4\n",
    "settings.yaml": "time: 3\nspeed: 4\n",
    "change.diff": "--- a/speed\n+++ b/speed\n@@ -1 +1 @@\n-time\n+pace\n",
    "access.log": '192.0.2.1 - - [04/Mar/2031:09:00:00 +0000] "GET /speed HTTP/1.1" 200 12\n',
    "words.srt": "1\n00:00:01,000 --> 00:00:02,000\nSpeed, time, distance\n",
    "words.vtt": "WEBVTT\n\n00:01.000 --> 00:02.000\nSpeed\n",
    "days.ics": "BEGIN:VCALENDAR\r\nVERSION:2.0\r\nDTSTART:20310304T090000Z\r\nEND:VCALENDAR\r\n",
    "person.vcf": "BEGIN:VCARD\r\nVERSION:4.0\r\nFN:Loom\r\nEND:VCARD\r\n",
    "letter.rtf": "{\\rtf1\\ansi Speed, time, distance.\\par}\n",
    "letter.ps": "%!PS-Adobe-3.0\n/speed 3 def showpage\n",
    "key.pem": "-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n",
    "catalogue.po": 'msgid ""\nmsgstr "Content-Type: text/plain; charset=UTF-8\\n"\n',
    "shop.csv": "article,price,in stock\nlamp,12.50,3\nchair,40.00,0\n",
    "names.tsv": "name\ttown\nA\tB\n",
    "points.geojson": '{"type": "Point", "coordinates": [1, 2]}\n',
    "graph.dot": "digraph { time -> speed }\n",
}


def _xml() -> dict[str, bytes]:
    vocabularies = {
        "drawing.svg": ("svg", "http://www.w3.org/2000/svg", "rect"),
        "news.rss": ("rss", "", "channel"),
        "news.atom": ("feed", "http://www.w3.org/2005/Atom", "entry"),
        "places.kml": ("kml", "http://www.opengis.net/kml/2.2", "Placemark"),
        "formula.mml": ("math", "http://www.w3.org/1998/Math/MathML", "mi"),
        "rules.xsd": ("schema", "http://www.w3.org/2001/XMLSchema", "element"),
        "page.xhtml": ("html", "http://www.w3.org/1999/xhtml", "body"),
        "map.osm": ("osm", "", "node"),
        "sheet.xsl": ("stylesheet", "http://www.w3.org/1999/XSL/Transform", "template"),
        "message.soap": ("Envelope", "http://www.w3.org/2003/05/soap-envelope", "Body"),
    }
    made = {}
    for name, (root, space, child) in vocabularies.items():
        mark = f"{{{space}}}" if space else ""
        tree = ET.Element(mark + root)
        ET.SubElement(tree, mark + child).text = "speed, time, gpx, TrainingCenterDatabase"
        made[name] = ET.tostring(tree, "utf-8", xml_declaration=True)
    return made


def _packed() -> dict[str, bytes]:
    words = WORDS.encode()
    made = {"words.gz": gzip.compress(words), "words.bz2": bz2.compress(words), "words.xz": lzma.compress(words)}
    made["words.zst"] = pa.Codec("zstd").compress(words).to_pybytes()
    made["words.zz"] = zlib.compress(words)
    members = {
        "words.zip": ("words.txt",),
        "letter.docx": ("[Content_Types].xml", "word/document.xml"),
        "sheet.xlsx": ("[Content_Types].xml", "xl/workbook.xml"),
        "letter.odt": ("mimetype", "content.xml"),
        "book.epub": ("mimetype", "META-INF/container.xml"),
        "program.jar": ("META-INF/MANIFEST.MF", "Program.class"),
    }
    for name, inner in members.items():
        packed = io.BytesIO()
        with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
            for member in inner:
                archive.writestr(member, words)
        made[name] = packed.getvalue()
    packed = io.BytesIO()
    with tarfile.open(fileobj=packed, mode="w") as tar:
        member = tarfile.TarInfo("words.txt")
        member.size = len(words)
        tar.addfile(member, io.BytesIO(words))
    return made | {"words.tar": packed.getvalue()}


def _images() -> dict[str, bytes]:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = chunk(b"IHDR", struct.pack(">IIBBBBB", 8, 8, 8, 0, 0, 0, 0))
    png = b"\x89PNG\r\n\x1a\n" + header + chunk(b"IDAT", zlib.compress(bytes(72))) + chunk(b"IEND", b"")
    gif = b"GIF89a\1\0\1\0\x80\0\0\0\0\0\xff\xff\xff,\0\0\0\0\1\0\1\0\0\2\2D\1\0;"
    bmp = b"BM" + struct.pack("<IHHIIiiHHIIiiII", 58, 0, 0, 54, 40, 1, 1, 1, 24, 0, 4, 0, 0, 0, 0) + bytes(4)
    tif = b"II*\0" + struct.pack("<IHHHII", 8, 1, 256, 3, 1, 1) + bytes(4)
    jpg = b"\xff\xd8\xff\xe0\0\x10JFIF\0\1\1\0\0\1\0\1\0\0\xff\xd9"
    ico = struct.pack("<HHHBBBBHHII", 0, 1, 1, 8, 8, 0, 0, 1, 8, len(png), 22) + png
    return {
        "a.png": png,
        "a.gif": gif,
        "a.bmp": bmp,
        "a.tif": tif,
        "a.jpg": jpg,
        "a.ico": ico,
        "a.ppm": b"P6 1 1 255\nabc",
    }


def _sound() -> bytes:
    made = io.BytesIO()
    with wave.open(made, "wb") as sound:
        sound.setparams((1, 2, 8000, 0, "NONE", ""))
        sound.writeframes(bytes(2000))
    return made.getvalue()


def _pdf() -> bytes:
    return b"%PDF-1.4\n1 0 obj\n<< /Type /Catalog >>\nendobj\ntrailer\n<< /Root 1 0 R >>\n%%EOF\n"


def _of_libraries(folder: Path) -> dict[str, bytes]:
    writers: dict[str, Callable[[Path], object]] = {
        "table.parquet": lambda path: pa.parquet.write_table(TABLE, path),
        "table.feather": lambda path: pa.feather.write_feather(TABLE, path),
        "table.orc": lambda path: pa.orc.write_table(TABLE, path),
        "array.npy": lambda path: np.save(path, np.arange(9)),
        "arrays.npz": lambda path: np.savez(path, speed=np.arange(9)),
        "store.sqlite": _store,
    }
    for name, write in writers.items():
        write(folder / name)
    dbm.dumb.open(str(folder / "store"), "n").close()
    return {name: (folder / name).read_bytes() for name in writers}


def _store(path: Path) -> None:
    connection = sqlite3.connect(path)
    connection.execute("CREATE TABLE samples (time, heart_rate)")
    connection.commit()
    connection.close()


def _of_python(folder: Path) -> dict[str, bytes]:
    (folder / "program.py").write_text("speed = 3\n")
    compiled = py_compile.compile(str(folder / "program.py"), cfile=str(folder / "program.pyc"), doraise=True)
    values = {"time": [1, 2], "heart_rate": [60, 61]}
    return {
        "program.pyc": Path(str(compiled)).read_bytes(),
        "values.pickle": pickle.dumps(values),
        "old.pickle": pickle.dumps(values, protocol=0),
        "values.marshal": marshal.dumps(values),
    }


def _ini() -> bytes:
    parser = configparser.ConfigParser()
    parser["time"] = {"speed": "3"}
    made = io.StringIO()
    parser.write(made)
    return made.getvalue().encode()


def _mail(folder: Path) -> dict[str, bytes]:
    letter = email.message.EmailMessage()
    letter["Subject"], letter["From"], letter["To"] = "Speed, time", "a@example.org", "b@example.org"
    letter.set_content(WORDS)
    box = mailbox.mbox(folder / "letters.mbox")
    box.add(letter)
    box.close()
    return {"letter.eml": bytes(letter), "letters.mbox": (folder / "letters.mbox").read_bytes()}
