"""XML by mapping files: what is taken apart as text is what a parser sees, whatever the records look like."""

from __future__ import annotations

import io
import subprocess
import sys
import textwrap
from collections import Counter
from pathlib import Path
from xml.etree import ElementTree as ET
from xml.sax.saxutils import escape, quoteattr

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from mapped import export
from vambrace.errors import VambraceError
from vambrace.plugin import DamagedFile, Refused, Source
from vambrace_plugins.mapping import load, xmlrecords
from vambrace_plugins.mapping.xmlrecords import XmlRecords

MAPPING = """
name = "recs"
[recognise]
header = ["r"]
[source]
kind = "xml"
records = "r"
[time]
column = "@t"
format = "epoch"
unit = "s"
[[signals]]
field = "v"
signal = "heart_rate"
unit = "bpm"
"""
FIELDS = ("@t", "v")


def rows_of(data: bytes) -> tuple[list[list[str]], dict[str, int]]:
    """Return the rows and the counts of other texts that the project reads."""
    source = Source("a.xml", len(data), lambda: io.BytesIO(data))
    records = XmlRecords(source, load("band.toml", MAPPING))
    assert tuple(records.names) == FIELDS
    rows = [
        list(row)
        for block in records.blocks()
        for row in zip(*(column.to_pylist() for column in block.columns), strict=True)
    ]
    return rows, {name: n for name, n in records.left.items() if n}


def expected(data: bytes) -> tuple[list[list[str]], dict[str, int]]:
    """Return the same by the standard library's parser."""
    rows: list[list[str]] = []
    left: Counter[str] = Counter()
    root = ET.fromstring(data)
    left.update(f"@{name}" for name, value in root.attrib.items() if value.strip())
    for child in root:
        texts: list[tuple[str, str]] = [(f"@{name}", value.strip()) for name, value in child.attrib.items()]
        for inner in child:
            texts += [(f"{inner.tag}@{name}", value.strip()) for name, value in inner.attrib.items()]
            texts.append((inner.tag, (inner.text or "").strip()))
        texts = [(name, text) for name, text in texts if text]
        if child.tag == "r":
            row: dict[str, str] = {}
            for name, text in texts:
                if name in FIELDS and name not in row:
                    row[name] = text
                else:
                    left[name] += 1
            rows.append([row.get(name, "") for name in FIELDS])
        else:
            left.update(f"{child.tag}{'' if name[0] == '@' else '/'}{name}" for name, _ in texts)
            left.update([child.tag] if (child.text or "").strip() else [])
    return rows, dict(left)


WORDS = st.text("ab1<>&\"' é\u00a0-]!?/\t\n", max_size=6)
ATTRIBUTES = st.dictionaries(st.sampled_from(["t", "k", "note", "xt"]), WORDS, max_size=4)


PLAIN = [f'<r t="{n}"><v>{n}</v></r>' for n in range(1, 4)]
LONG_COMMENT = f"<!-- {''.join(PLAIN * 5)} -->"
NESTED = f'<r t="8">{PLAIN[0].replace("<v>1</v>", "")}<r t="9"></r><v>7</v></r>'


@st.composite
def record(draw: st.DrawFn) -> str:
    def tag(name: str, inner: str = "", attributes: dict[str, str] | None = None) -> str:
        said = "".join(
            f"{draw(st.sampled_from([' ', '  ', chr(10)]))}{key}={quoteattr(value)}"
            for key, value in (attributes or {}).items()
        )
        return f"<{name}{said}/>" if not inner and draw(st.booleans()) else f"<{name}{said}>{inner}</{name}>"

    def text() -> str:
        word = draw(WORDS)
        return f"<![CDATA[{word.replace(']]>', '')}]]>" if draw(st.integers(0, 9)) == 0 else escape(word)

    kind = draw(st.sampled_from(["r", "r", "r", "r", "comment", "other", "rest"]))
    if kind == "comment":
        return draw(st.sampled_from(['<!-- <r t="1"/> -->', "<?r t?>", "<!--</r>-->", LONG_COMMENT, NESTED]))
    names = draw(st.sampled_from([[], ["v"], ["v", "src"], ["src", "v"], ["v", "v"]]))
    inner = "".join(tag(name, text(), draw(ATTRIBUTES) if draw(st.booleans()) else {}) for name in names)
    return tag(kind, inner, draw(ATTRIBUTES))


@settings(deadline=None, derandomize=True, max_examples=200)
@given(st.lists(record(), max_size=12), st.sampled_from(["", "\n", "  "]), st.integers(1, 4))
def test_random_documents_read_as_by_the_standard_library(parts: list[str], between: str, often: int) -> None:
    # Records that are alike stand between the odd ones, so that both ways of reading meet at every kind of border.
    body = between.join([*PLAIN * 2, *(piece for part in parts for piece in (part, *PLAIN)), *PLAIN])
    data = f'<?xml version="1.0" encoding="utf-8"?><x made="1">{body}</x>'.encode()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("vambrace_plugins.importers.xmlprolog.CHUNK_BYTES", 37 * often)
        patch.setattr("vambrace_plugins.importers.xmlprolog._LEAST_HEAD", 16)
        rows, left = rows_of(data)
    wanted, other = expected(data)
    assert rows == wanted
    assert left == other


