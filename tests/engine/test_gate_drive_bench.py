"""The gate-drive bench on the real engine: whole cycles, loads, half-waving, pulses, netlists."""

from __future__ import annotations

import math
import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import gate_designs as made
import numpy as np
import pytest

from analog.benches.gate_drive import plan
from analog.benches.gate_drive_rules import turn_on_voltage_v
from analog.engine import Engine, netlist, open_engine

Counts = Callable[[int, int], int]
Figure = Callable[[str], None]

FAN_DRIVE = {
    "opto": "MOC3063",
    "rail": "5 V 5%",
    "source": "74HC74",
    "led_resistor": "330R 5% carbon-film 0.25W",
    "base_resistor": "10k 5% carbon-film 0.25W",
    "gate_resistor": "360R 5% carbon-film 0.5W",
    "triac": "BTA08-800TW",
    "snubber_resistor": "100R 5% carbon-film 1W",
    "snubber_capacitor": "100n 10% X2 275V",
}


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def longer(row: dict[str, float], cycles: int) -> dict[str, float]:
    """Return the row with `cycles` mains cycles counted."""
    return row | {"stop": row["start"] + cycles * row["period"]}


def test_fifty_half_cycles_as_the_one_counted(engine: Engine, figure: Figure) -> None:
    """25 cycles give what the single cycle gives: the search may stop after one."""
    scene = made.firing(made.design())
    row = made.row(scene)
    one, many = made.values(engine, scene, row), made.values(engine, scene, longer(row, 25))
    assert many["half_cycles_missed"] == 0
    for name in ("turn_on_voltage", "turn_on_delay", "latching_margin", "load_rms"):
        figure(f"{name}: 1 cycle {one[name]:.6g}, 25 cycles {many[name]:.6g}")
        assert many[name] == pytest.approx(one[name], rel=5e-3)
    assert abs(many["half_cycle_asymmetry"] - one["half_cycle_asymmetry"]) < 1e-4


def test_fifty_half_cycles_of_a_fan(engine: Engine) -> None:
    """An inductive load counted after its settling time: the same, on a zero-cross opto."""
    scene = made.firing(made.design(made.EUROPE, made.FAN, **FAN_DRIVE))
    row = made.row(scene)
    one, many = made.values(engine, scene, row), made.values(engine, scene, longer(row, 25))
    assert one["half_cycles_missed"] == many["half_cycles_missed"] == 0
    assert many["load_rms"] == pytest.approx(one["load_rms"], rel=2e-3)
    assert many["latching_margin"] == pytest.approx(one["latching_margin"], rel=5e-3)


@pytest.mark.parametrize("mains", [made.US, made.EUROPE], ids=["120V", "230V"])
@pytest.mark.parametrize(
    ("power", "factor"),
    [("10 W", 1.0), ("25 W", 1.0), ("100 W", 1.0), ("2 kW", 1.0), ("60 W", 0.5), ("250 W", 0.26)],
)
def test_conducts_every_half_cycle(
    engine: Engine, mains: dict[str, float], power: str, factor: float
) -> None:
    """A continuous opto drive, 10 W to 2 kW, resistive and R-L to 75°, at both mains."""
    kind = "resistive" if factor == 1.0 else "inductive"
    load = {"kind": kind, "power": f"{power} 10%", "power_factor": factor}
    scene = made.firing(made.design(mains, load, triac="BTA16-SW"))
    found = made.values(engine, scene, longer(made.row(scene, voltage=-1), 5))
    assert found["half_cycles_missed"] == 0
    direct = abs(found["half_cycle_asymmetry"]) / found["load_rms"]
    assert direct < 0.02


def test_unequal_quadrants_half_wave(engine: Engine, figure: Figure) -> None:
    """3.3 kΩ and a 50 mA grade: quadrant III at its maximum, I lower by the typical ratio of 1.4
    (Teccor/Littelfuse AN1002, the 10 A triac), and one polarity is lost."""
    scene = made.firing(made.design(gate_resistor="3k3 5% carbon-film 0.5W", triac="BTA06-B"))
    row = made.row(scene, voltage=-1)
    row |= {"i_gt_1": 50e-3 / 1.4, "i_gt_3": 50e-3}
    found = made.values(engine, scene, longer(row, 5))
    figure(f"direct current {found['half_cycle_asymmetry'] * 1e3:.1f} mA")
    assert found["half_cycles_missed"] == 5
    assert found["load_peak_negative"] > -0.05
    # Half a sine from the firing angle on, I_peak/(2π)·(1 + cos θ), less what the opto carries in
    # the other half, I_gate/π. Before it fires, the gate current also flows through the load.
    peak = row["mains_peak"] / row["r_load"]
    at = turn_on_voltage_v(row["r_gate"] + row["r_load"], row["i_gt_1"], row["v_gt"], 1.4)
    angle = math.asin(at / row["mains_peak"])
    lost = (row["mains_peak"] - 2.7) / (row["r_gate"] + row["r_load"]) / math.pi
    expected = peak / (2 * math.pi) * (1 + math.cos(angle)) - lost
    assert found["half_cycle_asymmetry"] == pytest.approx(expected, rel=0.06)
    equal = made.values(engine, scene, longer(row | {"i_gt_1": 50e-3}, 5))
    assert equal["half_cycles_missed"] == 10


