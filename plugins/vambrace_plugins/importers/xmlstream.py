"""Reads an XML document as a stream of finished parts, in memory that does not grow with the document."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, Literal, NoReturn, Protocol, TypeAlias

from lxml import etree

from vambrace.plugin import DamagedFile, Event, Recording, Refused, Source, SourceBatch
from vambrace_plugins.importers.xmlprolog import TextReader

MOST_DEPTH = 100
MOST_TEXT = 1 << 20
MOST_ATTRIBUTES = 256
MOST_NAME = 256
MOST_ROW_BYTES = 2 << 20
_MOST_TAGS = 10_000
_LIMIT_CODES = (etree.ErrorTypes.ERR_NAME_TOO_LONG, etree.ErrorTypes.ERR_RESOURCE_LIMIT)

Part: TypeAlias = tuple[Literal["open", "row", "close"], str, etree._Element]
"""What happened, the path of local names from the root (`gpx/trk/trkseg/trkpt`), and the element.

A row is whole; an open element has its attributes, a closed one its own text and attributes but no children.
"""


Leaves: TypeAlias = list[tuple[str, str | None]]
"""The texts of a row's elements and attributes by their path in it (`extensions/hr`, `@lat`)."""


Handed: TypeAlias = SourceBatch | Event | Recording


class Document(Protocol):
    """What a format makes of the parts of its documents."""

    def opened(self, path: str, element: etree._Element) -> None:
        """Take note of what begins."""

    def row(self, path: str, element: etree._Element) -> Iterator[Handed]:
        """Take a whole row."""

    def closed(self, path: str, element: etree._Element) -> Iterator[Handed]:
        """Take note of what ends."""

    def finish(self, complete: bool) -> Iterator[Handed]:
        """Hand over what is left; `complete` is False where the document breaks off."""


