"""How the receivers of the filtered signal are drawn: tied and gated NAND, gate, transistor."""

from __future__ import annotations

import numpy as np
import pytest

from analog.benches import conditioner
from analog.design import parse_design
from analog.render.schematic import draw
from analog.render.symbols import shape

DESIGN = """
edgeproof = 1
[design]
name = "receivers"
[mains]
voltage = "230 V"
frequency = "50 Hz"
[environment]
ambient_minimum = "0 °C"
ambient_maximum = "50 °C"
[supply]
rail = "10 V 5%"
[line_sense]
topology = "half-wave"
winding_voltage = "12 V"
winding_rating = "3 VA"
series_resistor = "100k"
capacitor = "10n"
[conditioner]
{stage}
[clocked]
part = "4040"
"""
TRANSISTOR = 'part = "BC547B"\nbase_resistor = "10k"\ncollector_resistor = "22k"'


def drawn(stage: str) -> tuple[dict[str, str], str]:
    """Return the shape of each part of the last scene's circuit, and its picture."""
    scene = conditioner.plan(parse_design(DESIGN.format(stage=stage), "it.toml")).scenes[-1]
    rows = scene.derive(scene.space.decode(np.zeros((1, len(scene.space.axes)))))
    row = {name: float(np.ravel(value)[0]) for name, value in rows.items()}
    circuit = scene.experiment.circuit
    shapes = {part.reference: part.symbol.shape for part in circuit.pictured if part.symbol}
    return shapes, draw(circuit, row, "t").svg


@pytest.mark.parametrize(
    ("stage", "wanted"),
    [
        ('part = "40106"', "schmitt"),
        ('part = "4093"', "schmitt_nand"),
        ('part = "4093"\ninputs_tied = true', "schmitt_nand_tied"),
        ('part = "4011"', "inverter"),
    ],
)
def test_shape_of_the_stage(stage: str, wanted: str) -> None:
    shapes, svg = drawn(stage)
    reference = "XGATE" if wanted == "inverter" else "XSCHMITT"
    assert shapes[reference] == wanted
    assert f'data-reference="{reference}"' in svg


def test_a_sense_winding_of_its_own_is_named_and_keyed_as_such() -> None:
    scene = conditioner.plan(parse_design(DESIGN.format(stage='part = "40106"'), "it.toml")).scenes[
        -1
    ]
    line = scene.experiment.circuit.element("VLINE")
    assert line.key == "line_sense.winding_voltage"
    assert "sense winding" in drawn('part = "40106"')[1]


def test_a_gated_nand_shows_its_other_input_at_the_supply() -> None:
    ends = ((-1.0, 0.0), (1.0, 0.0), (0.0, 1.0), (0.0, -1.0))
    gated, tied = (shape(name, ends) for name in ("schmitt_nand", "schmitt_nand_tied"))
    assert gated.pins == tied.pins
    assert gated.art != tied.art


def test_a_transistor_stands_between_both_its_resistors() -> None:
    shapes, svg = drawn(TRANSISTOR)
    assert (shapes["R5"], shapes["Q1"], shapes["R6"]) == ("resistor", "npn", "resistor")
    for value in ("10\N{NO-BREAK SPACE}kΩ", "22\N{NO-BREAK SPACE}kΩ"):
        assert f'data-value="{value}"' in svg
