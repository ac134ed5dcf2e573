"""What the records of an XML document look like as text, learnt from those that were parsed.

A text that consists of nothing but records of the learnt shape is well-formed by that alone: its tags are those of a
record that the parser has seen, each closed; its attributes stand in quotation marks, each once; and there are no
references, comments, sections or characters that XML forbids. One regular expression takes it apart, many times as
fast as a parser and a walk through its tree; the parser sees all other text.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field

from lxml import etree

_SPACE = r"[ \t\r\n]"
_ATTRIBUTE = r'"([^"<&\x00-\x1f\ufffe\uffff]*+)"'
_TEXT = r"([^<&>\x00-\x08\x0b-\x1f\ufffe\uffff]*+)"
_MOST_PARTS = 60


@dataclass(slots=True)
class Node:
    """An element of a record: its attributes and children in the order in which they stand; True marks those that
    some records lack.
    """

    tag: str
    name: str
    attributes: dict[str, bool] = field(default_factory=dict)
    children: dict[str, bool] = field(default_factory=dict)
    nodes: dict[str, Node] = field(default_factory=dict)
    met: bool = False


class Shape:
    """The shape of a document's records; `learn` widens it, `rows` takes texts apart."""

    def __init__(self) -> None:
        self._root: Node | None = None
        self._expression: re.Pattern[str] | None = None
        self._usable = True
        self.paths: list[str] = []

    def learn(self, record: etree._Element) -> None:
        """Widen the shape so that it fits this record as well, as far as a shape can."""
        if not self._usable:
            return
        if self._root is None:
            self._root = Node(written(record), "")
        if self._root.tag != written(record) or record.nsmap != _around(record):
            return
        if _merge(self._root, record):
            self.paths = []
            pattern = _pattern(self._root, "", self.paths)
            self._usable = 0 < len(self.paths) <= _MOST_PARTS
            self._expression = re.compile(f"({_SPACE}*+{pattern})") if self._usable else None

    def rows(self, text: str) -> Sequence[Sequence[str]] | None:
        """Return a list of texts for each path, or None where the text is anything but records of this shape."""
        if self._expression is None:
            return None
        found = self._expression.findall(text)
        if not found:
            return None
        whole, *columns = zip(*found, strict=True)
        # Nothing stands between the records, before the first or behind the last.
        return columns if sum(map(len, whole)) == len(text) else None


def _around(record: etree._Element) -> dict[str | None, str]:
    parent = record.getparent()
    return {} if parent is None else parent.nsmap


def written(element: etree._Element) -> str:
    """Return the name of an element as the text writes it."""
    name = str(element.tag).rpartition("}")[2]
    return f"{element.prefix}:{name}" if element.prefix else name


def _merge(node: Node, element: etree._Element) -> bool:
    """Widen a node for an element; return whether that changed it."""
    plain = [str(key) for key in element.attrib if not str(key).startswith("{")]
    changed = _ordered(node.attributes, plain, first=not node.met)
    tags = [written(child) for child in element if isinstance(child.tag, str)]
    once = list(dict.fromkeys(tags))
    changed |= _ordered(node.children, once, first=not node.met)
    node.met = True
    for child in element:
        tag = written(child)
        if tag not in node.nodes:
            node.nodes[tag] = Node(tag, tag.rpartition(":")[2])
        changed |= _merge(node.nodes[tag], child)
    return changed


def _ordered(known: dict[str, bool], names: Sequence[str], *, first: bool) -> bool:
    """Add names to those that are known, each behind the one before it; mark those that are not always there."""
    changed = False
    for at, name in enumerate(names):
        if name not in known:
            order = list(known)
            order.insert(order.index(names[at - 1]) + 1 if at else 0, name)
            marked = {each: known.get(each, not first) for each in order}
            known.clear()
            known.update(marked)
            changed = True
    for name, lacked in known.items():
        if not lacked and name not in names:
            known[name] = True
            changed = True
    return changed


def _pattern(node: Node, path: str, paths: list[str]) -> str:
    """Return the expression of an element; `paths` takes the path of each group in its order."""
    parts = [f"<{re.escape(node.tag)}"]
    for name, optional in node.attributes.items():
        paths.append(f"{path}@{name.rpartition(':')[2]}")
        one = rf"{_SPACE}++{re.escape(name)}={_ATTRIBUTE}"
        parts.append(f"(?:{one})?+" if optional else one)
    if not node.children:
        if path:
            paths.append(path)
            parts.append(rf"{_SPACE}*+(?:/>|>{_TEXT}</{re.escape(node.tag)}>)")
        else:
            parts.append(rf"{_SPACE}*+(?:/>|>{_SPACE}*+</{re.escape(node.tag)}>)")
        return "".join(parts)
    inner = "".join(_child(node, tag, path, paths) for tag in node.children)
    closed = f">{inner}{_SPACE}*+</{re.escape(node.tag)}>"
    # An element that may be empty may end where it begins.
    parts.append(f"{_SPACE}*+(?:/>|{closed})" if all(node.children.values()) else f"{_SPACE}*+{closed}")
    return "".join(parts)


def _child(node: Node, tag: str, path: str, paths: list[str]) -> str:
    inner = node.nodes[tag]
    one = f"{_SPACE}*+{_pattern(inner, f'{path}/{inner.name}' if path else inner.name, paths)}"
    return f"(?:{one})?+" if node.children[tag] else one


def still_inside(text: str, inside: str = "") -> str:
    """Return the mark that would end a comment, CDATA section or instruction open at a text's end, "" for none.

    `inside` is what was open before it. No attribute's value can hold `<`, so what begins so is what it seems.
    """
    at = 0
    while True:
        if inside:
            end = text.find(inside, at)
            if end < 0:
                return inside
            at, inside = end + len(inside), ""
        found = _OPENING.search(text, at)
        if found is None:
            return ""
        at, inside = found.end(), _ENDS[found[0]]


_ENDS = {"<!--": "-->", "<![CDATA[": "]]>", "<?": "?>"}
_OPENING = re.compile("|".join(map(re.escape, _ENDS)))


def end_of_last(text: str, tag: str) -> int:
    """Return where the last whole element of a name ends in a text, 0 where there seems to be none."""
    closing = f"</{tag}>"
    behind = text.rfind(closing)
    behind = behind + len(closing) if behind >= 0 else 0
    alone = re.compile(rf"<{re.escape(tag)}(?:\s+[^\s=<>\"'/]+\s*=\s*(?:\"[^\"<]*\"|'[^'<]*'))*\s*/>")
    at = len(text)
    for _ in range(4):
        at = text.rfind(f"<{tag}", behind, at)
        if at < 0:
            break
        if found := alone.match(text, at):
            return found.end()
    return behind


_BEFORE_ROOT = re.compile(r"(?:\s+|<\?.*?\?>|<!--.*?-->)*+", re.DOTALL)
_ROOT = re.compile(r"<[^\s<>/!?&=\"']+(?:\s+[^\s=<>\"'/]+\s*=\s*(?:\"[^\"<]*\"|'[^'<]*'))*+\s*>")


def end_of_root(text: str) -> int:
    """Return where the start of the outermost element ends in a document's text; −1 where it is not whole yet.

    An element that ends where it starts has nothing inside, and no place for a mark.
    """
    before = _BEFORE_ROOT.match(text)
    found = _ROOT.match(text, before.end() if before else 0)
    return found.end() if found else -1
