"""Interruptions of the mains: for how long a cut loses the logic's state without a reset.

The rail holds while the reservoir lasts, falls as the load empties the reservoir, and comes back
as it does when the mains comes on. Where [supply] describes transformer and reservoir, all of
that follows from them; else the rail falls at once, over the stated fall time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.base import Curve, Mark, Measure, Plot, Scene
from analog.benches.reset_interruption_measures import BROWN_OUT, LONG_CUT, RETURN
from analog.benches.reset_rail import GAP_S, Rail, rise_rows, rise_stimulus
from analog.benches.reset_space import ResetNetwork
from analog.benches.reset_titles import LOWEST_SUPPLY, SURE_RESET
from analog.circuits.record import Experiment, Param, Pwl, Transient
from analog.circuits.reset_network import ResetParts, reset_network
from analog.circuits.space import Floats

_REDUCERS = "analog.benches.reset_interruption_measures"

MEASURES = ("missed_reset_window", "shortest_off_time")

DISCHARGES = 5.0
"""How many R·C the run of a long cut waits: e⁻⁵ of the rail is far below any threshold."""

SAG_S, SAG_SHARE = 1.0, 0.98
"""A slow brown-out: how long it takes at least (s), and where it ends, over the valid supply."""

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
        constant = rows["t_constant"]
        stop = fall.held + fall.length + DISCHARGES * constant
        asserting = network.levels.asserting_v(network.valid_supply_v)
        return rows | {
            "valid_supply": valid,
            "v_assert": nothing + asserting,
            "pin_assert": network.levels.at_pin(valid, nothing + asserting),
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
        ("v(vdd)", "v(pin)", *_charge(parts)),
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
                (LOWEST_SUPPLY, SURE_RESET),
                (
                    Mark("state lost", "t_lost", "v(vdd)"),
                    Mark("reset certain", "t_sure", "v(pin)"),
                ),
                ("t_held", "t_sure"),
            ),
        ),
    )


def _charge(parts: ResetParts) -> tuple[str, ...]:
    """Return the trace of the capacitor's charge where it is not the pin's."""
    if parts.topology == "detector" or parts.charged == "pin":
        return ()
    return (f"v({parts.charged})",)


def brown_out_scene(network: ResetNetwork, parts: ResetParts) -> Scene:
    """Return the scene of a rail that sags slowly to just below the logic's lowest supply."""
    points = ((0.0, "rail"), ("t_sag", "v_floor"), ("t_back", "v_floor"), ("t_whole", "rail"))
    rail = Pwl(tuple((t if isinstance(t, float) else Param(t), Param(v)) for t, v in points))
    experiment = Experiment(
        reset_network("Reset: a slow brown-out", parts, rail),
        Transient(Param("t_stop"), Param("t_step"), reltol=1e-4, trtol=7.0),
        ("v(vdd)", "v(pin)"),
        f"{_REDUCERS}:brown_out",
        BROWN_OUT,
    )
    return Scene(
        "brown-out",
        "The rail sags and comes back slowly",
        experiment,
        network.space(leaking=True),
        SagRows(network),
        BROWN_OUT[:1],
        (
            Plot(
                "Rail and reset pin in a slow brown-out",
                "brown_out_margin",
                (Curve("v(vdd)", "rail", "V"), Curve("v(pin)", "reset pin", "V")),
                (LOWEST_SUPPLY, SURE_RESET),
                (Mark("supply valid again", "t_again", "v(pin)"),),
            ),
        ),
    )


@dataclass(frozen=True, slots=True)
class SagRows:
    """Rows of a rail that sags to `SAG_SHARE` of the valid supply, slowly for any R·C."""

    network: ResetNetwork

    def __call__(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        network, rows = self.network, self.network.common(values)
        valid = np.full(np.shape(rows["rail"]), network.valid_supply_v)
        asserting = 0 * valid + network.levels.asserting_v(network.valid_supply_v)
        sag = np.maximum(SAG_S, 2 * rows["t_constant"])
        return rows | {
            "valid_supply": valid,
            "v_assert": asserting,
            "pin_assert": network.levels.at_pin(valid, asserting),
            "v_floor": SAG_SHARE * valid,
            "t_sag": sag,
            "t_back": 1.5 * sag,
            "t_whole": 2.5 * sag,
            "t_stop": 2.6 * sag,
            "t_step": sag / 200.0,
        }


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
    brown_out = Measure(
        "brown_out_margin",
        "V",
        "pin below a sure reset after a slow brown-out",
        "min",
        network.supply.rail.nominal,
        "the level that certainly asserts, less the pin, both from the asserting rail, when a rail "
        "that sagged slowly to just below the lowest supply of the logic is back there",
    )
    return window, shortest, brown_out
