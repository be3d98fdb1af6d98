"""Every rule of the sub-circuit grammar: what is taken, and what is refused at which place."""

from __future__ import annotations

import math
import pickle

import pytest

from analog.errors import InputError, Problem
from analog.subcircuits import (
    Behaviour,
    Current,
    DeviceModel,
    Number,
    Operation,
    Part,
    Reading,
    Temperature,
    Voltage,
    Wave,
    read_subcircuit,
    write_subcircuit,
)


def read(*lines: str, ports: str = "a b c", before: str = "", name: str | None = None) -> Reading:
    """Read one sub-circuit that holds `lines`; the first of them is line 3."""
    text = f"{before}\n.subckt one {ports}\n" + "\n".join(lines) + "\n.ends\n"
    return read_subcircuit(text, "one.cir", name)


def problems(*lines: str, ports: str = "a b c", before: str = "") -> tuple[Problem, ...]:
    with pytest.raises(InputError) as caught:
        read(*lines, ports=ports, before=before)
    return caught.value.problems


def single(line: str, **more: str) -> Part:
    return read(line, **more).circuit.parts[0]


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("10", 10.0),
        ("4.7k", 4.7e3),
        ("2.2MEG", 2.2e6),
        ("10M", 10e-3),  # SPICE: milli in either case
        ("10m", 10e-3),
        ("1mil", 25.4e-6),
        ("1t", 1e12),
        ("1G", 1e9),
        ("100u", 100e-6),
        ("100n", 100e-9),
        ("100p", 100e-12),
        ("1f", 1e-15),
        ("10kOhm", 10e3),
        ("100nF", 100e-9),
        ("1e-3", 1e-3),
        ("1E3k", 1e6),
        (".5", 0.5),
        ("5.", 5.0),
        ("+3", 3.0),
        ("{2*3+1}", 7.0),
        ("{-(-2)}", 2.0),
        ("{1k/4}", 250.0),
        ("{max(1,2)*pi}", 2 * math.pi),
        ("{1>0?5:6}", 5.0),
        ("{2-3-4+8}", 3.0),
        ("{12/3/2}", 2.0),
    ],
)
def test_numbers_follow_spice(text: str, value: float) -> None:
    assert single(f"R1 a b {text}").value == pytest.approx(value, rel=1e-15)


@pytest.mark.parametrize(
    ("line", "part"),
    [
        ("R1 a b 1k tc1=1e-3", Part("R", (0, 1), 1e3, arguments=(("tc1", 1e-3),))),
        ("r1 a x r={2k}", Part("R", (0, 3), 2e3)),
        ("C1 a b 0", Part("C", (0, 1), 0.0)),
        ("L1 a b 1m", Part("L", (0, 1), 1e-3)),
        ("V1 a b 5", Part("V", (0, 1), Wave("dc", (5.0,)))),
        ("V1 a b DC -5", Part("V", (0, 1), Wave("dc", (-5.0,)))),
        ("I1 a b SIN(0 1 50)", Part("I", (0, 1), Wave("sin", (0.0, 1.0, 50.0, 0.0)))),
        ("I1 a b SIN 0 1 50 0 0 90", Part("I", (0, 1), Wave("sin", (0.0, 1.0, 50.0, 90.0)))),
        ("V1 a b PWL(0,0, 1m,5)", Part("V", (0, 1), Wave("pwl", (0.0, 0.0, 1e-3, 5.0)))),
        ("E1 a b c b 10", Part("E", (0, 1), 10.0, controls=(2, 1))),
        ("G1 a b c b {1m}", Part("G", (0, 1), 1e-3, controls=(2, 1))),
        ("B1 a b v=v(c)", Part("B", (0, 1), Behaviour("v", Voltage((2,))))),
        ("B1 a b I={2}", Part("B", (0, 1), Behaviour("i", Number(2.0)))),
        ("B1 a b I=temper", Part("B", (0, 1), Behaviour("i", Temperature()))),
        ("E1 a b VALUE={v(a,c)}", Part("B", (0, 1), Behaviour("v", Voltage((0, 2))))),
        ("G1 a b value = v(a)", Part("B", (0, 1), Behaviour("i", Voltage((0,))))),
    ],
)
def test_elements_are_taken(line: str, part: Part) -> None:
    assert single(line) == part


