"""The supply: headroom, ripple, hold-up and stress of transformer, reservoir and regulator.

It runs for designs whose [supply] describes a transformer and a reservoir, with [mains]. Function
is worst at low mains and full load, stress at high mains with none; all lie in one space.
"""

from __future__ import annotations

from dataclasses import replace

from analog.benches.base import Bench, Curve, Level, Mark, Plan, Plot, Scene
from analog.benches.supply_limits import limits, measures, notes
from analog.benches.supply_measures import SETTLED
from analog.benches.supply_space import PHASE, SupplyNetwork
from analog.cards import find_card
from analog.circuits.record import Circuit, Experiment, Param, Pwl, Transient
from analog.circuits.space import RangeAxis
from analog.circuits.supply_network import SupplyParts, supply_network
from analog.design import Design

_REDUCERS = "analog.benches.supply_measures"


def described(design: Design) -> bool:
    """Tell whether a design says enough of its supply: mains, transformer and reservoir."""
    supply = design.supply
    needed = (design.mains, supply.transformer_voltage, supply.transformer_rating, supply.reservoir)
    return all(part is not None for part in needed)


def supply_of(design: Design) -> SupplyNetwork:
    """Return the supply of a design; ValueError unless it is `described`."""
    supply, mains = design.supply, design.mains
    voltage, rating, reservoir = (
        supply.transformer_voltage,
        supply.transformer_rating,
        supply.reservoir,
    )
    if mains is None or voltage is None or rating is None or reservoir is None:
        raise ValueError("the supply bench needs mains, transformer and reservoir")
    # The charge stored in a mains rectifier moves nothing here and costs three times the time.
    spice = find_card(supply.rectifier_diode).columns[0].spice
    diode = tuple((name, value) for name, value in spice.items() if name != "TT")
    columns = () if supply.regulator is None else find_card(supply.regulator).columns
    parts = SupplyParts(
        supply.rectifier,
        diode,
        bool(columns),
        "electrolytic" in reservoir.technology,
        supply.regulator or "",
    )
    return SupplyNetwork(design, mains, reservoir, voltage, rating, parts, columns)


def plan(design: Design) -> Plan:
    """Return the supply bench of `design`; ValueError unless its supply is `described`."""
    network = supply_of(design)
    shown = measures(network)
    known = frozenset(measure.identifier for measure in shown)
    scenes = (_settled(network), _idle(network), _hold_up(network), _power_up(network))
    kept = tuple(
        replace(scene, measures=tuple(name for name in scene.measures if name in known))
        for scene in scenes
    )
    return Plan("supply", "Supply", shown, kept, limits(network), notes(network))


SUPPLY = Bench("supply", "Supply", "supply", plan, described)


def _saves(network: SupplyNetwork, *more: str) -> tuple[str, ...]:
    rails = ("v(raw)", "v(vdd)") if network.parts.regulated else ("v(raw)",)
    return (*rails, *more)


def _curves(network: SupplyNetwork) -> tuple[Curve, ...]:
    rail = (Curve("v(vdd)", "rail", "V"),) if network.parts.regulated else ()
    return (Curve("v(raw)", "reservoir", "V"), *rail)


def _experiment(
    network: SupplyNetwork,
    circuit: Circuit,
    reducer: str,
    outputs: tuple[str, ...],
    *currents: str,
) -> Experiment:
    return Experiment(
        circuit,
        Transient(
            Param("t_stop"),
            Param("t_step"),
            reltol=1e-4,
            trtol=3.0,  # nothing here snaps
            initial=(("store", Param("raw_start")),),
        ),
        _saves(network, *currents),
        f"{_REDUCERS}:{reducer}",
        outputs,
    )


def _settled(network: SupplyNetwork) -> Scene:
    circuit = supply_network("Supply: settled", network.parts)
    levels = (Level("what the regulator needs", "v_needed", "V"),) if network.columns else ()
    return Scene(
        "settled",
        "A settled mains cycle under load",
        _experiment(network, circuit, "settled", SETTLED, "i(vcap)", "i(vwind)"),
        network.space(),
        network.settled,
        SETTLED[:-1],
        (
            Plot(
                "Reservoir and rail under load",
                "regulator_headroom" if network.columns else "rail_minimum",
                _curves(network),
                levels,
                window=("t_start", "t_end"),
            ),
        ),
    )


def _idle(network: SupplyNetwork) -> Scene:
    outputs = ("regulator_input_maximum", "reservoir_voltage", "rail_maximum")
    circuit = supply_network("Supply: no load", network.parts)
    return Scene(
        "idle",
        "No load",
        _experiment(network, circuit, "idle", outputs),
        network.space(loaded=False),
        network.settled,
        outputs,
    )


def _hold_up(network: SupplyNetwork) -> Scene:
    gone = Pwl(((0.0, 1.0), (Param("t_gone"), 1.0), (Param("t_quiet"), 0.0)))
    circuit = supply_network("Supply: the mains fails", network.parts, gone)
    return Scene(
        "hold-up",
        "The mains fails",
        _experiment(network, circuit, "hold_up", ("hold_up_time", "t_cut", "t_lost")),
        network.space(),
        network.hold_up,
        ("hold_up_time",),
        (
            Plot(
                "Reservoir and rail when the mains fails",
                "hold_up_time",
                _curves(network),
                (Level("end of the stated rail", "v_hold", "V"),),
                (
                    Mark("next charge missed", "t_cut", "v(raw)"),
                    Mark("rail lost", "t_lost", _curves(network)[-1].trace),
                ),
            ),
        ),
    )


def _power_up(network: SupplyNetwork) -> Scene:
    circuit = supply_network("Supply: the mains comes on", network.parts)
    return Scene(
        "power-up",
        "The mains comes on",
        _experiment(network, circuit, "power_up", ("rail_ramp_time",)),
        network.space(RangeAxis(PHASE, "°", 0.0, 90.0, 180.0)),
        network.power_up,
        ("rail_ramp_time",),
        (
            Plot(
                "Reservoir and rail when the mains comes on",
                "rail_ramp_time",
                _curves(network),
                (Level("stated rail", "v_full", "V"),),
                (Mark("rail up", "rail_ramp_time", _curves(network)[-1].trace),),
            ),
        ),
    )
