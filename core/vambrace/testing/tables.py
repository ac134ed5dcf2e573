"""Tables with all that a writer may meet: nothing, nulls, extremes, odd texts, several batches."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import pyarrow as pa

SCHEMA = pa.schema(
    [
        ("word", pa.dictionary(pa.int32(), pa.string())),
        ("text", pa.string()),
        ("time", pa.timestamp("us", "UTC")),
        ("value", pa.float64()),
        ("count", pa.int64()),
        ("flag", pa.bool_()),
        ("list", pa.list_(pa.string())),
    ],
    metadata={b"vambrace": b'{"unit": "/min"}'},
)
"""A column of each type that the dataset's tables have."""

TEXTS = (
    "",
    " ",
    "plain",
    'say "yes"',
    "a,b;c\td",
    "line\nfeed",
    "carriage\rreturn\r\n",
    "null",
    "NaN",
    "nan",
    "NA",
    "true",
    "-1",
    "=1+1",
    "' leading and trailing ",
    "Überzählig",
    "心拍",
    "قلب",
    "e\u0301 is not é",
    "\ufeffmark",
    "👩🏽‍🔬",
    "\u2028line\u2029paragraph\x85next",
    "\U0010ffff",
    "back\\slash \\n",
    "x" * 5000,
)
"""Texts that are easily written so that they read back as something else."""

_LEAST, _MOST = -(2**63), 2**63 - 1
INTEGERS = (0, 1, -1, 2**53 + 1, -(2**53) - 1, _LEAST, _MOST)
_INFO = np.finfo(np.float64)
FLOATS = (
    0.0,
    -0.0,
    0.1,
    1 / 3,
    72.0,
    1e22,
    float(_INFO.max),
    float(_INFO.min),
    float(_INFO.tiny),
    5e-324,
    float("inf"),
    float("-inf"),
    float("nan"),
    123456789012345680.0,
)
INSTANTS = (0, -1, 1, 1_709_280_000_123_456, 631_152_000_000_000, 4_102_444_800_000_000, -62_135_596_800_000_000)
"""Microseconds since 1970: from the year 1 to the year 2100."""


def rows(n: int, columns: Mapping[str, Sequence[Any]]) -> pa.RecordBatch:
    """Return n rows of SCHEMA with these columns, each repeated to the end; the others are null."""
    held: dict[str, list[Any]] = {}
    for field in SCHEMA:
        given = columns.get(field.name, (None,))
        held[field.name] = [given[at % len(given)] for at in range(n)]
    return pa.record_batch([pa.array(held[field.name], field.type) for field in SCHEMA], schema=SCHEMA)


def extremes() -> pa.RecordBatch:
    """Return the largest, the smallest and the oddest numbers and times."""
    return rows(14, {"value": FLOATS, "count": INTEGERS, "time": INSTANTS, "flag": (True, False)})


def texts() -> pa.RecordBatch:
    """Return odd texts in each column that holds texts."""
    lists = ([], [""], [None], list(TEXTS), *([text] for text in TEXTS))
    return rows(len(TEXTS) + 4, {"word": TEXTS, "text": TEXTS, "list": lists})


def nulls() -> pa.RecordBatch:
    """Return rows of which each has one null, and one of nothing else."""
    full = {
        "word": "a",
        "text": "b",
        "time": 5,
        "value": 1.5,
        "count": 3,
        "flag": True,
        "list": ["c", None],
    }
    each = [{**full, name: None} for name in full]
    return pa.RecordBatch.from_pylist([*each, full, dict.fromkeys(full)], SCHEMA)


def several() -> list[pa.RecordBatch]:
    """Return batches of several sizes, one of them empty, each with words of its own in another order."""
    return [
        rows(3, {"word": ("a", "b", None), "value": (1.0, 2.0)}),
        rows(0, {}),
        rows(5, {"word": ("c", "b"), "text": ("x",), "value": (0.5,)}),
        rows(1, {"word": ("a",), "list": (["y"],)}),
    ]


ODD: Mapping[str, pa.Array] = {
    "a time without a zone": pa.array([0, 1], pa.timestamp("us")),
    "a time in another zone": pa.array([0, 1], pa.timestamp("us", "Europe/Berlin")),
    "nanoseconds": pa.array([1, 2], pa.timestamp("ns", "UTC")),
    "a date": pa.array([0, 20_000], pa.date32()),
    "a length of time": pa.array([0, 1_500_000], pa.duration("us")),
    "a small float": pa.array([0.1, None], pa.float32()),
    "a large whole number": pa.array([2**64 - 1, 0], pa.uint64()),
    "a decimal": pa.array(["1.10", "2.20"], pa.string()).cast(pa.decimal128(5, 2)),
    "bytes": pa.array([b"\xff\x00", b"a"], pa.binary()),
    "a structure": pa.array([{"a": 1}, None], pa.struct([("a", pa.int64())])),
    "a list of numbers": pa.array([[1.5, None], []], pa.list_(pa.float64())),
    "a large text": pa.array(["a", None], pa.large_string()),
    "nothing but nulls": pa.nulls(2),
}
"""Columns of types that no table of a dataset has: a writer writes each as it is, or raises an error."""
