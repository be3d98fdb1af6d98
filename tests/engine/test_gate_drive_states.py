"""The gate-drive bench's turn-ons, PNP switch and own opto snubber on the real engine, and the
proofing cabinet with one part changed at a time: each change fails where it should."""

from __future__ import annotations

import shutil
import subprocess
from collections.abc import Callable, Iterator
from pathlib import Path

import gate_designs as made
import numpy as np
import pytest

from analog.benches.base import Plan, Scene
from analog.benches.gate_drive import plan
from analog.benches.gate_drive_turn_ons import MEASURE
from analog.benches.trials import trials_in
from analog.design import parse_design
from analog.engine import Engine, Run, netlist, open_engine
from analog.verdicts import judge
from analog.workflows import check
from analog.workflows.corner_trials import corner_found
from analog.workflows.trial_runs import TrialRunner

Counts = Callable[[int, int], int]
Figure = Callable[[str], None]

SCENARIOS = Path(__file__).parents[2] / "analog" / "scenarios"
CABINET = (SCENARIOS / "proofing-cabinet.toml").read_text(encoding="utf-8")

PULSED = 'led_drive = "pulsed"\npulse_width = "1 ms"'
VARIANTS = {
    "a 400 V opto": ('opto = "MOC3063"', 'opto = "MOC3043"', "let-go", "off_state_peak_voltage"),
    "a 15 mA trigger grade": ('opto = "MOC3063"', 'opto = "MOC3061"', "firing",
                              "half_cycles_missed"),
    "a pulse at the voltage's zero": ('led_drive = "continuous"', PULSED, "firing",
                                      "half_cycles_missed"),
}  # fmt: skip


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


def cabinet(old: str = "", new: str = "") -> Plan:
    assert old in CABINET
    return plan(parse_design(CABINET.replace(old, new, 1) if old else CABINET, "cabinet.toml"))


def worst_row(scene: Scene) -> dict[str, float]:
    """Return the row that is hard for what the variants are about."""
    names = [key.rsplit(".", 1)[-1] for key in scene.space.keys]
    hard = {"let-go": {"voltage": 1.0, "I_H": 1.0, "V_1mA": 1.0, "ambient": -1.0, "power": -1.0}}
    at = hard.get(scene.identifier, {"voltage": -1.0, "ambient": -1.0})
    return made.row(scene, **{name: u for name, u in at.items() if name in names})


def verdicts(plan_: Plan, measure: str, value: float) -> dict[str, str]:
    scale = next(each.scale for each in plan_.measures if each.identifier == measure)
    return {limit.identifier: judge(value, limit, scale).verdict for limit in plan_.limits[measure]}


@pytest.mark.parametrize("variant", VARIANTS)
def test_one_change_breaks_the_proofing_cabinet(
    engine: Engine, counts: Counts, figure: Figure, variant: str
) -> None:
    """The measure fails with the change and passes without it, at the same corner; in the full
    run the whole check of the changed design fails by it too."""
    old, new, identifier, measure = VARIANTS[variant]
    changed, sound = cabinet(old, new), cabinet()
    for made_plan, wanted in ((changed, "fail"), (sound, "pass")):
        scene = made.scene(made_plan, identifier)
        found = made.values(engine, scene, worst_row(scene))[measure]
        figure(f"{variant if wanted == 'fail' else 'as it is'}: {measure} {found:.4g}")
        judged = verdicts(made_plan, measure, found)
        assert wanted in judged.values()
        if wanted == "pass":
            assert set(judged.values()) == {"pass"}
    if counts(0, 1):
        design = parse_design(CABINET.replace(old, new, 1), "cabinet.toml")
        results = check(design, engine, benches=["gate_drive"]).results
        failing = {row.measure for row in results.benches[0].measures if row.verdict == "fail"}
        assert measure in failing


def test_only_the_opto_minds_its_voltage(engine: Engine) -> None:
    """A 400 V opto dies where the 800 V triac lives: both limits stand on the one measure."""
    made_plan = cabinet(*VARIANTS["a 400 V opto"][:2])
    scene = made.scene(made_plan, "let-go")
    found = made.values(engine, scene, worst_row(scene))["off_state_peak_voltage"]
    assert verdicts(made_plan, "off_state_peak_voltage", found) == {"triac": "pass", "opto": "fail"}


