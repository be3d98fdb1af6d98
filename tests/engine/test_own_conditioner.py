"""A conditioner from a sub-circuit file: against the built-in transistor stage and closed forms."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from line_designs import values
from own_filter_cases import BRIDGE_LEG, HEAD

from analog.benches import conditioner, line_sense
from analog.benches.base import Plan, Scene
from analog.cards import find_card
from analog.circuits.transistor_stage import transistor_model
from analog.design import Design, parse_design
from analog.engine import Engine, netlist, open_engine
from analog.engine.sources import resolve
from analog.render.layout import crowded
from analog.render.schematic import arrange

SENSE = """[line_sense]
topology = "bridge-leg"
series_resistor = "10k 0%"
capacitor = "47n 10% film"
bleed_resistor = "4k7 0%"
clamp = "diodes"
"""
OWN = """[conditioner]
part = "subcircuit"
subcircuit = "stage.cir"
subcircuit_ports = {{ in = "zqin", out = "zqout", vdd = "zqvdd", vss = "zqgnd" }}
subcircuit_high = "{high}"
subcircuit_low = "{low}"
subcircuit_inverts = {inverts}
"""
COMPARATOR = """* a comparator that does not invert, 4.5 V
.subckt zqcomp zqin zqout zqvdd zqgnd
Rin zqin zqgnd 10Meg
Bout zqd zqgnd v=v(zqvdd,zqgnd)*(0.5+0.5*tanh(50*(v(zqin,zqgnd)-4.5)))
Rout zqd zqout 1k
.ends
"""


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def head() -> str:
    """Return the shared sections without the conditioner and the line sense."""
    text = HEAD.format(rectifier="bridge").replace("[line_sense]\n", "")
    return text.replace('[conditioner]\npart = "40106"\n', "")


def own(
    folder: Path, text: str, high: str = "5 V", low: str = "4 V", inverts: bool = True
) -> Design:
    (folder / "stage.cir").write_text(text, encoding="ascii")
    keys = OWN.format(high=high, low=low, inverts=str(inverts).lower())
    return parse_design(head() + SENSE + keys, str(folder / "own.toml"))


def nominal(engine: Engine, scene: Scene) -> dict[str, float]:
    found = scene.space.decode(np.zeros((1, len(scene.space.axes))))
    row = {k: float(np.ravel(v)[0]) for k, v in scene.derive(found).items()}
    return values(engine, scene.experiment, row)


def only(plan: Plan, identifier: str) -> Scene:
    return next(scene for scene in plan.scenes if scene.identifier == identifier)


def test_a_transistor_of_ones_own_is_the_built_in_stage(engine: Engine, tmp_path: Path) -> None:
    built_in = parse_design(
        head()
        + SENSE
        + '[conditioner]\npart = "2N3904"\n'
        + 'base_resistor = "47k 0%"\ncollector_resistor = "10k 0%"\n',
        "built-in.toml",
    )
    theirs = only(conditioner.plan(built_in), "transistor")
    found = theirs.space.decode(np.zeros((1, len(theirs.space.axes))))
    row = {k: float(np.ravel(v)[0]) for k, v in theirs.derive(found).items()}
    arguments = transistor_model(find_card("2N3904").columns[0].spice).arguments
    model = " ".join(f"{name}={resolve(value, row)}" for name, value in arguments)
    text = (
        ".subckt zqstage zqin zqout zqvdd zqgnd\nR1 zqin zqb 47k\nQ1 zqout zqb zqgnd zqq\n"
        f"R2 zqvdd zqout 10k\n.model zqq NPN({model})\n.ends\n"
    )
    ours = conditioner.plan(own(tmp_path, text, "0.9 V", "0.3 V"))
    expected, brought = nominal(engine, theirs), nominal(engine, only(ours, "subcircuit"))
    scales = {measure.identifier: measure.scale for measure in ours.measures}
    for name in only(ours, "subcircuit").measures:
        if name != "hysteresis_margin":  # that one depends on the levels the design states
            assert abs(brought[name] - expected[name]) < 5e-3 * scales[name], name


def test_one_that_does_not_invert_is_read_upside_down(engine: Engine, tmp_path: Path) -> None:
    """Its output passes half the rail where its input is 4.5 V (the file's own formula)."""
    scene = only(conditioner.plan(own(tmp_path, COMPARATOR, inverts=False)), "subcircuit")
    found = nominal(engine, scene)
    assert found["threshold_rising"] == pytest.approx(4.5, abs=0.02)
    assert found["threshold_falling"] == pytest.approx(4.5, abs=0.02)
    assert found["edges_per_cycle"] == 1
    assert found["output_high_level"] == pytest.approx(9.0, abs=0.01)
    assert found["output_low_level"] == pytest.approx(0.0, abs=0.01)
    # tanh goes from 10 to 90 % over 2·atanh(0.8)/50 V of input (closed form), at the pin's slew.
    pin = nominal(engine, line_sense.plan(own(tmp_path, COMPARATOR, inverts=False)).scenes[0])
    slope = pin["slew_at_threshold"]
    span = 2 * np.arctanh(0.8) / 50
    assert found["output_rise_time"] < 2 * span / slope
    assert found["output_fall_time"] == pytest.approx(span / slope, rel=0.6)


def test_levels_of_the_line_sense_are_those_the_design_states(
    engine: Engine, tmp_path: Path
) -> None:
    plan = line_sense.plan(own(tmp_path, COMPARATOR, "6 V", "3 V", inverts=False))
    found = nominal(engine, plan.scenes[0])
    assert found["high_level_margin"] == pytest.approx(found["pin_peak"] - 6.0)
    assert found["low_level_margin"] == pytest.approx(3.0 - found["pin_trough"])
    assert "subcircuit_high" in str(plan.limits["high_level_margin"][0].source)


def test_both_may_be_brought(engine: Engine, tmp_path: Path) -> None:
    (tmp_path / "stage.cir").write_text(COMPARATOR, encoding="ascii")
    pair = BRIDGE_LEG.own(tmp_path)
    text = pair.text.replace('[conditioner]\npart = "40106"\n', "")
    both = parse_design(
        text + OWN.format(high="5 V", low="4 V", inverts="false"), str(tmp_path / "both.toml")
    )
    scene = only(conditioner.plan(both), "subcircuit")
    assert nominal(engine, scene)["edges_per_cycle"] == 1
    found = scene.space.decode(np.zeros((1, len(scene.space.axes))))
    row = {k: float(np.ravel(v)[0]) for k, v in scene.derive(found).items()}
    written = netlist(scene.experiment, row, "both")
    assert "zq" not in written.lower()
    assert re.search(r"^Bstage1 \w+ 0 v=", written, re.MULTILINE)
    assert re.search(r"^Rown1 tap ", written, re.MULTILINE)
    layout = arrange(scene.experiment.circuit, row, {})
    assert layout.faults == 0
    assert not crowded(layout.parts)
    pictured = {part.element.reference for part in layout.parts}
    assert {"Xown", "Xstage"} <= pictured
    assert both.sha256 != pair.sha256


def test_the_report_says_where_it_is_from(tmp_path: Path) -> None:
    text = COMPARATOR.replace("10Meg", "10M").replace(".ends", "R9 zqin zqgnd 10Meg\n.ends")
    notes = " ".join(conditioner.plan(own(tmp_path, text, inverts=False)).notes)
    for words in ("zqcomp of stage.cir", "zqout is its output", "No tolerance", "RIN = 10m"):
        assert words in notes
