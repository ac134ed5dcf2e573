"""Commit records: to JSON and back, what contradicts itself, and what damage is told."""

from __future__ import annotations

import dataclasses
import hashlib
import json
from pathlib import Path

import pytest

from datasets import Made, entry, sha
from vambrace.dataset import FindingRow, Occurrence, Record, Stamp, Store, content_key, entry_key
from vambrace.dataset.records import record_from_json, record_to_json
from vambrace.errors import VambraceError


@pytest.fixture
def record(tmp_path: Path) -> Record:
    made = Made("content", settings={"importer": "made", "options": {"decimal": ","}, "cut": [1, 2.5, None, True]})
    return made.record(made.written(tmp_path))


def test_a_record_comes_back_as_it_was(record: Record) -> None:
    data = record_to_json(record)
    assert record_from_json(data, "x") == record
    assert data.endswith(b"}\n")
    assert data == record_to_json(dataclasses.replace(record, settings=dict(reversed(record.settings.items()))))
    # Python's own module reads it, and every name of the record stands there.
    assert set(json.loads(data)) == {one.name for one in dataclasses.fields(Record)}


def test_names_that_are_no_utf8_come_back_as_they_were(record: Record) -> None:
    odd = dataclasses.replace(record, occurrences=(Occurrence("root\udcff", "\\udcff\n é 𝄞"),), reason="\udc80")
    data = record_to_json(odd)
    assert data.decode("utf-8")
    assert record_from_json(data, "x") == odd


@pytest.mark.parametrize(
    ("path", "value", "words"),
    [
        (("status",), "lost", "one of the statuses"),
        (("status",), "duplicate", "one of the statuses"),
        (("bytes",), "7", "Record.bytes should be int | None, not str"),
        (("bytes",), True, "Record.bytes should be int | None, not bool"),
        (("rows_read",), 8, "rows read (8) are not rows kept (5)"),
        (("rows_read",), 7.0, "Record.rows_read should be int, not float"),
        (("occurrences",), [], "at least one place"),
        (("occurrences",), "ab", "a list of Occurrence was expected"),
        (("occurrences", 0), ["exports", "a.csv"], "an object for Occurrence was expected"),
        (("shard", "rows"), 4, "not the rows of the shard"),
        (("shard",), None, "not the rows of the shard"),
        (("aside", "rows"), 9, "not the rows of their file"),
        (("recordings", 0, "complete"), 1, "RecordingRow.complete should be bool | None"),
        (("recordings", 0, "conversions"), ["a", 1], "RecordingRow.conversions should be tuple[str, ...]"),
        (("channels", 0, "signal"), 3, "ChannelRow.signal should be str | None"),
        (("findings", 0, "severity"), "fatal", "one of the severities"),
        (("settings",), [], "Record.settings should be Mapping[str, Any]"),
        (("replaces",), "abc", "Record.replaces should be tuple[str, ...]"),
        (("mood",), "good", "missing or unknown names: mood"),
    ],
)
def test_a_record_that_contradicts_itself_is_named(
    record: Record, path: tuple[str | int, ...], value: object, words: str
) -> None:
    document = json.loads(record_to_json(record))
    place = document
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    with pytest.raises(VambraceError) as caught:
        record_from_json(json.dumps(document).encode(), "sources/x.json")
    assert words in caught.value.what
    assert caught.value.where == "sources/x.json"
    assert "convert its source again" in caught.value.todo


def test_a_name_that_is_missing_is_told(record: Record) -> None:
    document = json.loads(record_to_json(record))
    del document["revision"]
    with pytest.raises(VambraceError, match="missing or unknown names: revision"):
        record_from_json(json.dumps(document).encode(), "x")


def test_a_record_cut_anywhere_or_with_other_bytes_is_told(record: Record) -> None:
    data = record_to_json(record)
    for length in range(0, len(data) - 2, 7):
        with pytest.raises(VambraceError, match="damaged"):
            record_from_json(data[:length], "x")
    for rubbish in (b"\xff" + data, b"[" * 100_000, b"null", b"[]", b'"text"'):
        with pytest.raises(VambraceError, match="damaged"):
            record_from_json(rubbish, "x")


def test_a_damaged_record_in_a_dataset_is_named_with_its_file(tmp_path: Path) -> None:
    store = Store.begin(tmp_path / "ds")
    with store.writing():
        record = Made("a").commit(store)
    path = tmp_path / "ds/sources" / f"{record.key}.json"
    path.write_bytes(path.read_bytes()[:100])
    with pytest.raises(VambraceError, match=str(path)):
        list(Store.open(tmp_path / "ds").records())


def test_keys_are_digests_of_all_that_changes_a_value() -> None:
    # The digest of the canonical JSON, written out by hand.
    text = '["content","' + sha("a") + '",{"a":1,"b":null}]'
    assert content_key(sha("a"), {"b": None, "a": 1}) == hashlib.sha256(text.encode()).hexdigest()
    keys = {
        content_key(sha("a"), {}),
        content_key(sha("b"), {}),
        content_key(sha("a"), {"zone": None}),
        content_key(sha("a"), {"zone": "UTC"}),
        entry_key("a", "b/c"),
        entry_key("a/b", "c"),
        entry_key("a", "\udcff"),
        entry_key("a", "\\udcff"),
    }
    assert len(keys) == 8
    with pytest.raises(ValueError, match="not JSON compliant"):
        content_key(sha("a"), {"margin": float("nan")})


def test_a_finding_has_one_of_three_severities() -> None:
    with pytest.raises(ValueError, match="error, warning, note, not 'fatal'"):
        FindingRow("rule", "fatal", "words")


def test_an_entry_without_content_has_no_rows() -> None:
    with pytest.raises(ValueError, match="not the rows of the shard"):
        dataclasses.replace(entry("a", "b"), shard=Stamp(1, 1, "x"))