class XmlStream:
    """One XML document whose parts are handed out in document order and dropped behind.

    `root` is the local name that the root element must have. Elements named in `rows` are handed out whole, all
    others as they open and close. `tags` holds every tag met so far with its local name.
    """

    def __init__(self, source: Source, root: str, rows: frozenset[str]) -> None:
        self.tags: dict[str, str] = {}
        self._source, self._root, self._rows = source, root, rows
        self._chain: list[etree._Element] = []
        self._closed_row: etree._Element | None = None
        self._waiting: tuple[etree._Element | None, int] = (None, 0)

    def parts(self) -> Iterator[Part]:
        """Yield the document's parts; what stands before a damage is yielded before DamagedFile is raised."""
        with self._source.open() as stream:
            reader = TextReader(stream)
            chunks = reader.chunks()
            parser = self._parser()
            error: Exception | None = None
            finished, chunk = False, b""
            while not finished and error is None:
                try:
                    chunk = next(chunks, b"")
                    self._check_start(reader)
                    finished = self._feed(parser, chunk)
                except (etree.XMLSyntaxError, DamagedFile) as caught:
                    error = caught
                yield from self._harvest(parser, len(chunk), whole=finished)
            if reader.note:
                self._source.note("encoding", reader.note)
            if error is not None:
                self._raise(error, ended=not chunk)

    def _parser(self) -> etree.XMLPullParser:
        # The encoding is forced: the text was decoded before, and a declaration has no say any more.
        return etree.XMLPullParser(
            events=("start", "end"),
            tag=[f"{{*}}{name}" for name in (self._root, *sorted(self._rows))],
            encoding="utf-8",
            resolve_entities=False,
            no_network=True,
            load_dtd=False,
            huge_tree=False,
            remove_blank_text=True,
            remove_comments=True,
            remove_pis=True,
        )

    def _feed(self, parser: etree.XMLPullParser, chunk: bytes) -> bool:
        """Give the parser more bytes, or none at the end; return whether the document is whole."""
        if chunk:
            parser.feed(chunk)
            # Without entity resolution the parser passes over an undefined entity without a word.
            undefined = [entry for entry in parser.feed_error_log if entry.level_name == "FATAL"]
            if undefined:
                at = undefined[0]
                raise DamagedFile(_own_words(at.message), where=f"line {at.line}, column {at.column}", todo=_AGAIN)
            return False
        parser.close()
        return True

    def _harvest(self, parser: etree.XMLPullParser, size: int, whole: bool) -> Iterator[Part]:
        """Yield what is finished since the last time, and drop it from the tree."""
        events: Iterator[tuple[str, Any]] = parser.read_events()
        for event, element in events:
            if not self._chain:
                if self.name(element) != self._root:
                    # Its prefix is declared nowhere; the parser says so at the end.
                    continue
                self._chain = [element]
                # Belt and braces: the text was searched before it came here.
                if element.getroottree().docinfo.doctype:
                    raise Refused("hostile-file", "it has a document type declaration", todo="Remove it")
                check_size(None, len(element.attrib))
                yield "open", self._root, element
            elif event == "end" and self.name(element) in self._rows:
                self._closed_row = element
        if self._chain:
            yield from self._children(self._chain[0], self._root, 0, whole, size)
            self._closed_row = None
            if whole:
                yield "close", self._root, self._chain[0]

    def _check_start(self, reader: TextReader) -> None:
        """Refuse another format before its first byte is parsed."""
        if reader.start.kind == "root" and reader.start.name != self._root:
            raise Refused(
                "other-format",
                f"its outermost element is <{reader.start.name[:MOST_NAME]}>, not <{self._root}>",
                todo="Check how it was exported, or name it after what it holds",
            )

    def _children(self, element: etree._Element, path: str, depth: int, whole: bool, size: int = 0) -> Iterator[Part]:
        """Yield the finished parts inside an element; the last child of an element that is not whole may go on."""
        if depth >= MOST_DEPTH:
            raise _too_large(f"elements are nested more than {MOST_DEPTH} deep")
        children = list(element)
        last = None
        if not whole and children and children[-1] is not self._closed_row:
            last = children.pop()
        for child in children:
            name = self.name(child)
            if name in self._rows:
                yield "row", f"{path}/{name}", child
            else:
                yield from self._element(child, f"{path}/{name}", depth + 1, True)
        if last is not None:
            yield from self._unfinished(last, path, depth, size)
        # What was handed out is dropped; the last element that is not whole is still being built.
        del element[: len(children)]

    def _unfinished(self, element: etree._Element, path: str, depth: int, size: int) -> Iterator[Part]:
        name = self.name(element)
        if name not in self._rows:
            yield from self._element(element, f"{path}/{name}", depth + 1, False, size)
            return
        waiting, bytes_before = self._waiting
        self._waiting = (element, bytes_before + size if waiting is element else 0)
        if self._waiting[1] > MOST_ROW_BYTES:
            raise _too_large(f"one {name} is longer than {MOST_ROW_BYTES:,} bytes")

    def _element(self, element: etree._Element, path: str, depth: int, whole: bool, size: int = 0) -> Iterator[Part]:
        if depth == len(self._chain) or self._chain[depth] is not element:
            self._chain[depth:] = [element]
            check_size(element.text, len(element.attrib))
            yield "open", path, element
        if whole or len(element):
            yield from self._children(element, path, depth, whole, size)
        if whole:
            check_size(element.text, 0)
            yield "close", path, element
            del self._chain[depth:]

    def name(self, element: etree._Element) -> str:
        """Return the local name of an element."""
        tag = element.tag
        return self.tags.get(tag) or self._new_name(tag)

    def _new_name(self, tag: str) -> str:
        name = tag.rpartition("}")[2]
        if len(name) > MOST_NAME or len(self.tags) >= _MOST_TAGS:
            raise _too_large(f"it has more than {_MOST_TAGS:,} kinds of elements, or names beyond {MOST_NAME} letters")
        self.tags[tag] = name
        return name

    def leaves(self, row: etree._Element) -> Leaves:
        """Return the texts of a row's elements and attributes by their path in it (`extensions/hr`, `@lat`).

        Texts are without white space around them; an empty element gives None.
        """
        found = attributes(row, "")
        _stray(row.text, "", found)
        self._leaves(row, "", found, 0)
        return found

    def _leaves(self, element: etree._Element, prefix: str, found: Leaves, depth: int) -> None:
        if depth > MOST_DEPTH:
            raise _too_large(f"elements are nested more than {MOST_DEPTH} deep")
        tags = self.tags
        for child in element:
            tag = child.tag
            path = prefix + (tags.get(tag) or self._new_name(tag))
            text = child.text
            if text is not None:
                text = text.strip() or None
            if text is not None and len(text) > MOST_TEXT:
                check_size(text, 0)
            if len(child.attrib):
                found += attributes(child, path)
            if len(child):
                if text is not None:
                    found.append((path, text))
                self._leaves(child, path + "/", found, depth + 1)
            else:
                found.append((path, text))
            if child.tail is not None:
                _stray(child.tail, prefix, found)

    def _raise(self, error: Exception, ended: bool) -> NoReturn:
        if not isinstance(error, etree.XMLSyntaxError):
            raise error
        line, column = error.position or (0, 0)
        words = _own_words(error.msg or "")
        if getattr(error, "code", None) in _LIMIT_CODES:
            raise _too_large(words) from None
        where = f"line {line}, column {column}" if line else ""
        if ended:
            # The parser was content with every byte, and missed what should follow the last.
            words = f"the file breaks off here, before the end of its document ({words})"
        raise DamagedFile(words, where=where, todo=_AGAIN) from None


