"""Whatever a sub-circuit file holds, no word of it comes out, and what comes out reads back."""

from __future__ import annotations

import re
from collections.abc import Callable
from contextlib import nullcontext

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from subcircuit_texts import HOSTILE, WATERMARK, hostile_files, sound_files

from analog.errors import InputError
from analog.subcircuits import Reading, decode, read_subcircuit, write_subcircuit

NUMBER = r"-?\d[\d.]*(?:e[+-]\d+)?"
NODE = r"[pn]\d+"
PAIRS = rf"(?: \w+={NUMBER})*"
BODY = (
    r"(?:[-+*/(),<>=?:!&|]|[vi](?=\()|V\d+|temper|[a-z]+\d*(?=\()|[pn]\d+"
    r"|\d[\d.]*(?:e[+-]\d+)?)+"
)
LINE = re.compile(
    rf"\.subckt block( {NODE})+|\.ends block"
    rf"|[RCL]\d+ {NODE} {NODE} {NUMBER}{PAIRS}"
    rf"|K\d+ L\d+ L\d+ {NUMBER}"
    rf"|[DQMJ]\d+( {NODE}){{2,4}} m\d+{PAIRS}"
    rf"|[EG]\d+( {NODE}){{4}} {NUMBER}|[FH]\d+( {NODE}){{2}} V\d+ {NUMBER}"
    rf"|[VI]\d+( {NODE}){{2}} (DC {NUMBER}|(SIN|PULSE|PWL)\({NUMBER}( {NUMBER})*\))"
    rf"|B\d+( {NODE}){{2}} [vi]={BODY}"
    rf"|\.model m\d+ (D|NPN|PNP|NMOS|PMOS|NJF|PJF) \((\w+={NUMBER} ?)*\)"
)
SLOW = [HealthCheck.too_slow, HealthCheck.data_too_large]


def check_ours(reading: Reading) -> None:
    text = write_subcircuit(reading.circuit)
    assert text.isascii()
    assert WATERMARK not in text.lower()
    for line in text.splitlines():
        assert LINE.fullmatch(line), line
    again = read_subcircuit(text, "ours.cir")
    assert again.circuit == reading.circuit
    assert write_subcircuit(again.circuit) == text


@settings(suppress_health_check=SLOW, deadline=None)
@given(file=sound_files())
def test_a_sound_file_reads_and_reads_back(file: tuple[str, int]) -> None:
    text, _ = file
    check_ours(read_subcircuit(text, "zq.cir", "zqtop"))


@settings(suppress_health_check=SLOW, deadline=None)
@given(text=hostile_files())
def test_a_hostile_file_is_refused_or_harmless(text: str) -> None:
    try:
        reading = read_subcircuit(text, "zq.cir", "zqtop")
    except InputError as error:
        lines = text.replace("\r\n", "\n").split("\n")
        for problem in error.problems:
            assert 1 <= problem.line <= len(lines)
            assert problem.column >= 1
            assert problem.rule
            assert problem.remedy
            assert str(problem).isprintable()
        return
    check_ours(reading)


@settings(deadline=None)
@given(content=st.binary(max_size=200), lines=st.lists(st.sampled_from(HOSTILE), max_size=3))
def test_bytes_are_refused_or_harmless(content: bytes, lines: list[str]) -> None:
    head = b".subckt zqtop a b\n" + "\n".join(lines).encode()
    try:
        reading = read_subcircuit(decode(head + content + b"\n.ends\n", "zq.cir"), "zq.cir")
    except InputError:
        return
    check_ours(reading)


@given(depth=st.integers(1, 40), fan=st.integers(1, 12))
def test_nesting_is_weighed_before_it_is_spelled_out(depth: int, fan: int) -> None:
    lines = [".subckt zqtop a b", "X1 a b s0", ".ends"]
    for level in range(depth):
        inner = f"s{level + 1}" if level + 1 < depth else ""
        lines.append(f".subckt s{level} a b")
        lines += [f"X{k} a b {inner}" if inner else f"R{k} a b 1" for k in range(fan)]
        lines.append(".ends")
    refused = depth >= 8 or fan**depth > 500
    with pytest.raises(InputError, match=r"nested|elements") if refused else nullcontext():
        reading = read_subcircuit("\n".join(lines), "zq.cir", "zqtop")
        assert len(reading.circuit.parts) == fan**depth


def chained(levels: int) -> str:
    names = [f".param x{k}={{x{k + 1}+1}}" for k in range(levels)]
    return "\n".join([*names, f".param x{levels}=1", ".subckt a b c", "R1 b c {x0}", ".ends"])


def bracketed(levels: int) -> str:
    return f".subckt a b c\nR1 b c {{{'(' * levels}1{'+1)' * levels}}}\n.ends"


@pytest.mark.parametrize(("file", "deepest"), [(chained, 59), (bracketed, 23)])
@given(levels=st.integers(1, 190))
def test_expressions_and_chains_of_parameters_have_an_end(
    file: Callable[[int], str], deepest: int, levels: int
) -> None:
    """Deep brackets, deep signs and long chains are refused long before the stack ends."""
    with pytest.raises(InputError, match="deep") if levels > deepest else nullcontext():
        reading = read_subcircuit(file(levels), "zq.cir")
        assert reading.circuit.parts[0].value == levels + 1
