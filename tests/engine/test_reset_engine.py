"""The reset bench on the real engine: step convergence, the exported netlist, its own physics."""

from __future__ import annotations

import math
import re
import subprocess
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from analog.benches.base import Plan, Scene
from analog.benches.reset import plan
from analog.circuits.record import Pwl, Transient
from analog.circuits.reset_network import ResetParts, reset_network
from analog.design import parse_design
from analog.engine import Engine, open_engine, refined
from analog.measures import edge_time, first_crossing

DESIGN = """
edgeproof = 1
[design]
name = "reset-engine"
[environment]
ambient_minimum = "-10 °C"
ambient_maximum = "60 °C"
[supply]
rail = "9 V 10%"
rise_time = "{rise}"
fall_time = "{fall}"
[reset]
resistor = "{resistor} 5% carbon-film"
capacitor = "{capacitor} 20% film 63V"
receiver = "40106"
driven = "4013"
{more}
"""

FULL = """discharge_diode = "1N4148"
pin_resistor = "10k 5% carbon-film"
button = true
button_resistor = "100R 5% carbon-film"
"""


def make_plan(
    resistor: str = "470k",
    capacitor: str = "1u",
    more: str = FULL,
    rise: str = "10 ms .. 50 ms .. 200 ms",
    fall: str = "10 ms .. 50 ms .. 200 ms",
) -> Plan:
    text = DESIGN.format(resistor=resistor, capacitor=capacitor, more=more, rise=rise, fall=fall)
    return plan(parse_design(text, "reset.toml"))


def rows(scene: Scene, coordinates: np.ndarray) -> dict[str, np.ndarray]:
    return dict(scene.derive(scene.space.decode(coordinates)))


def table(columns: Mapping[str, np.ndarray]) -> np.ndarray:
    return np.column_stack(np.broadcast_arrays(*columns.values()))


def random_points(scene: Scene, count: int, seed: int) -> np.ndarray:
    return np.random.default_rng(seed).uniform(-1, 1, (count, len(scene.space.axes)))


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=2) as opened:
        yield opened


