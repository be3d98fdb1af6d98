"""A filter from a sub-circuit file: the same measures as the built-in one, by its own way."""

from __future__ import annotations

import os
import re
import subprocess
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from line_designs import values
from own_filter_cases import BRIDGE_LEG, HALF_WAVE, PAIRS, SAME, TOLERANCES

from analog.benches import conditioner, line_sense
from analog.benches.base import Scene
from analog.benches.immunity import immunity_of
from analog.benches.line_network import line_network
from analog.benches.line_receiving import receiver_of
from analog.benches.own_filter_measures import DRIFT, OWN_MEASURES
from analog.design import Design
from analog.engine import Engine, Run, netlist, open_engine, refined
from analog.measures import window
from analog.render.layout import crowded
from analog.render.schematic import arrange, draw

Figure = Callable[[str], None]

# At fine steps, so that the circuits are compared and not their numerical settings.
TOLERANCE = 3e-3
MOMENTS = ("t_record", "t_start", "t_quarter", "t_end", "t_stop")


LINES = (
    r"^Rown1 tap pin \{own_value_1\}$",
    r"^Cown1 pin 0 \{own_value_2\}$",
    r"^Down1 pin vdd own_m1",
    r"^Down2 0 pin own_m1",
    r"^\.model own_m1 D",
)


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def scene_of(design: Design) -> Scene:
    return line_sense.plan(design).scenes[0]


def row(scene: Scene, rng: np.random.Generator, fixed: dict[str, float]) -> dict[str, float]:
    """Return a random row of a scene, with the values of some axes given."""
    point = rng.uniform(-1, 1, (1, len(scene.space.axes)))
    found = scene.space.decode(point)
    found |= {key: np.array([value]) for key, value in fixed.items()}
    return {k: float(np.ravel(v)[0]) for k, v in scene.derive(found).items()}


@pytest.mark.parametrize("name", PAIRS)
def test_the_measures_are_those_of_the_same_built_in_filter(
    name: str, engine: Engine, tmp_path: Path, counts: Callable[[int, int], int], figure: Figure
) -> None:
    pair = PAIRS[name]
    theirs, ours = scene_of(pair.built_in()), scene_of(pair.own(tmp_path))
    scales = {m.identifier: m.scale for m in line_sense.plan(pair.own(tmp_path)).measures}
    rng, worst = np.random.default_rng(7), 0.0
    for _ in range(counts(3, 50)):
        point = rng.uniform(-1, 1, (1, len(theirs.space.axes)))
        decoded = theirs.space.decode(point)
        expected = {k: float(np.ravel(v)[0]) for k, v in theirs.derive(decoded).items()}
        # The sub-circuit's bleed has no tolerance stated, nor has a part of its series resistor.
        expected |= {"r_bleed": pair.bleed_ohm} if pair.bleed_ohm else {}
        own = {SAME.get(key, key): value for key, value in decoded.items()}
        series = np.array([expected["r_series"] - pair.fixed_ohm])
        own[f"{TOLERANCES}.RzqR1"] = series
        ours_row = {k: float(np.ravel(v)[0]) for k, v in ours.derive(own).items()}
        # Judged in the same cycle: the built-in one would start from an estimate, without waiting.
        expected |= {moment: ours_row[moment] for moment in MOMENTS}
        built_in = values(engine, refined(theirs.experiment), expected)
        brought = values(engine, refined(ours.experiment), ours_row)
        for measure in OWN_MEASURES[:-1]:
            off = abs(brought[measure] - built_in[measure]) / scales[measure]
            assert off < TOLERANCE, (measure, brought[measure], built_in[measure])
            worst = max(worst, off)
        assert brought[DRIFT] < 0.01 * ours_row["v_rail"]
    figure(f"largest difference {100 * worst:.2g} % of a measure's scale")


def test_the_conditioner_sees_the_same_pin(engine: Engine, tmp_path: Path) -> None:
    chains = []
    for design in (BRIDGE_LEG.built_in(), BRIDGE_LEG.own(tmp_path)):
        scene = next(s for s in conditioner.plan(design).scenes if s.identifier == "chain-ti")
        nominal = scene.space.decode(np.zeros((1, len(scene.space.axes))))
        found = {k: float(np.ravel(v)[0]) for k, v in scene.derive(nominal).items()}
        chains.append(values(engine, scene.experiment, found))
    for measure in ("hysteresis_margin", "edges_per_cycle", "duty_cycle"):
        assert chains[1][measure] == pytest.approx(chains[0][measure], abs=2e-3)