def test_never_firing_is_told_apart(engine: Engine) -> None:
    """A 30 mA trigger grade at 9 mA of LED current: nothing fires, delay never happens."""
    scene = made.firing(made.design(opto="MOC3020"))
    found = made.values(engine, scene, made.row(scene))
    assert found["half_cycles_missed"] == 2
    assert math.isnan(found["turn_on_delay"])
    assert found["latching_margin"] < 0
    assert found["gate_rms"] < 1e-4


def test_small_load_is_carried_by_the_opto(engine: Engine, figure: Figure) -> None:
    """5 W at 230 V peaks at 31 mA, under the 50 mA that the triac may need to latch: with a
    continuous LED the opto and the gate carry it, and the latching margin says so."""
    load = {"kind": "resistive", "power": "5 W 1%"}
    scene = made.firing(made.design(made.EUROPE, load, triac="BTA06-CW"))
    found = made.values(engine, scene, made.row(scene))
    figure(f"5 W on BTA06-CW: margin {found['latching_margin'] * 1e3:.1f} mA")
    assert found["half_cycles_missed"] == 0
    assert found["latching_margin"] == pytest.approx(0.031 - 0.050, abs=1e-3)
    assert found["opto_dissipation"] > 1e-3


def test_pulsed_led_at_the_zero_half_waves_a_lagging_fan(engine: Engine) -> None:
    """1 ms at each voltage zero: the fan's current passes zero later, so the pulse is wasted."""
    design = made.design(made.EUROPE, made.FAN, led_drive="pulsed", pulse_width="1 ms", **FAN_DRIVE)
    scene = made.firing(design)
    found = made.values(engine, scene, made.row(scene))
    assert found["half_cycles_missed"] >= 1
    assert found["latching_margin"] < 0


def test_pulsed_led_long_enough_latches_a_resistive_load(engine: Engine) -> None:
    """The current at the end of a 1 ms pulse is I_peak·sin(ωt) and counts against I_L."""
    design = made.design(led_drive="pulsed", pulse_width="1 ms")
    scene = made.firing(design)
    row = made.row(scene)
    found = made.values(engine, scene, row)
    at_end = row["mains_peak"] / row["r_load"] * math.sin(2 * math.pi * 60 * 1e-3)
    assert found["half_cycles_missed"] == 0
    assert found["latching_margin"] == pytest.approx(at_end - row["i_l"], rel=0.02)


@pytest.mark.parametrize("shunt", [None, "330R 5% carbon-film 0.25W"])
def test_gate_current_available(engine: Engine, shunt: str | None) -> None:
    """The series circuit at the crest: (V_peak − V_TM − V_GT)/(R + R_load), less the shunt's."""
    made_plan = plan(made.design(gate_shunt_resistor=shunt))
    scene = made.scene(made_plan, "held-off")
    row = made.row(scene, voltage=-1)
    found = made.values(engine, scene, row)
    # The drops grow with current: V_TM by 6 Ω beyond 100 mA, the gate by 2 Ω beyond I_GT.
    gate_v = row["v_gt"] + 0.9
    through = (row["mains_peak"] - row["v_tm"] - 1.2 - gate_v) / (row["r_gate"] + row["r_load"])
    expected = through - gate_v / row["r_gk"]
    assert found["gate_current_positive"] == pytest.approx(expected, rel=0.02)
    assert found["gate_current_negative"] == pytest.approx(expected, rel=0.02)
    assert found["gate_resistor_fault_power"] == pytest.approx(
        through**2 / 2 * row["r_gate"], rel=0.03
    )


@pytest.mark.parametrize("driver", ["npn", "nmos", "logic"])
def test_led_current_by_hand(engine: Engine, driver: str) -> None:
    """(rail − V_F − drop)/R, the drop being what the run itself reports for the driver."""
    change = {"npn": {}, "nmos": {"driver_part": "2N7000", "base_resistor": None}}.get(
        driver, {"driver_part": None, "base_resistor": None}
    )
    made_plan = plan(made.design(driver=driver, **change))
    scene = made.scene(made_plan, "led-on")
    row = made.row(scene)
    found = made.values(engine, scene, row)
    current = found["led_current"]
    by_hand = made.led_current_by_hand(row, current, found["driver_saturation"])
    assert current == pytest.approx(by_hand, rel=2e-3)
    dark = made.scene(made_plan, "led-off")
    assert made.values(engine, dark, made.row(dark))["led_current_off"] < 1.1e-3


