"""Filter, Schmitt part and load on the mains: the clock as the counter sees it.

The part's thresholds are data, so they are read off the pin's trace instead of being simulated:
the nanoseconds of a regenerative stage cost ten times the milliseconds of its filter. What the
stage adds, its delay to so slow an input, is a closed form (`switching_delay_s`). The circuit
with the whole part is `simulated_chain`; tests hold both against each other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.base import Curve, Level, Mark, Plot, Scene
from analog.benches.conditioner_measures import CHAIN_OUTPUTS, SIMULATED_OUTPUTS
from analog.benches.conditioner_stage import Stage
from analog.benches.conditioner_started import started
from analog.benches.line_network import LineNetwork
from analog.circuits.line_filter import (
    PROTECTION,
    filter_picture,
    line_filter,
    receiver_x,
    schmitt_pin,
)
from analog.circuits.record import Circuit, Experiment, Param, Transient
from analog.circuits.schmitt_stage import pictured_stage, schmitt_stage, state_constant_s
from analog.circuits.sense_fronts import front_libraries
from analog.circuits.space import Floats, Space

SMALL_SHARE = 1e-3
"""An input capacitance that varies by less than this share of the filter's is held at its
largest."""

_REDUCERS = "analog.benches.conditioner_measures"


@dataclass(frozen=True, slots=True)
class ChainRows:
    """Rows of parameters of filter, stage and load on the mains."""

    network: LineNetwork
    stage: Stage

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        rows = self.network.rows(values)
        rail = rows["v_rail"]
        lines = self.stage.thresholds
        capacitance = self.stage.receiver.capacitance_axis()
        rows |= {
            **self.stage.rows(values, rows["ambient_c"]),
            "c_in": values.get(capacitance.key, np.full(np.shape(rail), capacitance.high)),
            "p_max": lines.v_p.at(rail)[2],
            "n_min": lines.v_n.at(rail)[0],
            "h_min": lines.v_h.at(rail)[0],
        }
        return rows | {"t_state": state_constant_s(rows)}


def chain_scene(network: LineNetwork, stage: Stage) -> Scene:
    """Return the scene of one maker's part."""
    capacitance = stage.receiver.capacitance_axis()
    axes = [*network.axes(detailed=False), *stage.threshold_axes()]
    filter_f = network.sense.capacitor
    least = 0.0 if filter_f is None else SMALL_SHARE * filter_f.nominal
    if capacitance.high - capacitance.low > least:
        axes.append(capacitance)
    return Scene(
        f"chain-{stage.column.maker.lower()}",
        f"Filter, part and load on the mains ({stage.column.maker})",
        _by_data(network, stage),
        Space(tuple(axes)),
        ChainRows(network, stage),
        CHAIN_OUTPUTS[:3],
        _plots(),
    )


def simulated_chain(network: LineNetwork, stage: Stage) -> Experiment:
    """Return the same experiment with the part's whole model, for the same rows."""
    elements, models = line_filter(network.parts)
    card = stage.receiver.card
    x = receiver_x(network.parts)
    clocked, shape = stage.clocked.identifier, stage.receiver.shape
    behind = schmitt_stage(card.library, card.identifier, clocked, x, shape)
    libraries = (card.library, *front_libraries(network.parts))
    circuit = Circuit("Conditioner on the mains", (*elements, *behind), models, libraries)
    return started(circuit, network, f"{_REDUCERS}:simulated_chain", SIMULATED_OUTPUTS)


def _by_data(network: LineNetwork, stage: Stage) -> Experiment:
    elements, models = line_filter(network.parts)
    card, x = stage.receiver.card, receiver_x(network.parts)
    pin = schmitt_pin(card.family, card.identifier, x)
    analysis = Transient(
        Param("t_stop"),
        Param("t_step"),
        Param("t_record"),
        reltol=1e-5,
        trtol=3.0,
        use_initial=True,
    )
    clocked, shape = stage.clocked.identifier, stage.receiver.shape
    drawn = pictured_stage(card.library, card.identifier, clocked, x + 8, shape)
    return Experiment(
        Circuit(
            "Conditioner on the mains",
            (*elements, *pin),
            (*models, PROTECTION),
            front_libraries(network.parts),
            (*filter_picture(network.parts), *drawn),
        ),
        network.started(analysis),
        ("v(pin)",),
        f"{_REDUCERS}:chain",
        CHAIN_OUTPUTS,
        (
            ("t_pin_fall", "tran when v(pin)={v_n} td={t_start} fall=1"),
            ("t_pin_rise", "tran when v(pin)={v_p} td={t_quarter} rise=1"),
        ),
        shown=f"{_REDUCERS}:with_clock",
    )


def _plots() -> tuple[Plot, ...]:
    return (
        Plot(
            "Receiver pin and conditioned clock",
            "duty_cycle",
            (Curve("v(pin)", "receiver pin", "V"), Curve("v(out)", "clock", "V")),
            (Level("V_P", "v_p", "V"), Level("V_N", "v_n", "V")),
            (Mark("rises", "t_out_rise", "v(out)"), Mark("falls", "t_out_fall", "v(out)")),
        ),
    )
