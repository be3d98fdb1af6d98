"""What is refused of a sub-circuit file as a whole: its structure, its names, its bytes."""

from __future__ import annotations

import pytest

from analog.errors import InputError
from analog.subcircuits import decode, read_subcircuit


@pytest.mark.parametrize(
    ("text", "rule"),
    [
        ("", "no sub-circuit"),
        ("a title line\n.subckt a b\n.ends", "stands outside a sub-circuit"),
        ("$ x", "stands outside a sub-circuit"),
        ("+ 1k\n.subckt a b\n.ends", "there is none yet"),
        (".subckt a b\nR1 b c 1k", "not ended"),
        (".ends", "ends nothing"),
        (".subckt a\n.ends", "has 0 ports"),
        (".subckt a b b\n.ends", "two ports 'b'"),
        (".subckt a b\n.ends\n.subckt A c\n.ends", "two sub-circuits called 'a'"),
        (".subckt a b\n.ends\n.subckt c d\n.ends", "has 2 sub-circuits"),
        (".subckt a b\nR1 b c 1\nr1 b c 2\n.ends", "two elements called 'r1'"),
        (".subckt a b\n.model m d\n.model M d\n.ends", "two models called 'm'"),
        (".param x={y} y={x}\n.subckt a b\n.ends", "depends on itself"),
        (".param r=1\n.subckt a b r=2\n.ends", "hides that of the file"),
        (".subckt a b\nx1 b c\n.ends\n.subckt c d\nx1 d a\n.ends", "holds itself"),
        (".subckt a b\nx1 b c q=1\n.ends\n.subckt c d\n.ends", "takes no 'q'"),
        (".subckt a b\nx1 b b c\n.ends\n.subckt c d\n.ends", "has 1 ports, not 2"),
        (".subckt a b\nQ1 b b b m\n.model m d\n.ends", "model of type d"),
        (".subckt a b\nM1 b b b b m\n.model m nmos level=8\n.ends", "model level"),
        (".subckt a b\nK1 L1 L1 1\nL1 b c 1\n.ends", "couples to itself"),
        (".subckt a b\nK1 L1 L2 2\nL1 b c 1\nL2 b c 1\n.ends", "up to 1"),
    ],
)
def test_faults_of_whole_files(text: str, rule: str) -> None:
    with pytest.raises(InputError, match=rule):
        read_subcircuit(text, "one.cir", None if "has 2" in rule else "a")


def test_unused_sub_circuits_are_judged_too() -> None:
    text = ".subckt a b\nR1 b c 1k\n.ends\n.subckt d e\nR1 e f {nothing}\n.ends"
    with pytest.raises(InputError, match="no parameter 'nothing'"):
        read_subcircuit(text, "one.cir", "a")


@pytest.mark.parametrize(
    ("content", "rule", "place"),
    [
        (b"\xef\xbb\xbf.subckt a b", "byte-order mark", (1, 1)),
        (b"* fine\n* \xff", "not text in UTF-8", (2, 3)),
        (b"*" * 100_001, "over 100 kB", (1, 1)),
    ],
)
def test_bytes_that_are_no_text(content: bytes, rule: str, place: tuple[int, int]) -> None:
    with pytest.raises(InputError, match=rule) as caught:
        decode(content, "one.cir")
    (problem,) = caught.value.problems
    assert (problem.line, problem.column) == place