def test_devices_take_models_of_the_file_or_their_own() -> None:
    reading = read(
        "D1 a b 1N4148 2",
        "Q1 a b c 2n3904",
        "Q2 a b c x 2N3904 area=3",
        "M1 a b c c sw L=2u W={2*5u}",
        "J1 a b c jf",
        "R1 x a 1k",
        ".model 1n4148 D(IS=2.5n CJ0=4p)",
        ".model sw NMOS level=1 vto=2",
        ".model jf njf (beta=1m)",
        before=".model 2n3904 NPN(BF=200)",
    )
    diode, plain, with_substrate, mos, junction, _ = reading.circuit.parts
    assert (diode.model, diode.arguments) == (0, (("area", 2.0),))
    assert (plain.nodes, plain.model) == ((0, 1, 2), 1)
    assert (with_substrate.nodes, with_substrate.arguments) == ((0, 1, 2, 3), (("area", 3.0),))
    assert mos.arguments == (("l", 2e-6), ("w", 1e-5))
    assert junction.nodes == (0, 1, 2)
    assert reading.circuit.models[0] == DeviceModel("D", (("is", 2.5e-9), ("cjo", 4e-12)))


def test_references_lead_to_places() -> None:
    reading = read(
        "K1 L1 L2 0.9", "F1 a b Vs 2", "B1 a c i=i(vs)*v(a)", "Vs a x 0", "L1 x b 1m", "L2 c b 1m"
    )
    mirror, behaviour, source, first, second, coupling = reading.circuit.parts
    assert [part.kind for part in reading.circuit.parts] == list("FBVLLK")
    assert mirror.controls == (2,)
    assert behaviour.value == Behaviour("i", Operation("*", (Current(2), Voltage((0,)))))
    assert coupling.controls == (3, 4)
    assert (source.nodes, first.nodes) == ((0, 3), (3, 1))
    assert second.nodes == (2, 1)
    assert reading.parts["k1"] == 5


def test_inner_sub_circuits_are_spelled_out_with_their_values() -> None:
    text = """
.param base=1k
.subckt outer in out ref params: n=2
X1 in mid ref low r={n*base}
X2 mid out ref low
.ends outer
.subckt low a b g r=3k c=10n
R1 a n1 {r}
R2 n1 b {half}
C1 b g {c}
.param half={r/2}
.ends
"""
    circuit = read_subcircuit(text, "nested.cir", "OUTER").circuit
    assert [part.value for part in circuit.parts] == [2e3, 1e3, 1e-8, 3e3, 1.5e3, 1e-8]
    assert [part.nodes for part in circuit.parts] == [
        (0, 3), (3, 4), (4, 2), (4, 5), (5, 1), (1, 2)
    ]  # fmt: skip


def test_comments_and_continuations_of_every_style() -> None:
    reading = read(
        "  * a comment Ω",
        "R1 a",
        "* between",
        "",
        "+ b ; behind µ",
        "+ 1k $ dollar",
        "C1 a b 1n // slashes",
        "\tR2 a b 2k",
        "*R3 a b 1k",
    )
    assert [part.value for part in reading.circuit.parts] == [1e3, 1e-9, 2e3]


@pytest.mark.parametrize("ending", ["\n", "\r\n"])
def test_case_and_line_ends_do_not_matter(ending: str) -> None:
    lines = (".SUBCKT One A B", "R1 a X 1K", "C1 x B 1N", ".ENDS ONE")
    upper = read_subcircuit(ending.join(lines), "a.cir")
    lower = read_subcircuit(ending.join(lines).lower(), "a.cir")
    assert upper.circuit == lower.circuit


def test_ground_may_be_a_port() -> None:
    reading = read("R1 a gnd 1k", "C1 a 0 1n", ports="a gnd 0")
    assert [part.nodes for part in reading.circuit.parts] == [(0, 1), (0, 2)]


def test_a_reading_tells_what_may_surprise() -> None:
    reading = read("R1 a b 10M", "C1 a b 10M", "R2 a b 10meg")
    (remark,) = reading.remarks
    assert "R1 = 10m" in remark
    assert "meg" in remark


