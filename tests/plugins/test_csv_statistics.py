"""Columns that say which statistic a row gives, and who it is of: different ones are never mixed."""

from __future__ import annotations

import pytest

from csv_canonical import canonical
from csv_reading import ReadTable, column_of, ok, read
from vambrace_plugins.importers.csv import Options

T = "2031-03-04T09:00:00Z"
U = "2031-03-04T09:00:01Z"


def statistics(result: ReadTable, signal: str = "heart_rate") -> dict[str, list[float]]:
    """Return the values of a signal by the statistic that the importer hands over with them."""
    found: dict[str, list[float]] = {}
    for batch in result.batches:
        column = column_of(batch, signal)
        found.setdefault(column.statistic, []).extend(float(value) for value in column.values)
    return found


def not_carried(result: ReadTable) -> dict[str, int]:
    return {name: n for each in result.recordings.values() for name, n in each.not_carried.items() if n}


@pytest.mark.parametrize("name", ["statistic", "Statistics", "aggregation", "agg", "AggregationType"])
@pytest.mark.parametrize("header", ["time,signal,{},value", "time,{},heart_rate"])
def test_rows_of_two_statistics_are_two_recordings(name: str, header: str) -> None:
    signal = "heart_rate," if "signal" in header else ""
    rows = [(T, "avg", 70), (T, "max", 90), (U, "Mean", 71), (U, "maximum", 91), (U, "min", 50), (U, "", 72)]
    text = header.format(name) + "\n" + "".join(f"{time},{signal}{word},{n}\n" for time, word, n in rows)
    result = ok(text)
    assert statistics(result) == {"mean": [70, 71], "max": [90, 91], "min": [50], "instant": [72]}
    assert len({batch.recording for batch in result.batches}) == 4
    assert f'rows parted into recordings by the column "{name}"' in result.conversions()


@pytest.mark.parametrize("word", ["sd", "STD", "std dev", "count", "median", "p95", "variance", "n", "sum"])
def test_what_is_computed_of_several_values_is_counted_and_not_carried(word: str) -> None:
    for text in (
        f"time,signal,statistic,value\n{T},heart_rate,mean,70\n{T},heart_rate,{word},3\n",
        f"time,statistic,heart_rate\n{T},mean,70\n{T},{word},3\n",
    ):
        result = ok(text)
        assert statistics(result) == {"mean": [70]}
        assert list(not_carried(result).values()) == [1]
        assert word.lower() in next(iter(not_carried(result))).lower() or word == "sum"


def test_a_sum_is_carried_of_what_is_counted_only() -> None:
    result = ok(f"time,stat,step_count,power\n{T},total,70,300\n", counting="increment")
    assert statistics(result, "step_count") == {"total": [70]}
    assert not_carried(result) == {"power (total)": 1}


def test_statistics_part_the_rows_wherever_blocks_end() -> None:
    rows = "".join(f"{T},{word},{n}\n" for n in range(12_000) for word in ("mean", "max"))
    found = statistics(read("time,statistic,power\n" + rows, [17, 70_000]), "power")
    assert found == {"mean": [float(n) for n in range(12_000)], "max": [float(n) for n in range(12_000)]}


def test_a_word_that_is_no_statistic_is_refused_with_a_way_on() -> None:
    text = f"time,stat,heart_rate\n{T},fine,70\n"
    result = read(text)
    assert result.error is not None
    assert result.error.code == "statistic-unknown"
    assert '"fine"' in str(result.error)
    assert statistics(ok(text, columns="stat=-")) == {"instant": [70]}


def test_a_header_and_a_row_that_name_two_statistics_are_refused() -> None:
    result = read(f"time,statistic,avg HR\n{T},max,90\n")
    assert result.error is not None
    assert result.error.code == "statistic-two-readings"
    assert statistics(ok(f"time,statistic,avg HR\n{T},mean,90\n")) == {"mean": [90]}


@pytest.mark.parametrize("name", ["user", "User-ID", "patient", "athlete", "personId", "participant"])
@pytest.mark.parametrize(
    "text",
    [
        "time,{0},heart_rate\n{T},p1,70\n{T},p2,71\n",
        "time,{0},signal,value\n{T},p1,heart_rate,70\n{T},p2,power,90\n",
        "time,{0},heart_rate\n{T},p1,70\n\ntime,{0},power\n{T},p2,90\n",
    ],
)
def test_two_people_in_one_file_are_refused_whichever_table_names_them(name: str, text: str) -> None:
    result = read(text.format(name, T=T))
    assert result.error is not None
    assert result.error.code == "several-people"
    assert '"p1" and "p2"' in str(result.error)
    ok(text.format(name, T=T).replace("p2", "p1"))
    ok(text.format(name, T=T), columns=f"{name}=-")


def test_devices_that_a_column_of_sources_names_are_two_recordings() -> None:
    result = ok(f"time,type,sourceName,value\n{T},heart_rate,band-A,70\n{T},heart_rate,ring-B,90\n")
    assert [result.values("heart_rate", number) for number in (1, 2)] == [["70"], ["90"]]
    assert {each.product for each in result.recordings.values()} == {"band-A", "ring-B"}


@pytest.mark.parametrize("cells", [("avg", "max"), ("Median", "Median"), ("min", "max"), ("", "std")])
def test_statistics_under_a_header_that_says_nothing_of_them(cells: tuple[str, str]) -> None:
    first, second = cells
    text = f"time,kind,heart_rate\n2024-03-13T09:00:00Z,{first},70\n2024-03-13T09:00:00Z,{second},90\n"
    result = canonical(text.encode())
    assert result.code == "statistic-two-readings"
    assert '--option "csv.columns=kind=-"' in result.said
    told = canonical(text.encode(), Options(columns="kind=-"))
    assert len(told.channels[1, "heart_rate"]) == 2
    named = canonical(text.replace("kind", "statistic").encode())
    assert not named.code


@pytest.mark.parametrize("cells", [("min", "min"), ("max", "lap"), ("", "")])
def test_words_that_need_be_no_statistics(cells: tuple[str, str]) -> None:
    first, second = cells
    text = f"time,kind,heart_rate\n2024-03-13T09:00:00Z,{first},70\n2024-03-13T09:00:00Z,{second},90\n"
    assert not canonical(text.encode()).code


@pytest.mark.parametrize("header", ["steps_min", "stepsMin", "min distance (m)", "mean steps"])
def test_a_statistic_of_a_running_total_is_no_count(header: str) -> None:
    text = f"time,heart_rate,{header}\n2024-03-13T09:00:00Z,70,5\n"
    result = canonical(text.encode(), Options(counting="total"))
    assert {signal for _, signal in result.channels} == {"heart_rate"}
