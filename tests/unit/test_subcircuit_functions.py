"""The functions and values of the sub-circuit grammar are those the engine takes."""

from __future__ import annotations

from analog.circuits.own_input import own_input, stage_parameters
from analog.circuits.own_stage import own_parameters, own_stage
from analog.circuits.record import Circuit, Param
from analog.design.own import CONDITIONER, LINE_SENSE, OwnCircuit, OwnSpread
from analog.design.values import Spread
from analog.engine.expressions import FUNCTIONS as ENGINE_FUNCTIONS
from analog.engine.rules import check_circuit
from analog.subcircuits import read_subcircuit
from analog.subcircuits.functions import FUNCTIONS

EVERYTHING = """.subckt all a b c d
R1 a b 1k
C1 b c 1n
L1 c d 1m
L2 a d 1m
K1 L1 L2 .5
D1 a b dm 2
Q1 a b c qm
Q2 a b c d qm
M1 a b c d mm L=1u
J1 a b c jm
V1 a n1 SIN(0 1 50)
V2 n1 b PULSE(0 1 0 1u 1u 1m 20m)
I1 a b PWL(0 0 1m 1)
E1 n2 b c d 2
F1 a b V1 2
G1 a b c d 2
H1 n3 b V2 2
R2 n2 n3 1k
B1 a b i=EXPRESSION
.model dm d(is=1n)
.model qm npn(bf=100)
.model mm nmos(level=1)
.model jm njf
.ends
"""


def brought(roles: tuple[str, ...]) -> OwnCircuit:
    calls = [f"{n}({','.join(['v(a,d)'] * k)})" for n, (k, _) in FUNCTIONS.items()]
    signs = ["(v(a)>-1?temper:i(v1))", "(v(a)<=2&&!v(b)||v(c)!=1)", "-(v(a)-(-3))/2*4"]
    # Deeper trees than the limit would be refused: add them in two halves.
    halves = [calls[: len(calls) // 2], calls[len(calls) // 2 :]]
    text = "+".join(f"({'+'.join(half)})" for half in halves) + "+" + "+".join(signs)
    reading = read_subcircuit(EVERYTHING.replace("EXPRESSION", text), "all.cir")
    spread = Spread(low=900.0, nominal=1e3, high=1100.0, key="k.R1", text="10%")
    return OwnCircuit(
        reading.circuit, "all.cir", "all", reading.ports, roles, "00", (OwnSpread(0, "Ω", spread),)
    )


def test_all_functions_are_the_engines() -> None:
    assert set(FUNCTIONS) <= ENGINE_FUNCTIONS


def test_every_element_and_function_passes_the_engines_checks() -> None:
    filter_ = brought((*LINE_SENSE.needed, "ground", "rail"))
    stage = brought((*CONDITIONER.needed, "vdd", "vss"))
    for (elements, models), names in (
        (own_stage(filter_, "far"), own_parameters(filter_)),
        (own_input(stage), stage_parameters(stage)),
    ):
        check_circuit(Circuit("all", elements, models), {})
        resistor = next(one for one in elements if one.kind == "R")
        assert resistor.value == Param(names[0])
        assert {one.kind for one in elements} == set("RCLKDQMJVIEFGHB")
