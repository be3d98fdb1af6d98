"""The gate drive: does the LED get its current, does the triac fire, latch and hold, every
half-cycle and cold, and what do opto and gate resistor bear.

Function is judged at the low end of the mains, stress at the high end: the mains voltage is an
axis over both, and each measure's worst lies where its own definition says.
"""

from __future__ import annotations

from itertools import product

from analog.benches.base import Bench, Measure, Plan, Scene
from analog.benches.gate_drive_inrush import inrush_scenes
from analog.benches.gate_drive_led import LedNetwork, led_scenes
from analog.benches.gate_drive_limits import limits, notes
from analog.benches.gate_drive_mains import mains_scenes
from analog.benches.gate_drive_off import off_scenes
from analog.benches.gate_drive_parts import merged
from analog.benches.gate_drive_running import running_scene
from analog.benches.gate_drive_space import GateNetwork
from analog.benches.gate_drive_state_limits import (
    hardest,
    state_limits,
    state_measures,
    state_notes,
)
from analog.benches.gate_drive_transients import off_transients, transient_measures
from analog.benches.gate_drive_turn_ons import MEASURE as TURN_ONS
from analog.benches.gate_drive_turn_ons import turn_on_measure, turn_ons
from analog.benches.load_winding import load_and_source, winding_note
from analog.benches.smallest_load import MEASURE, smallest_load, smallest_measure
from analog.benches.trials import Trials
from analog.cards import Column, find_card
from analog.design import Design
from analog.design.record import GateDrive, Load, Mains

_LED_FIGURES = ("V_F", "I_F_test", "I_FT", "I_F_max")
_OPTO_FIGURES = (
    "I_FT",
    "V_TM",
    "I_TM_test",
    "R_d",
    "I_H",
    "I_L",
    "V_INH",
    "I_TSM_repetitive",
    "P_max",
    "led_ageing_factor",
)


def plan(design: Design) -> Plan:
    """Return the gate-drive bench of `design`, whose gate_drive, load and mains are present."""
    drive, load, mains = _sections(design)
    leds = led_networks(design, drive)
    networks = _networks(design, drive, load, mains, leds)
    scenes: list[Scene] = []
    for index, led in enumerate(leds):
        scenes += led_scenes(led, _suffix(index, leds))
    for index, network in enumerate(networks):
        scenes += mains_scenes(network, _suffix(index, networks))
    blocked = _state_networks(networks)
    for index, network in enumerate(blocked):
        scenes += _state_scenes(network, _suffix(index, blocked))
    smallest, waves = smallest_load(networks[0]), off_transients(networks[0])
    known = (
        *_measures(networks[0]),
        *state_measures(networks[0]),
        smallest_measure(networks[0]),
        *transient_measures(waves),
    )
    judged = limits(networks) | hardest([state_limits(network) for network in networks])
    started = turn_ons(networks[0]) if drive.led_drive == "continuous" else None
    tried = {MEASURE} if started is None else {MEASURE, TURN_ONS}
    tried |= {name for wave in waves for name, _ in wave.measures}
    shown = {*tried, *(measure for scene in scenes for measure in scene.measures)}
    return Plan(
        "gate_drive",
        "Gate drive and load",
        tuple(m for m in known if m.identifier in shown),
        tuple(scenes),
        {name: held for name, held in judged.items() if name in shown},
        (*notes(networks[0]), *state_notes(networks[0]), *winding_note(load)),
        Trials(smallest=smallest, turn_ons=started, transients=waves),
    )


GATE_DRIVE = Bench("gate_drive", "Gate drive and load", "gate_drive", plan)


def _sections(design: Design) -> tuple[GateDrive, Load, Mains]:
    if design.gate_drive is None or design.load is None or design.mains is None:
        raise ValueError("the gate-drive bench needs the sections gate_drive, load and mains")
    return design.gate_drive, *load_and_source(design.load, design.mains)


def led_networks(design: Design, drive: GateDrive) -> list[LedNetwork]:
    """Return one network per opto column, logic column and transistor column that differ."""
    rail = design.supply.rail.nominal
    optos = merged(find_card(drive.opto).chosen(drive.opto_maker), _LED_FIGURES)
    sources = merged(find_card(drive.source).chosen(drive.source_maker), ("I_OH", "I_OL"), rail)
    drivers: tuple[Column | None, ...] = (None,)
    if drive.driver_part is not None:
        drivers = find_card(drive.driver_part).columns
    return [
        LedNetwork(drive, design.supply, design.environment, opto, source, driver)
        for opto, source, driver in product(optos, sources, drivers)
    ]


def _networks(
    design: Design, drive: GateDrive, load: Load, mains: Mains, leds: list[LedNetwork]
) -> list[GateNetwork]:
    """Return one network per opto and triac column that differ; the LED at its least."""
    least = min(led.least_current_a() for led in leds)
    optos = merged(find_card(drive.opto).chosen(drive.opto_maker), _OPTO_FIGURES)
    triacs = find_card(drive.triac).chosen(drive.triac_maker)
    return [
        GateNetwork(mains, design.environment, drive, load, opto, triac, least)
        for opto, triac in product(optos, triacs)
    ]