def test_the_weak_grade_never_fires(engine: Engine) -> None:
    """Both half-cycles are missed, and the LED's current falls short of the grade's limit."""
    made_plan = cabinet(*VARIANTS["a 15 mA trigger grade"][:2])
    scene = made.scene(made_plan, "firing")
    assert made.values(engine, scene, worst_row(scene))["half_cycles_missed"] == 2
    led = made.scene(made_plan, "led-on")
    current = made.values(engine, led, made.row(led))["led_current"]
    assert verdicts(made_plan, "led_current", current)["trigger"] == "fail"


def test_sixty_half_cycles_after_turn_ons_all_round(engine: Engine, figure: Figure) -> None:
    """The propagator mat misses none of sixty; with a weak opto all are missed."""
    for opto, wanted in (("MOC3023", 0), ("MOC3020", 60)):
        trial = trials_in(plan(made.design(opto=opto))).turn_ons
        assert trial is not None
        (case,), scene = corner_found(trial, TrialRunner(engine))
        found = scene.worst[MEASURE].values
        assert case.value == found[MEASURE]
        figure(f"{opto}: {found[MEASURE]:g} of {found['half_cycles_counted']:g}")
        assert found["half_cycles_counted"] >= 50
        assert found[MEASURE] == wanted


def test_turn_ons_are_spread_over_the_cycle(engine: Engine) -> None:
    """The load's current begins at six phases of the mains, a sixth of a cycle apart."""
    trial = trials_in(plan(made.design())).turn_ons
    assert trial is not None
    row = trial.row(trial.points()[1])
    run: Run = engine.traces(trial.experiment, tuple(row), np.array(list(row.values())))
    starts = row["first_on"] + row["on_period"] * np.arange(6)
    flowing = np.abs(run.trace("i(vload)")) > 0.1
    first = [run.time[np.flatnonzero(flowing & (run.time > start))[0]] for start in starts]
    assert (np.array(first) - starts < row["period"] / 8).all()
    phases = np.sort(starts / row["period"] % 1)
    np.testing.assert_allclose(np.diff(phases), 1 / 6, atol=1e-9)


def test_pnp_switch_by_hand(engine: Engine) -> None:
    """(rail − V_CE − V_F)/R with the drops the run itself reports, and dark when the output is
    high."""
    design = made.design(driver="pnp", driver_part="2N3906", base_resistor="4k7 5% carbon-film")
    made_plan = plan(design)
    lit, dark = (made.scene(made_plan, name) for name in ("led-on", "led-off"))
    row = made.row(lit)
    found = made.values(engine, lit, row)
    current = found["led_current"]
    by_hand = made.led_current_by_hand(row, current, found["driver_saturation"])
    assert current == pytest.approx(by_hand, rel=2e-3)
    assert 0.01 < found["driver_saturation"] < 0.3
    assert made.values(engine, dark, made.row(dark))["led_current_off"] < 1e-4


def test_opto_snubber_adds_to_the_turn_on_voltage(engine: Engine) -> None:
    """Fairchild AN-3003, page 3: both resistors are in the gate's path: 330·I_GT more."""
    own = {"opto_snubber_resistor": "330R 5% carbon-film", "opto_snubber_capacitor": "10n X2 275V"}
    found = []
    for extra in ({}, own):
        scene = made.firing(made.design(triac="BTA06-B", **extra))
        row = made.row(scene)
        found.append(made.values(engine, scene, row)["turn_on_voltage"])
    assert found[1] - found[0] == pytest.approx(330 * row["i_gt_3"], rel=0.15)


def test_opto_snubber_slows_what_the_mains_steps(engine: Engine) -> None:
    """Without any snubber the mains' switch-on is a thousand times steeper."""
    own = {"opto_snubber_resistor": "1k2 5% carbon-film", "opto_snubber_capacitor": "100n X2 275V"}
    found = []
    for extra in ({}, own):
        scene = made.scene(plan(made.design(**extra)), "switch-on")
        found.append(made.values(engine, scene, made.row(scene))["off_state_dvdt"])
    assert found[0] > 300 * found[1]


