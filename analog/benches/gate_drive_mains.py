"""The scenes on the mains side: gate current available, and whole cycles with the triac at work."""

from __future__ import annotations

from analog.benches.base import Curve, Level, Mark, Plot, Scene
from analog.benches.gate_drive_space import GateNetwork
from analog.circuits.record import Circuit, Experiment, Param, Transient
from analog.circuits.triac_output import OutputParts, led_current, mains_side

_REDUCERS = "analog.benches.gate_drive_measures"

_SAVES = ("v(live)", "v(mt2)", "v(gate)", "v(ot)", "i(vload)", "i(vgate)")

RELTOL = 5e-5
"""With trtol 1 the firing instant is then within 0.3 µs of 1 µs steps at reltol 1e-6: the models
are made so that the step control sees a trigger coming. A coarser tolerance saves no time."""

ABSTOL_A, VNTOL_V = 1e-9, 1e-5
"""With finer ones, rounding alone (amperes in the load, steps of picoseconds after a failed one)
can keep the iteration from ending."""


def mains_scenes(network: GateNetwork, suffix: str) -> tuple[Scene, Scene]:
    """Return both scenes; identifiers end in `suffix` where there are several makers."""
    return _held_off(network, suffix), _firing(network, suffix)


def _experiment(
    network: GateNetwork, title: str, reducer: str, outputs: tuple[str, ...], held: bool
) -> Experiment:
    pulsed = network.drive.led_drive == "pulsed" and not held
    elements = mains_side(output_parts(network), led_current(pulsed))
    return Experiment(
        Circuit(title, elements, (), ("triac", "opto_triac")),
        Transient(
            Param("stop"), Param("step"), reltol=RELTOL, trtol=1.0, abstol=ABSTOL_A, vntol=VNTOL_V
        ),
        (*_SAVES, "v(sn)") if network.snubber else _SAVES,
        f"{_REDUCERS}:{reducer}",
        outputs,
        _held_readings() if held else _firing_readings(),
    )


def firing_experiment(network: GateNetwork, outputs: tuple[str, ...] = ()) -> Experiment:
    """Return the triac at work over whole mains cycles."""
    return _experiment(network, "Gate drive: the triac at work", "firing", outputs, held=False)


def output_parts(network: GateNetwork) -> OutputParts:
    """Return the circuit's view of the design."""
    drive = network.drive
    keys = [
        ("VMAINS", "mains.voltage"),
        ("RLOAD", "load.power"),
        ("LLOAD", "load.power_factor"),
        ("RLOSS", "load.parallel_resistance"),
        ("CWIND", "load.winding_capacitance"),
        ("RGATE", "gate_drive.gate_resistor"),
        ("RGK", "gate_drive.gate_shunt_resistor"),
        ("RSNUB", "gate_drive.snubber_resistor"),
        ("CSNUB", "gate_drive.snubber_capacitor"),
        ("ROPTO", "gate_drive.opto_snubber_resistor"),
        ("COPTO", "gate_drive.opto_snubber_capacitor"),
        ("XOPTO", "gate_drive.opto"),
        ("XTRIAC", "gate_drive.triac"),
    ]
    return OutputParts(
        network.inductive,
        drive.gate_shunt_resistor is not None,
        network.snubber,
        drive.triac,
        drive.opto,
        drive.opto_snubber_capacitor is not None,
        tuple(keys),
    )


def _held_off(network: GateNetwork, suffix: str) -> Scene:
    random_phase = not network.opto.has("V_INH")
    measures = ["gate_current_positive", "gate_current_negative", "gate_resistor_fault_power"]
    if random_phase:
        measures.append("opto_peak_current")
    outputs = (
        "gate_current_positive",
        "gate_current_negative",
        "opto_peak_current",
        "gate_fault_rms",
        "gate_resistor_fault_power",
    )
    title = "Gate drive: triac held off"
    return Scene(
        f"held-off{suffix}",
        "The triac's main path held off: gate current available",
        _experiment(network, title, "held_off", outputs, held=True),
        network.space(held=True),
        network.held_off,
        tuple(measures),
        (_available_plot(network),),
    )


def _available_plot(network: GateNetwork) -> Plot:
    ends = {quadrant: network.triac.figure(f"I_GT_{quadrant}").high for quadrant in (1, 3)}
    return Plot(
        "Gate current available and trigger current at 25 °C",
        "gate_current_positive",
        (Curve("i(vgate)", "gate current available", "A"),),
        (
            Level("I_GT max, quadrant I", ends[1], "A"),
            Level("I_GT max, quadrant III", -ends[3], "A"),
        ),
    )


def _firing(network: GateNetwork, suffix: str) -> Scene:
    measures = [
        "turn_on_voltage",
        "turn_on_delay",
        "turn_on_angle",
        "half_cycles_missed",
        "half_cycle_asymmetry",
        "half_cycle_asymmetry_share",
        "latching_margin",
        "holding_margin",
        "gate_resistor_power",
        "opto_dissipation",
        "load_voltage_on",
    ]
    if network.snubber:
        measures.append("snubber_resistor_power")
    if network.opto.has("V_INH"):
        measures.append("opto_peak_current")
    outputs = dict.fromkeys(
        (
            *measures,
            "opto_peak_current",
            "turn_on_time",
            "latching_angle",
            "early_turn_off_angle",
            "load_rms",
            "load_peak_positive",
            "load_peak_negative",
            "gate_rms",
        )
    )
    return Scene(
        f"firing{suffix}",
        "One mains cycle with the triac at work",
        firing_experiment(network, tuple(outputs)),
        network.space(held=False),
        network.firing,
        tuple(measures),
        _firing_plots(),
    )


def _firing_plots() -> tuple[Plot, ...]:
    window = ("start", "stop")
    return (
        Plot(
            "Mains and MT2 around turn-on",
            "turn_on_voltage",
            (Curve("v(live)", "mains", "V"), Curve("v(mt2)", "across the triac", "V")),
            marks=(Mark("turn-on", "turn_on_time", "v(mt2)"),),
            window=window,
        ),
        Plot(
            "Load current",
            "half_cycle_asymmetry_share",
            (Curve("i(vload)", "load current", "A"),),
            (Level("latching current", "i_l", "A"), Level("holding current", "i_h", "A")),
            window=window,
            naming=(
                ("trigger current in quadrant I", "i_gt_1", "A"),
                ("in quadrant III", "i_gt_3", "A"),
            ),
        ),
        Plot(
            "Gate current while firing",
            "half_cycles_missed",
            (Curve("i(vgate)", "through the opto", "A"),),
            (Level("trigger current, quadrant I", "i_gt_1", "A"),),
            window=window,
        ),
    )


def _firing_readings() -> tuple[tuple[str, str], ...]:
    span = "from={start} to={stop}"
    return (
        ("load_peak_positive", f"tran max i(vload) {span}"),
        ("load_peak_negative", f"tran min i(vload) {span}"),
        ("half_cycle_asymmetry", f"tran avg i(vload) {span}"),
        ("load_rms", f"tran rms i(vload) {span}"),
        ("gate_rms", f"tran rms i(vgate) {span}"),
    )


def _held_readings() -> tuple[tuple[str, str], ...]:
    return (("gate_fault_rms", "tran rms i(vgate) from={start} to={stop}"),)
