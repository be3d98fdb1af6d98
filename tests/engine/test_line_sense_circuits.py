"""The line-sense circuits do what such circuits do at a bench."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np
import pytest
from line_designs import DESIGN, values

from analog.benches import conditioner, line_sense
from analog.cards import model_text
from analog.circuits.line_filter import INPUT_OHM, PROTECTION
from analog.circuits.record import Experiment
from analog.design import Design, parse_design
from analog.engine import Engine, open_engine

BLEED = 'bleed_resistor = "10k 5% carbon-film"'


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def design(
    topology: str = "bridge-leg", more: str = BLEED, capacitor: float = 10.0, rectifier: str = ""
) -> Design:
    text = DESIGN.format(
        mains=120,
        frequency=60,
        rail=9.0,
        rectifier=rectifier or ("bridge" if topology == "bridge-leg" else "half-wave"),
        winding=12.0,
        rating=3.0,
        reservoir=470.0,
        topology=topology,
        series=100.0,
        capacitor=capacitor,
        technology="film",
        more=more,
        part="40106",
        clocked="4040",
    )
    return parse_design(text, "circuits.toml")


def nominal(of: Design) -> tuple[Experiment, dict[str, float]]:
    scene = line_sense.plan(of).scenes[0]
    rows = scene.derive(scene.space.decode(np.zeros((1, len(scene.space.axes)))))
    return scene.experiment, {name: float(np.ravel(value)[0]) for name, value in rows.items()}


def line(
    engine: Engine, of: Design, changes: Mapping[str, float] | None = None
) -> dict[str, float]:
    experiment, row = nominal(of)
    return values(engine, experiment, {**row, **(changes or {})})


def test_without_a_bleed_the_falling_edge_hangs_on_the_supplys_load(engine: Engine) -> None:
    """Between the bridge's conduction peaks nothing but leakage holds an unbled leg."""
    load = [{"i_load": 2e-3, "raw_start": 20.0}, {"i_load": 50e-3, "raw_start": 17.0}]
    unbled = [line(engine, design(more=""), change)["t_low"] for change in load]
    bled = [line(engine, design(), change)["t_low"] for change in load]
    assert abs(unbled[1] - unbled[0]) > 5 * abs(bled[1] - bled[0])
    assert abs(unbled[1] - unbled[0]) > 50e-6


def test_too_large_a_capacitor_leaves_the_low_level_too_high(engine: Engine) -> None:
    """100k with 47n on a leg: the trough stays above the 1.26 V a 40106 may need at 9 V."""
    good, bad = (line(engine, design(capacitor=c)) for c in (10.0, 47.0))
    assert good["low_level_margin"] > 1
    assert bad["low_level_margin"] < 0


def test_clamp_diodes_relieve_the_pin(engine: Engine) -> None:
    own = 'winding_voltage = "12 V"\nwinding_rating = "3 VA"\n'
    alone = line(engine, design("half-wave", own, rectifier="bridge"))
    clamped = line(engine, design("half-wave", own + 'clamp = "diodes"', rectifier="bridge"))
    assert alone["input_clamp_current"] > 100e-6
    assert clamped["input_clamp_current"] < 0.2 * alone["input_clamp_current"]


def test_too_little_mains_gives_no_edge(engine: Engine) -> None:
    _, row = nominal(design())
    changes = {"v_peak": 0.2 * row["v_peak"], "raw_start": 1.0, "pin_start": 3.0}
    out = line(engine, design(), changes)
    assert out["edges_per_cycle"] == 0
    assert out["high_level_margin"] < 0
    assert np.isnan(out["crossing_delay"])


@pytest.mark.parametrize("rectifier", ["half-wave", "full-wave"])
def test_a_shared_grounded_winding_is_flattened_by_its_supply(
    engine: Engine, rectifier: str
) -> None:
    """The charging current drops voltage in the winding: less reaches the series resistor."""
    own = 'winding_voltage = "12 V"\nwinding_rating = "3 VA"\n'
    loaded = line(engine, design("half-wave", "", rectifier=rectifier))
    unloaded = line(engine, design("half-wave", own, rectifier="bridge"))
    ratio = loaded["series_resistor_voltage"] / unloaded["series_resistor_voltage"]
    assert 0.7 < ratio < 0.995


def test_pin_in_the_part_model_is_the_pin_of_the_filter_bench(engine: Engine) -> None:
    """Both benches clamp alike: same crest at the pin, with the sub-circuit and without."""
    of = design()
    scene = next(s for s in conditioner.plan(of).scenes if s.identifier == "chain-ti")
    rows = scene.derive(scene.space.decode(np.zeros((1, len(scene.space.axes)))))
    row = {name: float(np.ravel(value)[0]) for name, value in rows.items()}
    run = engine.traces(scene.experiment, tuple(row), np.array(list(row.values())))
    late = run.time > row["t_quarter"]
    alone = line(engine, of, {"i_leak": 0.0, "c_in": row["c_in"]})
    assert run.trace("v(pin)")[late].max() == pytest.approx(alone["pin_peak"], abs=5e-3)
    assert run.trace("v(pin)")[late].min() == pytest.approx(alone["pin_trough"], abs=5e-3)


def test_protection_diode_is_that_of_the_part_model() -> None:
    text = model_text("schmitt")
    card = " ".join(f"{name}={value:g}" for name, value in PROTECTION.arguments)
    assert f".model protection D({card})" in text
    assert INPUT_OHM["4000B"] == 1000.0
    assert "r_in=1k" in text


def test_temperature_changes_nothing_but_the_diodes(engine: Engine) -> None:
    """The clamp level falls by about 2 mV/K; the times move by microseconds."""
    cold, hot = (line(engine, design(), {"ambient_c": t, "i_leak": 0.0}) for t in (-20.0, 60.0))
    assert 0.1 < cold["pin_peak"] - hot["pin_peak"] < 0.25
    assert abs(cold["t_high"] - hot["t_high"]) < 30e-6
