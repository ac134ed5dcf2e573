"""The tree of an XML document while it is parsed: what is finished is handed over and dropped."""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any, TypeAlias

from lxml import etree

from vambrace.plugin import DamagedFile, Refused, Source
from vambrace_plugins.importers.xmlstream import MOST_ROW_BYTES, XmlStream, attributes, check_size
from vambrace_plugins.mapping.model import Mapping
from vambrace_plugins.mapping.xmlshape import Shape, end_of_root, written

Take: TypeAlias = Callable[[dict[str, str] | None, dict[str, int]], None]
_LEARNT = 200
_MARK = "vambrace-root"
_AGAIN = "Export it again; --salvage keeps what stands before the damage"


class Tree:
    """The part of a document that is not dropped yet.

    `tag` is the name of the records as the text writes it, "" before the first. `parent` is the element in which the
    last record stood, where the text that was fed ended behind that record: then all its children are finished.
    """

    def __init__(self, source: Source, mapping: Mapping, take: Take) -> None:
        self._names, self._take = XmlStream(source, "", frozenset()), take
        self._path = [part for part in mapping.layout.records.split("/") if part]
        self._known = frozenset(map(key_of, mapping.fields))
        self._wanted = {name: _steps(name) for name in self._known if name.startswith("../")}
        self._read: set[str] = set()
        self._before = ""
        self._skipped_lines = 0
        self._parser: Any = None
        self._root: etree._Element | None = None
        self._chain: list[tuple[etree._Element, dict[str, str]]] = []
        self._done: etree._Element | None = None
        self._open_bytes = 0
        self.tag = ""
        self.parent: etree._Element | None = None

    def begin(self, root: str) -> None:
        """Begin with the name of the outermost element, once the text shows it."""
        if self._parser is not None:
            return
        if len(self._path) > 1 and self._path[0] == root:
            self._path = self._path[1:]
        for up, key in self._wanted.values():
            base = "/".join(self._path[:-up])
            self._read.add(f"{base}{key}" if key.startswith("@") or not base else f"{base}/{key}")
        self._parser = etree.XMLPullParser(
            # An event for each element would cost as much as its parsing; one for a mark of our own shows the root.
            events=("pi",),
            encoding="utf-8",
            resolve_entities=False,
            no_network=True,
            load_dtd=False,
            huge_tree=False,
            remove_blank_text=True,
            remove_comments=True,
        )

    def feed(self, text: str) -> None:
        """Give the parser more text; raise DamagedFile where it is no XML."""
        if self._root is None:
            text = self._marked(text)
        try:
            self._parser.feed(text.encode())
            # Without entity resolution the parser passes over an undefined entity without a word.
            undefined = [entry for entry in self._parser.feed_error_log if entry.level_name == "FATAL"]
        except etree.XMLSyntaxError as error:
            raise self._damage(error) from None
        if undefined:
            where = f"line {undefined[0].line + self._skipped_lines:,}"
            raise DamagedFile(" ".join(undefined[0].message.split())[:300], where=where, todo=_AGAIN)
        if self._root is None:
            marks = (each for _, each in self._parser.read_events() if each.target == _MARK)
            self._root = next((mark.getparent() for mark in marks), None)
            # Belt and braces: the text was searched before it came here.
            if self._root is not None and self._root.getroottree().docinfo.doctype:
                raise Refused("hostile-file", "it has a document type declaration", todo="Remove it")
        self._open_bytes += len(text)

    def _marked(self, text: str) -> str:
        """Return the text with a mark behind the start of the outermost element, once it is whole."""
        self._before += text
        at = end_of_root(self._before) - (len(self._before) - len(text))
        if at < 0:
            return text
        self._before = ""
        return f"{text[:at]}<?{_MARK}?>{text[at:]}"

    def close(self) -> None:
        """Say that the text is whole; raise DamagedFile where the document is not."""
        try:
            self._parser.close()
        except etree.XMLSyntaxError as error:
            raise self._damage(error) from None

    def _damage(self, error: etree.XMLSyntaxError) -> Exception:
        # Only lines are said: columns move with what was skipped.
        line = (error.position or (0, 0))[0]
        words = " ".join((error.msg or "").split(", line ", maxsplit=1)[0].split())[:300]
        return DamagedFile(words, where=f"line {line + self._skipped_lines:,}" if line else "", todo=_AGAIN)

    def skip(self, text: str) -> None:
        """Take note of whole records that the parser need not see."""
        self._skipped_lines += text.count("\n")
        self._open_bytes = 0

    def around(self) -> dict[str, str]:
        """Return the texts of fields around the records of `parent`."""
        return self._around([context for _, context in self._chain])

    def harvest(self, shape: Shape, *, clean: bool, whole: bool = False) -> None:
        """Hand over what is finished and drop it; `clean` says that the text ended behind a record."""
        if self._root is None:
            return
        self._shape, self._to_learn = shape, _LEARNT
        self.parent = None
        self._walk(self._root, 0, [], clean=clean, whole=whole)
        if whole:
            self._count(self._root, "")
        elif self._open_bytes > MOST_ROW_BYTES and self.parent is None and self._is_open():
            raise Refused(
                "hostile-file",
                f"one {self._path[-1]} is longer than {MOST_ROW_BYTES:,} bytes",
                todo="Check where the file comes from; recordings stay far below such sizes",
            )

    def _is_open(self) -> bool:
        last = self._chain[-1][0] if self._chain else None
        return last is not None and len(last) > 0 and last[-1] is not self._done

    def _walk(self, element: etree._Element, depth: int, path: list[str], *, clean: bool, whole: bool) -> None:
        """Hand over the finished children of an element and drop them; the last one may not be finished."""
        if depth == len(self._chain) or self._chain[depth][0] is not element:
            self._chain[depth:] = [(element, dict(attributes(element, "")))]  # type: ignore[arg-type]
        children = list(element)
        last = children.pop() if children and not whole else None
        for child in children:
            if isinstance(child.tag, str):
                self._finished(child, depth, path)
        if last is not None and not isinstance(last.tag, str):
            # An instruction that stands last may be followed by text, and stays till then.
            pass
        elif last is not None and self._is_record(last, path):
            if clean and not self._has_record(last):
                self._finished(last, depth, path)
                self.parent, self._done = element, last
                del self._chain[depth + 1 :]
        elif last is not None:
            name = self._names.name(last)
            self._walk(last, depth + 1, [*path, name], clean=clean, whole=False)
        del element[: len(children)]

    def _finished(self, child: etree._Element, depth: int, path: list[str]) -> None:
        """Take a finished child: a record, or what stands around records."""
        if child is self._done:
            return
        if self._is_record(child, path):
            self._record(child)
            return
        name = self._names.name(child)
        if len(child):
            self._walk(child, depth + 1, [*path, name], clean=False, whole=True)
            del self._chain[depth + 1 :]
        self._count(child, "/".join([*path, name]))
        text = (child.text or "").strip()
        context = self._chain[depth][1]
        if text:
            context.setdefault(name, text)
        context.update((key, value) for key, value in attributes(child, name) if value)

    def _record(self, record: etree._Element) -> None:
        row: dict[str, str] = {}
        left: dict[str, int] = {}
        if not self.tag:
            self.tag = written(record)
        for key, text in self._names.leaves(record):
            if text is None:
                continue
            if key in self._known and key not in row:
                row[key] = text
            else:
                left[key] = left.get(key, 0) + 1
        if self._wanted:
            row.update(self._around([context for _, context in self._chain]))
        self._take(row, left)
        self._open_bytes = 0
        if self._to_learn:
            self._to_learn -= 1
            self._shape.learn(record)

    def _around(self, contexts: list[dict[str, str]]) -> dict[str, str]:
        found = {}
        for name, (up, key) in self._wanted.items():
            if up <= len(contexts):
                found[name] = contexts[-up].get(key) or ""
        return found

    def _count(self, element: etree._Element, name: str) -> None:
        """Count the texts of an element that is no record."""
        text = (element.text or "").strip()
        check_size(text, 0)
        found = [*attributes(element, name), *([(name, text)] if text else [])]
        left = {key: 1 for key, value in found if value and key not in self._read}
        self._take(None, left)

    def _is_record(self, element: etree._Element, path: list[str]) -> bool:
        name = self._names.name(element)
        if name != self._path[-1]:
            return False
        return len(self._path) == 1 or [*path, name] == self._path

    def _has_record(self, element: etree._Element) -> bool:
        return next(element.iterdescendants(element.tag), None) is not None


def key_of(name: str) -> str:
    """Return the path of a field as the parts of a record are named: `value/@unit` is `value@unit`."""
    return re.sub(r"(?<!\.\.)/@", "@", name)


def _steps(name: str) -> tuple[int, str]:
    """Return how many levels up a field stands, and its path there."""
    up = 0
    while name.startswith("../"):
        up, name = up + 1, name.removeprefix("../")
    return up, name
