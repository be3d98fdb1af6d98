"""Interruptions of the mains: for how long a cut loses the logic's state without a reset.

The rail holds while the reservoir lasts, falls as the load empties the reservoir, and comes back
as it does when the mains comes on. Where [supply] describes transformer and reservoir, all of
that follows from them; else the rail falls at once, over the stated fall time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.base import Curve, Level, Mark, Measure, Plot, Scene
from analog.benches.reset_interruption_measures import LONG_CUT, RETURN
from analog.benches.reset_rail import GAP_S, Rail, rise_rows, rise_stimulus
from analog.benches.reset_space import ResetNetwork
from analog.circuits.record import Experiment, Param, Pwl, Transient
from analog.circuits.reset_network import ResetParts, reset_network
from analog.circuits.space import Floats

_REDUCERS = "analog.benches.reset_interruption_measures"

MEASURES = ("missed_reset_window", "shortest_off_time")

DISCHARGES = 5.0
"""How many R·C the run of a long cut waits: e⁻⁵ of the rail is far below any threshold."""

LATEST_DEG = 0.0
"""Phase at which the mains comes back: at its zero, so that the rail is latest."""


@dataclass(frozen=True, slots=True)
class CutRows:
    """Rows of a full cut without a return."""

    network: ResetNetwork

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        network, rows = self.network, self.network.common(values)
        rail, nothing = rows["rail"], np.zeros(np.shape(rows["rail"]))
        fall = network.runs_on.fall(values, rail)
        rise = network.runs_on.rise(values, rail, nothing, LATEST_DEG)
        valid = nothing + network.valid_supply_v
        constant = rows["r_reset"] * rows["c_reset"]
        stop = fall.held + fall.length + DISCHARGES * constant
        asserting = network.levels.asserting(network.valid_supply_v).low
        return rows | {
            "valid_supply": valid,
            "v_assert": nothing + asserting,
            "rail_slope": valid / rise.last_passing(valid),
            "v_crest": fall.crest,
            "v_dropped": fall.dropped,
            "t_held": fall.held,
            "t_empty": fall.held + fall.length,
            "t_stop": stop,
            "t_step": stop / 1500.0,
        }


def interruption_scene(network: ResetNetwork, parts: ResetParts) -> Scene:
    """Return the scene that measures every length of a full cut."""
    rail = Pwl(((0.0, Param("rail")), (Param("t_held"), Param("rail")), (Param("t_empty"), 0.0)))
    experiment = Experiment(
        reset_network("Reset: the mains is cut", parts, rail),
        Transient(Param("t_stop"), Param("t_step"), reltol=1e-4, trtol=7.0),
        ("v(vdd)", "v(pin)", *(("v(rc)",) if parts.pin_resistor else ())),
        f"{_REDUCERS}:long_cut",
        LONG_CUT,
    )
    return Scene(
        "interruption",
        "The mains is cut",
        experiment,
        network.space(*network.runs_on.cut_axes(), leaking=True),
        CutRows(network),
        MEASURES,
        (
            Plot(
                "Rail and reset pin while the mains is cut",
                "missed_reset_window",
                (Curve("v(vdd)", "rail", "V"), Curve("v(pin)", "reset pin", "V")),
                (
                    Level("lowest supply of the logic", "valid_supply", "V"),
                    Level("certainly a reset", "v_assert", "V"),
                ),
                (
                    Mark("state lost", "t_lost", "v(vdd)"),
                    Mark("reset certain", "t_sure", "v(pin)"),
                ),
                ("t_held", "t_sure"),
            ),
        ),
    )


def return_experiment(parts: ResetParts, rail: Rail) -> Experiment:
    """Return one cut with its return, for the map.

    On top of the rows of the scene: ``v_floor`` (V, where the rail stays), ``t_floor`` (s, when
    it arrives there), and the rise of `rise_rows`, which begins when the mains is back.
    """
    cut = (
        (0.0, Param("rail")),
        (Param("t_held"), Param("rail")),
        (Param("t_floor"), Param("v_floor")),
    )
    stimulus = Pwl((*cut, *rise_stimulus(rail).points))
    return Experiment(
        reset_network("Reset: a cut and its end", parts, stimulus),
        Transient(Param("t_stop"), Param("t_step"), reltol=1e-4, trtol=7.0),
        ("v(vdd)", "v(pin)"),
        f"{_REDUCERS}:cut_and_return",
        RETURN,
    )


def return_rows(
    network: ResetNetwork,
    row: Mapping[str, float],
    at: Mapping[str, float],
    length_s: Floats,
    floor: Floats,
) -> dict[str, Floats]:
    """Return the rows of cuts of `length_s` in which the rail falls no lower than `floor` (V).

    `row` and `at` are the row and the values of one case of the scene.
    """
    full, fall = np.full(len(length_s), row["rail"]), row["t_empty"] - row["t_held"]
    reached = row["rail"] * (1 - (length_s - row["t_held"]) / fall)
    back = np.minimum(np.maximum(reached, floor), row["rail"] * (1 - 1e-9))
    t_floor = row["t_held"] + np.maximum(fall * (1 - back / row["rail"]), GAP_S)
    t_back = np.maximum(length_s, t_floor + GAP_S)
    values = {key: np.full(len(length_s), value) for key, value in at.items()}
    rise = network.runs_on.rise(values, full, back, LATEST_DEG)
    rise = replace(rise, level=np.column_stack((back, rise.level[:, 1:])))
    rise = rise.with_point_at(np.full(len(length_s), row["valid_supply"]))
    up = rise.time[:, -1]
    stop = t_back + 1.05 * up + GAP_S
    return {
        **{name: np.full(len(length_s), value) for name, value in row.items()},
        **rise_rows(rise, t_back),
        "v_floor": back,
        "t_floor": t_floor,
        "t_stop": stop,
        "t_step": stop / 600.0,
    }


def floor_v(row: Mapping[str, float], residual_share: float) -> float:
    """Return where the rail stays (V) in a long dip that leaves `residual_share` of the mains.

    The crest of the settled reservoir falls in proportion, less what the regulator drops.
    """
    left = residual_share * row["v_crest"] - row["v_dropped"]
    return float(min(max(left, 0.0), row["rail"] * (1 - 1e-6)))


def interruption_measures(network: ResetNetwork) -> tuple[Measure, ...]:
    """Return the measures in words; their scale is R·C."""
    scale = network.reset.resistor.nominal * network.reset.capacitor.nominal
    window = Measure(
        "missed_reset_window",
        "s",
        "lengths of a cut that lose the state without a reset",
        "max",
        scale,
        "of cuts of the whole mains: from the rail falling below the lowest supply of the "
        "logic to the length from which on the pin is certainly low when the rail is back",
    )
    shortest = replace(
        window,
        identifier="shortest_off_time",
        title="length from which on every cut resets",
        definition="of cuts of the whole mains, the rail's holding included",
    )
    return window, shortest
