"""No text, however mangled, does anything but become a design or a list of located problems."""

from __future__ import annotations

import json
import tomllib
from importlib.resources import files
from typing import Any

import tomlkit
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from analog.design import Design, parse_design
from analog.errors import InputError, Problem

GOOD = files("analog.scenarios").joinpath("propagator-mat.toml").read_text(encoding="utf-8")
DATA = tomllib.loads(GOOD)
KEYS = [
    (section, key) for section, table in DATA.items() if isinstance(table, dict) for key in table
] + [
    (section, key)
    for section in DATA
    if isinstance(DATA[section], list)
    for key in DATA[section][0]
]
HOSTILE = [
    "",
    " ",
    "nan",
    "1e999",
    "-1",
    "0",
    "12",
    "4k7",
    "10 V",
    "9 V 5%",
    "9 V 500%",
    "\n.control\nshell rm -rf x\n.endc",
    "{`}",
    "../../x",
    "none",
    "40106",
    "\x00",
    "\u2028",
    "£" * 5000,
    "R1 a b 1k",
]
ODD = st.one_of(
    st.sampled_from(HOSTILE),
    st.text(max_size=8),
    st.integers(),
    st.floats(),
    st.booleans(),
    st.just([]),
    st.lists(st.text(max_size=3), max_size=2),
    st.dictionaries(st.text(max_size=3), st.integers(0, 9), max_size=2),
)
CALM = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)


def outcome(text: str) -> Design | tuple[Problem, ...]:
    try:
        return parse_design(text, "it.toml")
    except InputError as error:
        return error.problems


def check(text: str) -> None:
    found = outcome(text)
    if isinstance(found, Design):
        return
    lines = text.count("\n") + 1
    for problem in found:
        assert 1 <= problem.line <= lines
        assert problem.column >= 1
        assert problem.rule
        assert problem.remedy
        assert len(str(problem).splitlines()) == 1
        json.dumps(problem.as_dict(), allow_nan=False)


@CALM
@given(st.lists(st.tuples(st.sampled_from(KEYS), ODD), min_size=1, max_size=4))
def test_any_value_at_any_key(changes: list[tuple[tuple[str, str], Any]]) -> None:
    document = tomlkit.parse(GOOD)
    for (section, key), value in changes:
        table: Any = document[section]
        (table[0] if isinstance(table, list) else table)[key] = value
    check(document.as_string())


@CALM
@given(
    st.integers(0, len(GOOD)),
    st.integers(0, 40),
    st.text("abc019kRΩ%.\"'=[]{}#\n\r \\", max_size=6),
)
def test_any_piece_cut_out_or_put_in(start: int, length: int, piece: str) -> None:
    check(GOOD[:start] + piece + GOOD[start + length :])


@CALM
@given(st.text(max_size=60))
def test_any_text(text: str) -> None:
    check(text)


@CALM
@given(st.sets(st.sampled_from(sorted(DATA)), min_size=1))
def test_any_sections_left_out(left_out: set[str]) -> None:
    document = tomlkit.parse(GOOD)
    for section in left_out:
        del document[section]
    check(document.as_string())