def test_load_voltage_on_against_what_the_load_needs(engine: Engine) -> None:
    """rms of the mains less a volt of on-state drop, judged against load.minimum_voltage."""
    made_plan = plan(made.design(load=made.MAT | {"minimum_voltage": "110 V"}))
    scene = made.firing(made.design())
    row = made.row(scene, voltage=-1)
    found = made.values(engine, scene, row)["load_voltage_on"]
    assert found == pytest.approx(104.0 - 0.8, abs=0.4)
    assert verdicts(made_plan, "load_voltage_on", found) == {"load": "fail"}


@pytest.mark.skipif(shutil.which("ngspice") is None, reason="no ngspice command on this machine")
@pytest.mark.parametrize("identifier", ["running", "off", "switch-on", "let-go", "inrush"])
def test_exported_netlist_gives_the_same(engine: Engine, tmp_path: Path, identifier: str) -> None:
    """``ngspice -b`` on the exported netlist reaches the extremes that the engine's traces have."""
    scene = made.scene(cabinet(), identifier)
    row = made.row(scene)
    run: Run = engine.traces(scene.experiment, tuple(row), np.array(list(row.values())))
    (tmp_path / ".spiceinit").write_text("")
    (tmp_path / "state.cir").write_text(netlist(scene.experiment, row, identifier))
    done = subprocess.run(
        ["ngspice", "-b", "state.cir"], cwd=tmp_path, capture_output=True, text=True, check=False
    )
    compared = 0
    for trace, name in (("v(mt2)", "v_mt2"), ("i(vload)", "i_vload")):
        if trace not in scene.experiment.saves:
            continue
        line = next(each for each in done.stdout.splitlines() if each.startswith(f"largest_{name}"))
        read = float(line.partition("=")[2].split()[0])
        assert read == pytest.approx(float(run.trace(trace).max()), rel=5e-3)
        compared += 1
    assert compared


def test_waves_on_the_mains_with_and_without_protection(engine: Engine, figure: Figure) -> None:
    """A ring wave and a burst pulse reach a bare triac whole; snubber and varistor take them down.

    Without a snubber a 500 V ring wave rides on the crest: 325 V and 500 V, less what the
    generator's resistance and the fan's capacitance keep.
    """
    trials = {trial.identifier: trial for trial in trials_in(cabinet()).transients}
    assert set(trials) == {"ring-wave", "ring-wave-bare", "burst", "burst-bare"}
    found = {}
    for name, trial in trials.items():
        measured, scene = corner_found(trial, TrialRunner(engine))
        assert [one.measure for one in measured] == [measure for measure, _ in trial.measures]
        assert all(one.value >= one.nominal.values[one.measure] * 0.9 for one in measured)
        found[name] = scene.nominal.values
        figure(f"{name}: {measured[0].value:.0f} V, {measured[1].value / 1e6:.0f} V/µs")
    assert 650 < found["ring-wave-bare"]["peak_v"] < 830
    assert found["ring-wave"]["peak_v"] < 0.6 * found["ring-wave-bare"]["peak_v"]
    assert found["burst"]["peak_v"] < 0.6 * found["burst-bare"]["peak_v"]
    assert found["ring-wave"]["slope_v_per_s"] < 0.3 * found["ring-wave-bare"]["slope_v_per_s"]


def test_the_ring_wave_arrives_as_the_standard_has_it(engine: Engine) -> None:
    """On a triac without load in its way: a rise of 0.5 µs and the full peak on the crest."""
    trial = next(t for t in trials_in(plan(made.design())).transients if t.wave.name == "ring_wave")
    assert not trial.bare  # nothing to leave out
    row = trial.row(trial.points()[0]) | {"r_load": 1.0, "l_source": 1e-9, "c_off": 1e-12}
    run: Run = engine.traces(trial.experiment, tuple(row), np.array(list(row.values())))
    rise = run.trace("v(mt2)") - row["mains_peak"]
    assert rise.max() == pytest.approx(500.0, rel=0.01)
    first, last = (run.time[np.argmax(rise > share * 500.0)] for share in (0.1, 0.9))
    assert last - first == pytest.approx(0.5e-6, rel=0.05)