REFUSED = [
    (".control", 1, "'.control' is not allowed"),
    (".include x.lib", 1, "'.include' is not allowed"),
    (".lib x", 1, "'.lib' is not allowed"),
    (".end", 1, "'.end' is not allowed"),
    (".tran 1u 1m", 1, "'.tran' is not allowed"),
    (".global a", 1, "'.global' is not allowed"),
    (".func f(x) {x}", 1, "'.func' is not allowed"),
    (".option reltol=1", 1, "'.option' is not allowed"),
    (".ic v(a)=1", 1, "'.ic' is not allowed"),
    (".csparam x=1", 1, "'.csparam' is not allowed"),
    ("A1 [a] b model", 1, "code models"),
    ("N1 a b model", 1, "compiled devices"),
    ("S1 a b c d sw", 1, "switches"),
    ("T1 a b c d z0=50", 1, "transmission lines"),
    ("Z1 a b c m", 1, "no element begins with 'z'"),
    ("shell rm", 1, "switches"),
    ("R1 a 0 1k", 6, "'0' is no port"),
    ("R1 a GND 1k", 6, "'gnd' is no port"),
    ("E1 a b gnd c 2", 8, "'gnd' is no port"),
    ("B1 a b v=v(0)", 12, "'0' is no port"),
    ("R1 a b", 6, "a value is missing"),
    ("R1 a b 1k 2k", 11, "one word too many"),
    ("R1 a b 4k7", 8, "no number"),
    ("R1 a b 1e999", 8, "beyond what a number can hold"),
    ("R1 a b 1e-999", 8, "beyond what a number can hold"),
    ("R1 a b 1e9999999999", 8, "no number"),
    ("R1 a b nan", 8, "not a value"),
    ("R1 a b inf", 8, "not a value"),
    ("R1 a b 5x", 8, "neither a scale nor a unit"),
    ("I1 a b 5A", 8, "neither a scale nor a unit"),
    ("R1 a b 0", 1, "R is not above 0"),
    ("R1 a b -1", 1, "R is not above 0"),
    ("L1 a b 0", 1, "L is not above 0"),
    ("C1 a b -1n", 1, "C is below 0"),
    ("C1 a b 1n ic=5", 11, "'ic' is not allowed at C"),
    ("R1 a b 1k m=2", 11, "'m' is not allowed at R"),
    ("R1 a b 1k r=2k", 4, "two values"),
    ("R1 a b rmod", 8, "not a value"),
    ("R1 a b {v(c)}", 9, "may stand in B sources only"),
    ("R1 a b {temper}", 9, "may stand in B sources only"),
    ("R1 a b {x}", 9, "no parameter 'x'"),
    ("R1 a b {1/0}", 10, "has no value"),
    ("R1 a b {sqrt(-1)}", 9, "has no value"),
    ("R1 a b {pow(-2,3)}", 9, "negative base"),
    ("R1 a b {2^3}", 10, "sign of a negative base"),
    ("R1 a b {2**3}", 10, "sign of a negative base"),
    ("R1 a b {--1}", 9, "a slip"),
    ("R1 a b {(1}", 11, "'(' is not closed"),
    ("R1 a b {1", 9, "'{' is not closed"),
    ("R1 a b {}", 9, "cannot stand here"),
    ("R1 a b {max(1)}", 9, "arguments instead of 2"),
    ("R1 a b {foo(1)}", 9, "no function known here"),
    ("R1 a b '1k'", 8, "quotes"),
    ('R1 a b "1k"', 8, "quotes"),
    ("R1 a b `id`", 8, "quotes"),
    ("R1 a b$c 1k", 7, "begins a comment only behind a blank"),
    ("R1 a b 1k \\", 11, "backslash"),
    ("R1 a b 1k # no comment", 11, "'#' is not allowed"),
    ("R1 a Ω 1k", 6, "no ASCII sign"),
    ("R1 a b 1µ", 9, "no ASCII sign"),
    ("R1 a\x0bb c 1k", 5, "not printable"),
    ("* \x85 comment", 3, "not printable"),
    ("* \u2028 comment", 3, "not printable"),
    ("R1 a b 1k\rR2 a b 1k", 10, "not printable"),
    ("R1 (a b) 1k", 4, "not a node's name"),
    ("R1 a-b c 1k", 5, "not a node's name"),
    ("R1 a.b c 1k", 4, "not a node's name"),
    ("R1 a %b 1k", 6, "'%' is not allowed"),
    ("V1 a b external", 8, "'external' sources"),
    ("V1 a b DC 0 external", 13, "'external' sources"),
    ("V1 a b AC 1", 8, "'ac' sources"),
    ("V1 a b EXP(0 1 1 1 1 1)", 8, "'exp' sources"),
    ("V1 a b trnoise(1 1)", 8, "'trnoise' sources"),
    ("V1 a b DC 1 PULSE(0 1 0 1 1 1 4)", 13, "a level and a wave"),
    ("V1 a b PULSE(0 5 0 1u 1u 1m)", 28, "PULSE has 6 numbers"),
    ("V1 a b PULSE(0 5 0 0 1u 1m 20m)", 1, "above 0"),
    ("V1 a b PULSE(0 5 0 1u 1u 1m 1m)", 1, "does not fit its period"),
    ("V1 a b PULSE(0 5 0 1u 1u 1u 10u)", 1, "too many pulses"),
    ("V1 a b PULSE(0 5 -1 1u 1u 1m 20m)", 1, "delay is below 0"),
    ("V1 a b SIN(0 1 50 1m)", 1, "no breakpoint"),
    ("V1 a b SIN(0 1 0)", 1, "frequency is not above 0"),
    ("V1 a b PWL(0 0 1m)", 18, "PWL has 3 numbers"),
    ("V1 a b PWL(0 0 0 1)", 1, "do not rise"),
    ('V1 a b PWL file="x"', 17, "quotes"),
    ("V1 a b PWL(0 0-1 5)", 15, "no blank stands before the sign"),
    ("V1 a b PWL(0 - 1)", 16, "a blank stands behind the sign"),
    ("E1 a b POLY(1) a b 0 1", 8, "'POLY' sources"),
    ("E1 a b table={1}", 8, "'table' is not allowed"),
    ("G1 a b laplace {v(a)} = 1", 8, "'LAPLACE' sources"),
    ("F1 a b R1 2", 8, "not a voltage source"),
    ("H1 a b vx 2", 8, "not a voltage source"),
    ("K1 L1 L2 0.9", 4, "not an inductor"),
    ("B1 a b q=1", 8, "not what a B source sets"),
    ("B1 a b v=time", 10, "depends on time"),
    ("B1 a b v=hertz", 10, "depends on frequency"),
    ("B1 a b v=agauss(1,2,3)", 10, "depends on chance"),
    ("B1 a b v=pwl(v(a),0,0,1,1)", 10, "is a table"),
    ("B1 a b v=ddt(v(a))", 10, "depends on time"),
    ("B1 a b v=v(nowhere)", 12, "nothing is connected"),
    ("B1 a b v=i(v9)", 12, "not a voltage source"),
    ("B1 a b v=v(a)^2", 14, "sign of a negative base"),
    ("B1 a b v=1 tc1=2", 12, "one word too many"),
    ("B1 a b v=(v(a)", 14, "'(' is not closed"),
    ("D1 a b nothing", 8, "no model 'nothing'"),
    ("D1 a b", 6, "model's name is missing"),
    ("X1 a b nowhere", 8, "no sub-circuit 'nowhere'"),
    ("X1 a b c one", 1, "holds itself"),
    ("X1", 1, "X needs nodes"),
    (".param", 1, "not followed by name = value"),
    (".param time=1", 8, "meaning of its own"),
    (".param x=1 x=2", 12, "given twice"),
    (".model m R(1)", 10, "no built-in device"),
    (".model m VSWITCH(vt=1)", 10, "no built-in device"),
    (".model m D(mfg=acme)", 12, "'mfg' is not allowed"),
    (".model m D(is=1n is=2n)", 18, "given twice"),
    (".model m D(cjo=1p cj0=2p)", 19, "twice"),
    (".model m NMOS(cj0=1p)", 15, "'cj0' is not allowed"),
    (".subckt two a", 1, "begins inside 'one'"),
    (".ends two", 7, "not the sub-circuit that ends here"),
]  # fmt: skip


