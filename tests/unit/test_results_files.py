"""`results.json`: what is written is what is read, by the shipped schema, without NaN."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st
from jsonschema import Draft202012Validator

from analog.results import (
    SCHEMA,
    BenchResult,
    DesignInfo,
    EngineInfo,
    Expectation,
    LimitRow,
    MeasureRow,
    Results,
    ResultsError,
    Yield,
    from_data,
    read_results,
    results_schema,
    to_data,
    to_json,
    write_results,
)

JUDGED = MeasureRow(
    measure="hold_time",
    unit="s",
    nominal=0.23,
    worst=0.175,
    worst_at={"reset.capacitor": 0.9e-6, "environment.ambient": -10.0},
    limit=LimitRow("reset_pulse", 3.5e-7, None, "TI SCHS097F, table 6.5"),
    margin=0.17499965,
    margin_share=5e5,
    verdict="pass",
    reason="interpolated",
    samples=372,
    drivers=({"key": "reset.capacitor", "change": 0.05},),
)
STATED = replace(
    JUDGED,
    measure="release_time",
    limit=None,
    margin=None,
    margin_share=None,
    verdict=None,
    worst=None,
    reason="it never happens at the worst case",
)
SHARE = Yield(0.99, 0.98, 0.995, 0.95, 1000, 2, "exact binomial")


def results(*rows: MeasureRow) -> Results:
    bench = BenchResult("reset", "pass", None, 372, 0, rows)
    return Results(
        SCHEMA,
        "0.1.0",
        EngineInfo("ngspice", "39.3"),
        DesignInfo("propagator-mat", "Mat, 120 V “60 Hz”", "0" * 64),
        {"cards/40106.toml": "a" * 64},
        0,
        "pass",
        Expectation("pass", ()),
        SHARE,
        (bench,),
    )


SAMPLE = results(JUDGED, STATED)


def valid(data: object) -> bool:
    return Draft202012Validator(results_schema()).is_valid(data)


def test_schema_is_a_schema_and_the_results_suit_it() -> None:
    Draft202012Validator.check_schema(results_schema())
    Draft202012Validator(results_schema()).validate(json.loads(to_json(SAMPLE)))


def test_the_share_of_good_boards_is_called_yield_in_the_file() -> None:
    data = to_data(SAMPLE)
    assert data["yield"]["n"] == 1000
    assert data["benches"][0]["yield"] is None


def test_file_is_read_back_as_it_was(tmp_path: Path) -> None:
    write_results(SAMPLE, tmp_path / "results.json")
    assert read_results(tmp_path / "results.json") == SAMPLE
    assert [path.name for path in tmp_path.iterdir()] == ["results.json"]


@given(st.floats(allow_nan=False, allow_infinity=False), st.text(max_size=20))
def test_any_number_and_text_survive(number: float, text: str) -> None:
    sample = results(replace(JUDGED, worst=number, reason=text))
    assert from_data(json.loads(to_json(sample))) == sample


@pytest.mark.parametrize("number", [math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("field", ["worst", "nominal", "margin"])
def test_nothing_but_numbers_gets_into_the_file(number: float, field: str, tmp_path: Path) -> None:
    sample = results(replace(JUDGED, **{field: number}))
    with pytest.raises(ValueError, match=rf"measures\[0\]\.{field}"):
        write_results(sample, tmp_path / "results.json")
    assert list(tmp_path.iterdir()) == []


def test_text_is_on_one_line() -> None:
    assert "\n" not in to_json(SAMPLE)


def change(path: list[str | int], value: object) -> dict:
    data = json.loads(to_json(SAMPLE))
    place = data
    for step in path[:-1]:
        place = place[step]
    place[path[-1]] = value
    return data


ROW = ["benches", 0, "measures", 0]


@pytest.mark.parametrize(
    ("path", "value", "named"),
    [
        (["schema"], "edgeproof-results-0", "schema"),
        (["surplus"], 1, "surplus"),
        (["seed"], "0", "seed"),
        (["engine", "version"], 39, "engine.version"),
        (["verdict"], "good", "verdict"),
        ([*ROW, "worst"], "0.1", "benches.0.measures.0.worst"),
        ([*ROW, "verdict"], "ok", "benches.0.measures.0.verdict"),
        ([*ROW, "worst_at"], {"a.b": None}, "worst_at"),
        ([*ROW, "limit", "min"], "3", "limit.min"),
        ([*ROW, "limit", "colour"], "red", "limit.colour"),
        (["yield", "n"], 2.5, "yield.n"),
    ],
)
def test_wrong_file_is_refused_by_reader_and_schema(path, value, named: str) -> None:
    data = change(path, value)
    assert not valid(data)
    with pytest.raises(ResultsError, match=named.replace(".", r"\.")):
        from_data(data)


def test_schema_wants_a_verdict_exactly_where_there_is_a_limit() -> None:
    assert not valid(change([*ROW, "limit"], None))
    assert not valid(change([*ROW, "verdict"], None))


@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"schema": NaN}'])
def test_what_is_no_results_file_says_so(text: str, tmp_path: Path) -> None:
    path = tmp_path / "results.json"
    path.write_text(text)
    with pytest.raises(ResultsError, match=r"results\.json:1:1: ") as caught:
        read_results(path)
    assert caught.value.exit_code == 2


def test_missing_or_binary_file_says_so(tmp_path: Path) -> None:
    with pytest.raises(ResultsError, match="No such file"):
        read_results(tmp_path / "absent.json")
    (tmp_path / "binary.json").write_bytes(b"\xff\xfe\x00")
    with pytest.raises(ResultsError, match="UTF-8"):
        read_results(tmp_path / "binary.json")
