"""Generated tables as pandas and Python's csv module read them: the same instants and values."""

from __future__ import annotations

import csv
import io
import random
from datetime import UTC, datetime, timedelta

import pandas as pd
import pytest

from csv_canonical import canonical


def generated(delimiter: str, mark: str, pattern: str, seed: int) -> str:
    """Return a table of 200 rows, with gaps in its values."""
    draw = random.Random(seed)
    lines = [delimiter.join(("time (UTC)", "heart_rate", "power [W]"))]
    for step in range(200):
        at = datetime(2031, 3, 14, tzinfo=UTC) + timedelta(seconds=step * draw.randint(1, 90))
        rate = draw.choice(["", str(draw.randint(40, 190))])
        power = f"{draw.randint(0, 40_000) / 100:.2f}".replace(".", mark)
        lines.append(delimiter.join((at.strftime(pattern), rate, power)))
    return "\n".join(lines) + "\n"


@pytest.mark.parametrize(("delimiter", "mark"), [(",", "."), (";", ","), ("\t", ","), ("|", ".")])
@pytest.mark.parametrize("pattern", ["%Y-%m-%d %H:%M:%S", "%Y-%m-%dT%H:%M:%SZ"])
def test_pandas_and_the_csv_module_read_the_same(delimiter: str, mark: str, pattern: str) -> None:
    text = generated(delimiter, mark, pattern, seed=ord(delimiter))
    result = canonical(text.encode())
    assert (result.code, result.rejected) == ("", []), result.said
    frame = pd.read_csv(io.StringIO(text), sep=delimiter, decimal=mark)
    times = pd.to_datetime(frame["time (UTC)"], utc=True).dt.as_unit("us").astype("int64")
    for signal, column in (("heart_rate", "heart_rate"), ("power", "power [W]")):
        there = frame[column].notna()
        pairs = list(zip(times[there].tolist(), frame[column][there].astype(float).tolist(), strict=True))
        assert result.channels[1, signal] == pairs
    cells = list(csv.reader(io.StringIO(text, newline=""), delimiter=delimiter))[1:]
    assert [value for _, value in result.channels[1, "power"]] == [float(row[2].replace(",", ".")) for row in cells]