def test_settings_are_converged(
    engine: Engine, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    """Crossing times within max(1 µs, 0.1 % of the 10-90 % edge), levels and currents within
    0.1 %, of a run at a tenth of the step and a relative tolerance of 1e-6.

    With the shortest time constant here, 1 ms, that is a step of half a microsecond; with those
    of seconds 1 µs would mean millions of steps, and a tenth is as far below what still changes.
    """
    worst = 0.0
    designs = [
        make_plan(),
        make_plan("33k", "680n", "", "1 ms", "5 ms"),
        make_plan("1M", "4u7"),
        make_plan("10k", "100n", FULL, "0.1 ms .. 1 ms .. 5 ms", "0.5 ms .. 1 ms .. 5 ms"),
    ]
    for number, whole in enumerate(designs):
        for scene in whole.scenes:
            if not isinstance(scene.experiment.analysis, Transient):
                continue
            columns = rows(scene, random_points(scene, counts(4, 15), 30 + number))
            names, values = tuple(columns), table(columns)
            usual = engine.run(scene.experiment, names, values)
            fine = engine.run(refined(scene.experiment, 10), names, values)
            assert not usual.failures
            assert not fine.failures
            for output in usual.outputs:
                allowed = allowance(output, columns, fine.column(output))
                off = np.abs(usual.column(output) - fine.column(output)) / allowed
                never = np.isnan(usual.column(output)) & np.isnan(fine.column(output))
                off = np.where(never, 0.0, off)  # both say that no cut is long enough
                assert np.all(off <= 1), (scene.identifier, output, off)
                worst = max(worst, float(off.max()))
    figure(f"settings use at most {worst:.2f} of the allowed error")


def allowance(output: str, columns: Mapping[str, np.ndarray], exact: np.ndarray) -> np.ndarray:
    if output.endswith(("_peak",)):
        return np.full(exact.shape, math.inf)  # where a flat top peaks says nothing
    if output.startswith("t_") or output.endswith(("_time", "_window")):
        return np.maximum(1e-6, 1e-3 * 2.2 * columns["r_reset"] * columns["c_reset"])
    return 1e-3 * np.abs(exact) + 1e-9


def test_exported_netlist_measures_the_same_in_batch_mode(
    engine: Engine, tmp_path: Path, counts: Callable[[int, int], int]
) -> None:
    (tmp_path / ".spiceinit").write_text("", encoding="utf-8")
    for scene in make_plan().scenes:
        readings = [name for name, _ in scene.experiment.readings]
        if not readings:
            continue
        columns = rows(scene, random_points(scene, counts(2, 10), 40))
        names, values = tuple(columns), table(columns)
        outcomes = engine.run(scene.experiment, names, values)
        for index, row in enumerate(values):
            text = engine.netlist(scene.experiment, names, row, f"{scene.identifier} {index}")
            read = batch_readings(text, tmp_path, readings)
            for name in readings:
                assert read[name] == pytest.approx(outcomes.column(name)[index], rel=1e-3), name


def test_a_release_within_the_ramp_gives_no_reading_rather_than_a_wrong_one(
    engine: Engine, tmp_path: Path
) -> None:
    """The thresholds of the exported readings are those at the full rail."""
    (tmp_path / ".spiceinit").write_text("", encoding="utf-8")
    scene = make_plan(capacitor="1n", more="").scenes[0]
    columns = rows(scene, np.zeros((1, len(scene.space.axes))))
    names, row = tuple(columns), table(columns)[0]
    outcome = engine.run(scene.experiment, names, row[None, :])
    assert outcome.column("t_latest")[0] < columns["t_rise"][0]
    text = engine.netlist(scene.experiment, names, row, "early release")
    assert list(batch_readings(text, tmp_path, ["t_valid"])) == ["t_valid"]
    with pytest.raises(KeyError, match="release_time"):
        batch_readings(text, tmp_path, ["release_time"])


def batch_readings(netlist: str, folder: Path, names: list[str]) -> dict[str, float]:
    """Run a netlist under ``ngspice -b`` and return what its own measuring lines print."""
    file = folder / "exported.cir"
    file.write_text(netlist, encoding="utf-8")
    done = subprocess.run(
        ["ngspice", "-b", file.name],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=120,
        check=True,
    )
    found = re.findall(r"^(\w+)\s*=\s*([-+0-9.eE]+)", done.stdout, re.MULTILINE)
    values = {name: float(value) for name, value in found}
    return {name: values[name.lower()] for name in names}


def test_a_start_from_the_diode_drop_follows_the_closed_form(engine: Engine) -> None:
    """t = R·C·ln((VDD − V0)/(VDD − V)): after a power cut the diode leaves V0 and not zero."""
    diode = (("IS", 2.495e-9), ("RS", 0.4755), ("N", 1.679))
    down_up = Pwl(((0.0, 9.0), (0.01, 9.0), (0.02, 0.0), (0.05, 0.0), (0.050001, 9.0)))
    circuit = reset_network("cut", ResetParts(diode), down_up)
    scene = next(s for s in make_plan(more="").scenes if s.identifier == "power-up")
    experiment = replace(
        scene.experiment,
        circuit=circuit,
        analysis=Transient(1.5, 2e-4, reltol=1e-6),
        readings=(),
    )
    columns = rows(scene, np.zeros((1, len(scene.space.axes))))
    columns |= {"leak_c": np.zeros(1), "g_pin": np.zeros(1), "ambient_c": np.array([25.0])}
    row = {name: float(column[0]) for name, column in columns.items()}
    run = engine.traces(experiment, tuple(row), np.array(list(row.values())))
    start_v = float(np.interp(0.05, run.time, run.trace("v(pin)")))
    assert 0.2 < start_v < 0.6  # a drop of the diode that has died away for 30 ms
    reached = first_crossing(run.time, run.trace("v(pin)"), 6.4, True, after=0.05) - 0.05
    constant = row["r_reset"] * row["c_reset"]
    assert reached == pytest.approx(constant * math.log((9 - start_v) / (9 - 6.4)), rel=2e-3)
    edge = edge_time(run.time, run.trace("v(pin)"), 0.9, 8.1, after=0.05)
    assert edge == pytest.approx(constant * math.log(9), rel=2e-3)


def test_button_current_is_that_of_resistor_and_contact(engine: Engine) -> None:
    scene = next(s for s in make_plan().scenes if s.identifier == "button")
    columns = rows(scene, random_points(scene, 5, 50))
    outcomes = engine.run(scene.experiment, tuple(columns), table(columns))
    expected = columns["rail"] / (columns["r_button"] + 0.05)
    # The capacitor sits a hair below the rail: the input's and the diodes' leakage.
    assert outcomes.column("button_current") == pytest.approx(expected, rel=2e-3)


def test_without_a_diode_the_pin_takes_the_discharge(engine: Engine) -> None:
    measured = {}
    for name, more in (("with", 'discharge_diode = "1N4148"'), ("without", "")):
        scene = next(s for s in make_plan(more=more).scenes if s.identifier == "power-down")
        columns = rows(scene, np.zeros((1, len(scene.space.axes))))
        outcomes = engine.run(scene.experiment, tuple(columns), table(columns))
        measured[name] = float(outcomes.column("pin_discharge_current")[0])
    # Nearly all of C·dV/dt = 1 µF · 9 V / 50 ms, less what flows back through the resistor.
    assert measured["without"] == pytest.approx(180e-6, rel=0.1)
    assert measured["with"] < 0.05 * measured["without"]


def test_slow_ramp_shortens_the_hold(engine: Engine) -> None:
    """The capacitor charges while the rail still climbs: a fast rail gives the longer hold."""
    scene = next(s for s in make_plan(rise="1 ms .. 1 s .. 5 s").scenes if s.measures[0])
    coordinates = np.zeros((3, len(scene.space.axes)))
    coordinates[:, list(scene.space.keys).index("supply.rise_time")] = (-1, 0, 1)
    columns = rows(scene, coordinates)
    hold = engine.run(scene.experiment, tuple(columns), table(columns)).column("hold_time")
    assert hold[0] > hold[1] > hold[2] >= 0