def test_plain_4000b_output_is_too_weak_for_the_led(engine: Engine) -> None:
    """Fairchild AN-3003, page 3: plain CMOS cannot light the LED, a buffer is needed."""
    change = {"driver_part": None, "base_resistor": None}
    made_plan = plan(made.design(driver="logic", rail="5 V 5%", **change))
    scene = made.scene(made_plan, "led-on")
    found = made.values(engine, scene, made.row(scene, I_OH=-1))
    limit = next(each for each in made_plan.limits["led_current"] if each.identifier == "trigger")
    assert found["led_current"] < 3e-3 < (limit.minimum or 0.0)


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice command on this machine")
@pytest.mark.parametrize("identifier", ["firing", "held-off"])
def test_exported_netlist_reads_the_same(engine: Engine, tmp_path: Path, identifier: str) -> None:
    """``ngspice -b`` on the exported netlist gives the readings the reducer gives."""
    scene = made.scene(plan(made.design()), identifier)
    row = made.row(scene, voltage=-1)
    found = made.values(engine, scene, row)
    text = netlist(scene.experiment, row, "gate drive")
    (tmp_path / ".spiceinit").write_text("")
    (tmp_path / "gate.cir").write_text(text)
    run = subprocess.run(
        ["ngspice", "-b", "gate.cir"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    assert scene.experiment.readings
    for name, _ in scene.experiment.readings:
        line = next(line for line in run.stdout.splitlines() if line.startswith(name))
        read = float(line.partition("=")[2].split()[0])
        scale = max(abs(found[name]), 0.01 * found.get("load_rms", abs(found[name])))
        assert read == pytest.approx(found[name], abs=0.01 * scale)


def test_random_designs_all_give_data(engine: Engine, counts: Counts) -> None:
    """Random mains, loads, parts and temperatures in a typical circuit: no run is lost."""
    random = np.random.default_rng(30)
    for _ in range(counts(3, 100)):
        lagging = bool(random.integers(2))
        load = {
            "kind": "inductive" if lagging else "resistive",
            "power": f"{10 ** random.uniform(0.7, 3.3):.1f} W 10%",
            "power_factor": float(random.uniform(0.25, 0.95)) if lagging else 1.0,
        }
        triac = str(random.choice(["BTA06-TW", "BTA06-B", "BTA16-CW", "BT138", "BTA08-C"]))
        opto = str(random.choice(["MOC3023", "MOC3063", "MOC3021"]))
        resistor = f"{10 ** random.uniform(1.7, 3.5):.0f} Ω 5% carbon-film 0.5W"
        mains = [made.US, made.EUROPE][int(random.integers(2))]
        scene = made.firing(
            made.design(mains, load, triac=triac, opto=opto, gate_resistor=resistor)
        )
        points = random.uniform(-1, 1, (5, len(scene.space.axes)))
        names, table = made.rows(scene, points)
        outcome = engine.run(scene.experiment, names, table)
        assert not outcome.failures, next(iter(outcome.failures.values())).reason
        assert np.isfinite(outcome.column("half_cycles_missed")).all()


def test_no_run_leaves_what_the_mains_can_give(engine: Engine, counts: Counts) -> None:
    """A solver that accepts a wrong point shows as a voltage or current from nowhere: none may.

    Without an inductance nothing exceeds the mains, nor the mains over the load.
    """
    random = np.random.default_rng(31)
    for triac, resistor in (("BTA06-SW", "220R"), ("BTA06-B", "3k3"), ("BTA06-TW", "47R")):
        design = made.design(triac=triac, gate_resistor=f"{resistor} 5% carbon-film 0.5W")
        scene = made.firing(design)
        number = counts(12, 300)
        points = random.choice([-1, -0.5, 0, 0.5, 1], (number, len(scene.space.axes)))
        names, table = made.rows(scene, points)
        outcome = engine.run(scene.experiment, names, table)
        assert not outcome.failures
        peak, load = table[:, names.index("mains_peak")], table[:, names.index("r_load")]
        fired = outcome.column("half_cycles_missed") == 0
        assert (outcome.column("turn_on_voltage")[fired] < peak[fired]).all()
        for name in ("load_peak_positive", "load_peak_negative"):
            assert (np.abs(outcome.column(name)) < peak / load).all()
        assert (outcome.column("opto_peak_current") < peak / load).all()