@pytest.mark.parametrize(("line", "column", "rule"), REFUSED)
def test_what_is_not_listed_is_refused_where_it_stands(line: str, column: int, rule: str) -> None:
    found = [problem for problem in problems(line) if problem.line == 3]
    assert any(rule in problem.rule for problem in found), found
    matching = next(problem for problem in found if rule in problem.rule)
    assert matching.column == column
    assert matching.file == "one.cir"
    assert matching.remedy


def test_all_faults_are_reported_at_once() -> None:
    found = problems("R1 a 0 1k", ".include x", "C1 a b 4k7", "A1 a b")
    assert [problem.line for problem in found] == [3, 4, 5, 6]


def test_an_unknown_name_gets_the_nearest() -> None:
    with pytest.raises(InputError, match="Nearest: one"):
        read("R1 a b 1k", name="ones")


def test_the_record_and_its_faults_pickle() -> None:
    reading = read("R1 a b 1k", "B1 a c v=v(a)*2")
    assert pickle.loads(pickle.dumps(reading)) == reading
    with pytest.raises(InputError) as caught:
        read("R1 a 0 1k")
    assert pickle.loads(pickle.dumps(caught.value)).problems == caught.value.problems


def test_the_written_text_is_ours_alone() -> None:
    reading = read("Rsecret a hidden {2*sauce}", "Chidden hidden b 1n", ".param sauce=1k")
    assert write_subcircuit(reading.circuit) == (
        ".subckt block p1 p2 p3\nR1 p1 n1 2000.0\nC1 n1 p2 1e-09\n.ends block\n"
    )
    with pytest.raises(ValueError, match="no name"):
        write_subcircuit(reading.circuit, "a b")