def regular(n: int, *, tail: str = "</x>") -> bytes:
    body = "".join(f' <r t="{1_930_000_000 + at}" u="bpm"><v>{60 + at % 9}</v></r>\n' for at in range(n))
    return f'<?xml version="1.0"?>\n<x>\n{body}{tail}\n'.encode()


def test_regular_records_are_taken_apart_as_text(monkeypatch: pytest.MonkeyPatch) -> None:
    fed = []
    feed = xmlrecords.Tree.feed
    monkeypatch.setattr(xmlrecords.Tree, "feed", lambda self, text: (fed.append(len(text)), feed(self, text)))
    data = regular(20_000)
    rows, left = rows_of(data)
    assert len(rows) == 20_000
    assert left == {"@u": 20_000}
    assert sum(fed) < len(data) / 4


@pytest.mark.parametrize(
    ("tail", "rows"),
    [
        ('<r t="1"><v>1</r></x>', 20_000),
        ('<r t="1" t="2"><v>1</v></r></x>', 20_000),
        ('<r t="1"><v>1</v></r>', 20_001),
        ('<r t="1"><v>1</v></r></y>', 20_001),
        ("<r t='1'><v>&nope;</v></r></x>", 20_000),
        ('<r t="1"><v>\x01</v></r></x>', 20_000),
        ('<r t="1"><v>]]></v></r></x>', 20_000),
    ],
)
def test_damage_behind_many_records_is_found_and_what_stands_before_is_kept(tail: str, rows: int) -> None:
    found = export(MAPPING, regular(20_000, tail=tail), "a.xml")
    assert isinstance(found.error, DamagedFile), found.error
    assert found.error.where.startswith("line 20,00"), found.error
    assert len(found.values[1, "heart_rate"]) in {rows, rows - 1}


def test_a_document_type_declaration_is_refused() -> None:
    data = b'<!DOCTYPE x [<!ENTITY a "b">]><x><r t="1930000000"><v>&a;</v></r></x>'
    found = export(MAPPING, data, "a.xml")
    assert isinstance(found.error, Refused)
    assert found.error.code == "hostile-file"


def test_a_record_without_end_is_refused_before_it_fills_the_memory() -> None:
    inner = "".join(f"<w a='{n}'/>" for n in range(300_000))
    found = export(MAPPING, f'<x><r t="1930000000"><v>60</v></r><r t="1930000001">{inner}</r></x>'.encode(), "a.xml")
    assert isinstance(found.error, VambraceError)
    assert found.error.code == "hostile-file"


MEASURED = """
import io, sys, time
sys.path.insert(0, sys.argv[1])
from vambrace.plugin import Source, SourceBatch
from vambrace_plugins.mapping import MappedImporter, load

class Stream(io.RawIOBase):
    def __init__(self, size):
        row = ' <r t="%d" u="bpm" who="ring-A"><v>%d</v></r>\\n'
        body = "".join(row % (1_930_000_000 + at, 60 + at % 9) for at in range(1000))
        self.body, self.left, self.state = body.encode(), size, b"<x>\\n"
    def readable(self):
        return True
    def read(self, n=-1):
        if self.state:
            data, self.state = self.state, b""
            return data
        if self.left > 0:
            self.left -= len(self.body)
            return self.body
        self.state, self.body = b"", b""
        end, self.end = getattr(self, "end", b"</x>"), b""
        return end

def peak():
    # The kernel's count of this program alone: what getrusage says begins with what the test's own process held.
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) for line in status if line.startswith("VmHWM:")) / 1024

importer = MappedImporter(load("band.toml", sys.stdin.read()))
peaks = []
rows = 0
for item in importer.read(Source("a.xml", 1, lambda: Stream(int(sys.argv[2])), importer.Options())):
    if isinstance(item, SourceBatch):
        rows += len(item)
        peaks.append(peak())
print(rows, peaks[len(peaks) // 3], peaks[-1])
"""


@pytest.mark.skipif(not Path("/proc/self/status").exists(), reason="the most memory of a process is read from /proc")
def test_memory_stays_flat_over_a_hundred_megabytes() -> None:
    code = textwrap.dedent(MEASURED)
    run = subprocess.run(
        [sys.executable, "-c", code, ".", "100000000"], input=MAPPING, capture_output=True, text=True, check=True
    )
    rows, third, peak = map(float, run.stdout.split())
    assert rows > 1_500_000
    assert peak < 300
    assert peak - third < 15