def _state_scenes(network: GateNetwork, suffix: str) -> tuple[Scene, ...]:
    return (
        running_scene(network, suffix),
        *off_scenes(network, suffix),
        *inrush_scenes(network, suffix),
    )


def _state_networks(networks: list[GateNetwork]) -> list[GateNetwork]:
    """Return the networks that differ where the gate does not matter: triac, opto's leakage."""
    kept: dict[tuple[object, ...], GateNetwork] = {}
    for network in networks:
        opto, names = network.opto, ("V_DRM", "I_DRM")
        figures = tuple(opto.figure(name).high for name in names if opto.has(name))
        key = (network.triac.part, network.triac.maker, opto.has("V_INH"), figures)
        kept.setdefault(key, network)
    return list(kept.values())


def _suffix(index: int, networks: list[LedNetwork] | list[GateNetwork]) -> str:
    return "" if len(networks) == 1 else f"-{index + 1}"


def _measures(network: GateNetwork) -> tuple[Measure, ...]:
    firing = (*_firing_measures(network), turn_on_measure())
    return (*_led_measures(network), *firing, *_stress_measures())


def _led_measures(network: GateNetwork) -> tuple[Measure, ...]:
    trigger_a = network.opto.figure("I_FT").high
    return (
        Measure("led_current", "A", "LED current when on", "min", trigger_a,
                "operating point through the logic's real output and the driver"),
        Measure("led_current_maximum", "A", "largest LED current", "max", trigger_a,
                "the same at the other end of everything"),
        Measure("led_current_off", "A", "LED current when off", "max", trigger_a,
                "with the driver's guaranteed leakage, hot"),
        Measure("driver_saturation", "V", "voltage lost in the driver", "max", 0.5,
                "V_CE or V_DS at the LED current; for logic drive what its output loses"),
    )  # fmt: skip


def _firing_measures(network: GateNetwork) -> tuple[Measure, ...]:
    load = network.load
    rated = load.voltage or network.mains.voltage
    load_a = load.power.nominal / load.power_factor / rated
    peak_a = 2**0.5 * load_a
    gate_a = network.triac.figure("I_GT_3").high
    half_period = network.period_s / 2
    return (
        Measure("gate_current_positive", "A", "gate current available, MT2 positive", "min",
                gate_a, "largest in the half-cycle with the triac's main path held off, gate "
                "junction and opto in place; the mains minimum decides"),
        Measure("gate_current_negative", "A", "gate current available, MT2 negative", "min",
                gate_a, "as for the positive half-cycle"),
        Measure("turn_on_voltage", "V", "voltage at which the triac fires", "max",
                network.mains.voltage, "largest of the half-cycles, as simulated"),
        Measure("turn_on_delay", "s", "delay of firing", "max", half_period,
                "from the zero of the load's steady current until the load current latches the "
                "triac, later half-cycle; mains minimum"),
        Measure("turn_on_angle", "°", "phase angle of firing", "max", 180.0,
                "the delay as an angle"),
        Measure("half_cycles_missed", "1", "half-cycles not conducted", "max", 1.0,
                "of the two of a cycle: under half of the charge the load would take straight "
                "from the mains; mains minimum decides"),
        Measure("half_cycle_asymmetry", "A", "direct current in the load", "both", load_a,
                "mean load current over a whole cycle"),
        Measure("half_cycle_asymmetry_share", "1", "direct current as share of the rms", "max",
                1.0, "its magnitude over the rms load current"),
        Measure("latching_margin", "A", "load current over the latching current", "min", peak_a,
                "smallest half-cycle peak (pulsed LED: current at the pulse's end) less I_L at "
                "the ambient; mains minimum"),
        Measure("holding_margin", "A", "load peak over the holding current", "min", peak_a,
                "smallest half-cycle peak less I_H at the ambient; mains minimum"),
    )  # fmt: skip


def _stress_measures() -> tuple[Measure, ...]:
    return (
        Measure("opto_peak_current", "A", "peak current of the opto", "max", 1.0,
                "at the mains maximum; a random-phase opto switched on at the crest"),
        Measure("opto_dissipation", "W", "power in the opto's output", "max", 0.3,
                "mean over a cycle; it carries the load where the triac does not latch"),
        Measure("gate_resistor_power", "W", "power in the gate resistor", "max", 0.25,
                "mean over a cycle in normal work; mains maximum"),
        Measure("gate_resistor_fault_power", "W", "power in the gate resistor, triac not firing",
                "max", 1.0, "with the triac failing to fire or its main terminal open, at the "
                "mains maximum; no limit unless the design sets one"),
    )  # fmt: skip
