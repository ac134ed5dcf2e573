"""What stands before an XML document's root element: the encoding, and whether there is a DOCTYPE.

Everything is decided on decoded text, and that same text goes to the parser: no encoding can hide a DOCTYPE.
"""

from __future__ import annotations

import codecs
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO, Literal

from vambrace.plugin import DamagedFile, Refused

CHUNK_BYTES = 1 << 16
_MOST_PROLOG = 1 << 20
_LEAST_HEAD = 1024

_MARKS = (
    (b"\xef\xbb\xbf", "utf-8"),
    (b"\xff\xfe\x00\x00", "utf-32"),
    (b"\x00\x00\xfe\xff", "utf-32"),
    (b"\x00\x00\x00<", "utf-32"),
    (b"<\x00\x00\x00", "utf-32"),
    (b"\xff\xfe", "utf-16-le"),
    (b"\xfe\xff", "utf-16-be"),
)
_UNMARKED = ((b"<\x00", "utf-16-le"), (b"\x00<", "utf-16-be"))
_DECLARED = re.compile(rb"""^\s*<\?xml\s[^>]*?\sencoding\s*=\s*["']([A-Za-z][A-Za-z0-9._-]*)["']""")
# Stateless encodings in which every text has one form; UTF-7 and its like are not among them.
_ACCEPTED = re.compile(r"utf-8|utf-16(-[lb]e)?|ascii|iso8859-\d+|cp125\d")

_SKIP = re.compile(r"\s+|<\?.*?\?>|<!--.*?-->", re.DOTALL)
_DOCTYPE = re.compile(r"<!DOCTYPE\s*([^\s\[>]*)[\s\[>]", re.IGNORECASE)
_ROOT = re.compile(r"<([^\s<>/!?&=\"']+)[\s/>]")
_UNFINISHED = re.compile(r"<(!(-(-.*)?|[A-Za-z]*(\s+[^\s\[>]*)?)?|\?.*|[^\s<>/!?&=\"']*)?", re.DOTALL)


@dataclass(frozen=True, slots=True)
class Start:
    """What a document begins with; `name` is the local name of its root element or of its DOCTYPE."""

    kind: Literal["root", "doctype", "unfinished", "other"]
    name: str = ""


def start_of(text: str) -> Start:
    """Say what a document begins with, past white space, comments and processing instructions."""
    at = 0
    while match := _SKIP.match(text, at):
        at = match.end()
    if match := _DOCTYPE.match(text, at):
        return Start("doctype", match[1].rpartition(":")[2])
    if match := _ROOT.match(text, at):
        return Start("root", match[1].rpartition(":")[2])
    return Start("unfinished" if at == len(text) or _UNFINISHED.fullmatch(text, at) else "other")


def head_start(data: bytes) -> Start:
    """Say what a document begins with, from its first bytes in any encoding that is read."""
    try:
        encoding, mark, _ = _encoding(data)
    except Refused:
        return Start("other")
    return start_of(data[mark:].decode(encoding, "ignore"))


def _encoding(head: bytes) -> tuple[str, int, str]:
    """Return the encoding of a document, the length of its byte order mark, and a note where its word is not kept."""
    for mark, encoding in _MARKS:
        if head.startswith(mark):
            return _accepted(encoding), len(mark) if mark[0] != 0x3C else 0, ""
    for mark, encoding in _UNMARKED:
        if head.startswith(mark):
            return encoding, 0, ""
    match = _DECLARED.match(head)
    if match is None:
        return "utf-8", 0, ""
    declared = match[1].decode("ascii")
    encoding = _accepted(declared)
    if encoding.startswith("utf-16"):
        return "utf-8", 0, f"declared as {declared}, but written one byte a character: read as UTF-8"
    return encoding, 0, ""


def _accepted(declared: str) -> str:
    try:
        name = codecs.lookup(declared).name
    except LookupError:
        name = ""
    if not _ACCEPTED.fullmatch(name):
        raise Refused(
            "unknown-encoding",
            f"the text is in the encoding {declared[:40]}, which is not read",
            todo="Save it as UTF-8 (UTF-16, ISO 8859 and Windows code pages are read too)",
        )
    return name


@dataclass(slots=True)
class TextReader:
    """Reads a stream as UTF-8 bytes, whatever its encoding; refuses a DOCTYPE before anything else sees it.

    `start` is known once the first chunk was read; `note` says where the document's word about its encoding was
    not kept.
    """

    stream: BinaryIO
    start: Start = Start("unfinished")
    note: str = ""

    def chunks(self) -> Iterator[bytes]:
        """Yield the document as UTF-8 without byte order mark; raise DamagedFile at bytes that are no text."""
        head = self._head()
        if not head:
            raise DamagedFile("the file is empty", todo="Export it again")
        encoding, mark, self.note = _encoding(head)
        texts = self._texts(encoding, head, mark)
        held = ""
        for text in texts:
            held += text
            self.start = start_of(held)
            if self.start.kind == "doctype":
                raise _doctype_refused(self.start.name)
            if self.start.kind == "other":
                raise DamagedFile("it does not begin as XML does", where="byte 0", todo="Check what this file is")
            if self.start.kind == "root":
                break
            if len(held) > _MOST_PROLOG:
                raise Refused("hostile-file", "no element begins in the first megabyte", todo="Check what this file is")
        if held[:1].isspace() and held.lstrip().startswith("<?xml"):
            held = held.lstrip()
            self.note = self.note or "white space before the XML declaration was passed over"
        yield held.encode()
        for text in texts:
            yield text.encode()

    def _head(self) -> bytes:
        head = b""
        while len(head) < _LEAST_HEAD and (more := self.stream.read(CHUNK_BYTES)):
            head += more
        return head

    def _texts(self, encoding: str, head: bytes, mark: int) -> Iterator[str]:
        decoder = codecs.getincrementaldecoder(encoding)("strict")
        data, end = head[mark:], len(head)
        while True:
            try:
                text = decoder.decode(data, final=not data)
            except UnicodeDecodeError as error:
                yield error.object[: error.start].decode(encoding)
                raise _not_text(encoding, end - len(error.object) + error.start) from None
            if text:
                yield text
            if not data:
                return
            data = self.stream.read(CHUNK_BYTES)
            end += len(data)


def _doctype_refused(name: str) -> Refused:
    if name.lower() == "html":
        return Refused(
            "other-format",
            "this is a web page (HTML), not a recording",
            todo="Export it again: a download without signing in often saves the page instead of the file",
        )
    return Refused(
        "hostile-file",
        "it has a document type declaration (DOCTYPE), which can make a reader open other files or swell without end",
        todo="Remove the declaration if you trust the file; recordings need none",
    )


def _not_text(encoding: str, at: int) -> DamagedFile:
    return DamagedFile(
        f"the bytes from there on are no {encoding.upper()} text",
        where=f"byte {at:,}",
        todo="Export it again, or name the true encoding in the XML declaration",
    )