_AGAIN = "Export it again; --salvage keeps what stands before the damage"
_OF_SCHEMA = "{http://www.w3.org/2001/XMLSchema-instance}"


def _stray(text: str | None, prefix: str, found: Leaves) -> None:
    """Note text that stands where only elements should."""
    text = (text or "").strip()
    check_size(text, 0)
    if text:
        found.append((f"{prefix}text()", text))


def joined(name: str, part: str) -> str:
    """Return the path of a part of an element."""
    return f"{name}{part}" if part.startswith("@") else f"{name}/{part}"


def attributes(element: etree._Element, path: str) -> Leaves:
    """Return an element's attributes by path and local name; what speaks of the schema is no part of the recording."""
    found: Any = element.attrib
    check_size(None, len(found))
    return [
        (f"{path}@{key.rpartition('}')[2]}", value.strip() or None)
        for key, value in found.items()
        if not key.startswith(_OF_SCHEMA)
    ]


def check_size(text: str | None, attributes: int) -> None:
    """Raise Refused for a text or a number of attributes that no recording has."""
    if text is not None and len(text) > MOST_TEXT:
        raise _too_large(f"one text is longer than {MOST_TEXT:,} characters")
    if attributes > MOST_ATTRIBUTES:
        raise _too_large(f"one element has more than {MOST_ATTRIBUTES} attributes")


def _too_large(what: str) -> Refused:
    return Refused("hostile-file", what, todo="Check where the file comes from; recordings stay far below such sizes")


def _own_words(message: str) -> str:
    """Return the parser's words as one line, without the place that is said apart."""
    return " ".join(message.split(", line ", maxsplit=1)[0].split())[:300]


def handed_over(stream: XmlStream, document: Document) -> Iterator[Handed]:
    """Lead a document's parts through its format; what stands before a damage comes before DamagedFile is raised."""
    try:
        for kind, path, element in stream.parts():
            if kind == "row":
                yield from document.row(path, element)
            elif kind == "open":
                document.opened(path, element)
            else:
                yield from document.closed(path, element)
    except DamagedFile:
        yield from document.finish(complete=False)
        raise
    yield from document.finish(complete=True)


def namespace_of(tag: str) -> tuple[str, str]:
    """Return the namespace of a tag, and how a person is told where it is."""
    namespace = tag[1:].rpartition("}")[0] if tag.startswith("{") else ""
    return namespace, f"in the namespace {namespace[:200]!r}" if namespace else "in no namespace"
