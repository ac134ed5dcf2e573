"""Looks at XML: which element is repeated for each row, and what stands in it and around it."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from itertools import islice

from lxml import etree

from vambrace.plugin import Refused, Source
from vambrace_plugins.importers.xmlprolog import TextReader
from vambrace_plugins.importers.xmlstream import XmlStream, attributes
from vambrace_plugins.mapping.drafts.looked import Looked, is_time, thinned
from vambrace_plugins.mapping.drafts.page import Entry, shown
from vambrace_plugins.mapping.xmlshape import end_of_last, written
from vambrace_plugins.mapping.xmltree import key_of

_HEAD = 4 << 20
_PLACES, _PIECE = 20, 1 << 16
_FIRST = 200


def look(source: Source) -> Looked:
    """Return what is seen of an XML document; raise Refused where no element is repeated."""
    root, whole = _beginning(source)
    names = XmlStream(source, "", frozenset())
    found: defaultdict[str, list[etree._Element]] = defaultdict(list)
    for element in root.iterdescendants(etree.Element):
        if isinstance(element.tag, str):
            above = [names.name(each) for each in element.iterancestors()][-2::-1]
            found["/".join([*above, names.name(element)])].append(element)
    if not found:
        what = "it has no element inside its outermost one"
        raise Refused("mapping-records", what, todo="Write an importer for it: vambrace new-importer NAME")
    best = max(found, key=lambda path: _rank(path, found[path], names))
    elements = found[best] if whole or len(found[best]) < 2 else found[best][:-1]
    rows = [_row(each, names) for each in thinned(elements)]
    rest = [] if whole else _elsewhere(source, written(elements[0]), names)
    others = [path for path, each in found.items() if path != best and len(each) > 1 and not path.startswith(best)]
    notes = [f"Other elements are repeated as well: {shown(others)}"] if others else []
    settings = [Entry("records", best, f"likely: it was seen {len(elements):,} times")]
    read = f"the first {min(_HEAD, source.size):,} of {source.size:,} bytes"
    read += f", and pieces from {_PLACES} places behind" if rest else ""
    header = list(dict.fromkeys([names.name(root), *best.split("/")]))
    return Looked("xml", [*rows, *thinned(rest)], settings, header, notes, read)


def _beginning(source: Source) -> tuple[etree._Element, bool]:
    """Return the outermost element with what was read of it, and whether that is all."""
    parser = etree.XMLParser(recover=True, resolve_entities=False, no_network=True, load_dtd=False)
    with source.open() as raw:
        n = 0
        for chunk in TextReader(raw).chunks():
            parser.feed(chunk)
            n += len(chunk)
            if n >= _HEAD:
                break
    root = parser.close()
    if root is None:
        raise Refused("mapping-records", "it is no XML that can be read", todo="Export it again")
    return root, n < _HEAD


def _rank(path: str, elements: Sequence[etree._Element], names: XmlStream) -> tuple[bool, int, int]:
    rows = [{name: text or "" for name, text in names.leaves(each)} for each in elements[:50]]
    fields = dict.fromkeys(name for row in rows for name in row)
    timed = any(is_time(name, [row.get(name, "") for row in rows]) for name in fields)
    # An element that holds the rows of another has their fields many times over.
    holds = any(len(each.findall(".//*")) > _FIRST for each in elements[:5])
    return timed and len(fields) > 1 and not holds, len(elements), -path.count("/")


def _row(element: etree._Element, names: XmlStream) -> dict[str, str]:
    row: dict[str, str] = {}
    for name, text in names.leaves(element):
        row.setdefault(_field(name), text or "")
    tag = element.tag
    for up, outer in enumerate(element.iterancestors(), 1):
        front = "../" * up
        for name, text in attributes(outer, ""):
            row[f"{front}{name}"] = text or ""
        for child in islice(outer, _FIRST):
            if isinstance(child.tag, str) and child.tag != tag and not len(child) and (child.text or "").strip():
                row.setdefault(f"{front}{names.name(child)}", (child.text or "").strip())
        tag = outer.tag
    return row


def _field(name: str) -> str:
    """Return the name of a field as a mapping writes it: `value@unit` is `value/@unit`."""
    inner, at, rest = name.rpartition("@")
    written_so = f"{inner}/@{rest}" if inner and at else name
    return written_so if key_of(written_so) == name else name


def _elsewhere(source: Source, tag: str, names: XmlStream) -> list[dict[str, str]]:
    """Return records from places in the rest of the document."""
    rows: list[dict[str, str]] = []
    with source.open() as raw:
        if not raw.seekable():
            return []
        for n in range(_PLACES):
            raw.seek(_HEAD + max(0, source.size - _HEAD - _PIECE) * n // (_PLACES - 1))
            text = raw.read(_PIECE).decode("utf-8", "replace")
            begin, end = text.find(f"<{tag} "), end_of_last(text, tag)
            if 0 <= begin < end:
                piece = etree.fromstring(
                    f"<r>{text[begin:end]}</r>".encode(),
                    etree.XMLParser(recover=True, resolve_entities=False, no_network=True, load_dtd=False),
                )
                every = [each for each in piece if isinstance(each.tag, str) and written(each) == tag]
                rows += [{_field(name): text or "" for name, text in names.leaves(each)} for each in every]
    return rows