def test_the_netlist_holds_the_parts_and_no_word_of_the_file(tmp_path: Path) -> None:
    scene = scene_of(HALF_WAVE.own(tmp_path))
    text = netlist(scene.experiment, row(scene, np.random.default_rng(1), {}), "own")
    assert "zq" not in text.lower()
    for line in LINES:
        assert re.search(line, text, re.MULTILINE), line
    (tmp_path / "own.net").write_text(text, encoding="ascii")
    (tmp_path / ".spiceinit").touch()
    done = subprocess.run(
        ["ngspice", "-b", "own.net"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    assert re.search(r"^pin_peak\s*=\s*\d", done.stdout, re.MULTILINE), done.stdout


def test_a_filter_that_has_not_settled_is_told(engine: Engine, tmp_path: Path) -> None:
    """100 ms of time constant against one cycle, and against forty."""
    text = BRIDGE_LEG.text.replace("10nF", "1uF")
    found = {}
    for settling in ("20 ms", "800 ms"):
        pair = replace(BRIDGE_LEG, text=text, more=f'subcircuit_settling = "{settling}"')
        design = pair.own(tmp_path)
        scene = scene_of(design)
        nominal = scene.space.decode(np.zeros((1, len(scene.space.axes))))
        found[settling] = values(
            engine,
            scene.experiment,
            {k: float(np.ravel(v)[0]) for k, v in scene.derive(nominal).items()},
        )[DRIFT]
    (limit,) = line_sense.plan(design).limits[DRIFT]
    assert limit.maximum is not None
    assert found["20 ms"] > limit.maximum > found["800 ms"]


def lowest(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the pin's lowest voltage while the winding is high."""
    start = row["t_noise"]
    return {"lowest": float(np.min(window(run.time, run.trace("v(pin)"), start, start + 3e-3)[1]))}


def test_noise_comes_in_before_the_sub_circuit(engine: Engine, tmp_path: Path) -> None:
    """A pulse against the crest pulls the pin down by the same in both filters."""
    found = []
    for design in (HALF_WAVE.built_in(), HALF_WAVE.own(tmp_path)):
        scene, cycles = scene_of(design), line_network(design).settling_cycles
        circuit, receiver = scene.experiment.circuit, receiver_of(design)
        noise = immunity_of(circuit, scene.space, scene.derive, receiver, cycles)
        quiet = noise.rows(np.zeros(len(noise.space.axes)))
        pulses = replace(noise.pulses, reducer=f"{__name__}:lowest", outputs=("lowest",))
        heights = (0.0, -20.0)
        rows = [noise.pulse_row(quiet, height, 1e-3, 0.9, 0.0, 3) for height in heights]
        found.append([values(engine, pulses, one)["lowest"] for one in rows])
    assert found[0][0] - found[0][1] > 1.0
    assert found[1] == pytest.approx(found[0], abs=0.05)


def test_the_picture_shows_a_box_with_the_ports(tmp_path: Path) -> None:
    design = HALF_WAVE.own(tmp_path)
    scene = scene_of(design)
    picture = draw(scene.experiment.circuit, row(scene, np.random.default_rng(1), {}), "Line sense")
    assert 'data-reference="Xown"' in picture.svg
    assert "zqfilter (ports zqin, zqout, zqgnd, zqvdd)" in picture.description.replace(
        " filter.cir", ""
    )
    for port in ("zqin", "zqout", "zqgnd", "zqvdd"):
        assert f">{port}</text>" in picture.svg
    assert "Rown1" not in picture.svg
    assert os.sep not in picture.description


@pytest.mark.parametrize("name", PAIRS)
def test_nothing_in_the_picture_is_in_anythings_way(name: str, tmp_path: Path) -> None:
    scene = scene_of(PAIRS[name].own(tmp_path))
    layout = arrange(scene.experiment.circuit, row(scene, np.random.default_rng(1), {}), {})
    assert layout.faults == 0
    assert not crowded(layout.parts)
