"""Examples of what is refused in a table of text as a whole: its encoding, its cells, its header, its rows."""

from __future__ import annotations

from pathlib import Path

from refusal_example import TABLE, File, T


def wide_table(folder: Path) -> None:
    names = ["time", *(f"heart_rate{n}" for n in range(2_000))]
    (folder / "a.csv").write_text(",".join(names) + f"\n{T}" + ",60" * 2_000 + "\n")


def many_devices(folder: Path) -> None:
    rows = [f"{T},{n},60\n" for n in range(101)]
    (folder / "a.csv").write_text("time,device,heart_rate\n" + "".join(rows))


EXAMPLES = (
    File(
        "bad-option",
        "An option has a value that it cannot have.",
        TABLE,
        said={"delimiter": "x"},
        way={"delimiter": "comma"},
    ),
    File(
        "encoding-not-said",
        "A byte is no text in the encoding of the file, and stands for different letters in others.",
        f"time,heart_rate,note\n{T},60,caf".encode() + b"\x8e\n",
        {"encoding": "mac-roman"},
        readings=('"Ž" in cp1252', '"é" in mac-roman'),
    ),
    File(
        "encoding-two-readings",
        "The encoding that you say contradicts the bytes, which are UTF-8.",
        f"time,heart_rate,note\n{T},60,café\n",
        {"encoding": "utf-8"},
        said={"encoding": "cp1252"},
        readings=('"é" in utf-8', '"Ã©" in cp1252'),
    ),
    File(
        "delimiter-two-readings",
        "The header can be cut at two marks, and gives as many known columns with each.",
        f"time,HR;power\n{T},71;120\n",
        mended=f"time,HR,power\n{T},71,120\n",
        readings=('each comma ("time", "HR;power")', 'each semicolon ("time,HR", "power")'),
    ),
    File(
        "no-header",
        "No line says what the columns are.",
        f"{T},60\n",
        mended=TABLE,
    ),
    File("no-known-column", "No header names a signal.", f"time,qqq\n{T},60\n", {"columns": "qqq=heart_rate"}),
    File(
        "header-twice",
        "Two columns have one header, so that nothing tells them apart.",
        f"time,heart_rate,heart_rate\n{T},60,61\n",
        mended=f"time,band-A heart_rate,strap-R heart_rate\n{T},60,61\n",
        readings=("2 and 3",),
    ),
    File(
        "several-people",
        "A column says that the rows are of several people.",
        f"user,time,heart_rate\nP01,{T},60\nP02,{T},61\n",
        {"columns": "user=-"},
        readings=('"P01"', '"P02"'),
    ),
    File(
        "statistic-unknown",
        "A column says the statistic of each row, and one of its words is none.",
        f"time,statistic,heart_rate\n{T},fine,60\n",
        {"columns": "statistic=-"},
    ),
    File(
        "statistic-two-readings",
        "A header names one statistic, and the column of statistics another.",
        f"time,statistic,average HR\n{T},max,60\n",
        {"columns": "statistic=-"},
        readings=("holds the mean", "says max"),
    ),
    File(
        "too-many-columns",
        "The table is wider than any export of a recording.",
        wide_table,
        mended=TABLE,
    ),
    File(
        "too-many-recordings",
        "A column that tells devices apart has more words than there can be devices.",
        many_devices,
        {"columns": "device=-"},
    ),
    File(
        "damaged-file",
        "A row does not fit its table: here a note behind it, or the title of another table that is not known.",
        f"time,heart_rate\n{T},60\nend\nof file\n",
        mended=f"time,heart_rate\n{T},60\n",
        readings=("a title or a note",),
    ),
    File(
        "damaged-file",
        "A quote is opened and never closed, or a line holds what no text has: the file is cut or was spoilt.",
        f'time,heart_rate,note\n{T},60,ok\n{T},61,"br',
        {"salvage": "yes"},
    ),
)
