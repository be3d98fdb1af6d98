"""Interruptions of the mains: for how long a cut loses the logic's state without a reset.

The rail holds while the reservoir lasts, falls as the load empties the reservoir, and comes back
within the stated rise time. Where [supply] describes transformer and reservoir, holding and fall
follow from them; else the rail falls at once, over the stated fall time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.axes import spread_axis
from analog.benches.base import Curve, Level, Mark, Measure, Plot, Scene
from analog.benches.reset_interruption_measures import LONG_CUT, RETURN
from analog.benches.reset_space import ResetNetwork
from analog.benches.supply import described, supply_of
from analog.benches.supply_space import QUIESCENT, SupplyNetwork
from analog.circuits.record import Experiment, Param, Pwl, Transient
from analog.circuits.reset_network import ResetParts, reset_network
from analog.circuits.space import Axis, Floats, Space
from analog.design import Design

_REDUCERS = "analog.benches.reset_interruption_measures"

MEASURES = ("missed_reset_window", "shortest_off_time")

DISCHARGES = 5.0
"""How many R·C the run of a long cut waits: e⁻⁵ of the rail is far below any threshold."""


@dataclass(frozen=True, slots=True)
class Interruption:
    """The cuts of one design; `supply` is None where the design does not describe it."""

    network: ResetNetwork
    supply: SupplyNetwork | None

    def space(self) -> Space:
        """Return the reset's axes and what sets the rail's fall and return."""
        spread, more = self.network.supply, list[Axis]()
        if self.supply is None:
            more.append(spread_axis(spread.fall_time, "s"))
        else:
            own = {axis.key for axis in self.network.space(leaking=True).axes}
            wanted = {*self._supply_keys()}
            more += [a for a in self.supply.space().axes if a.key in wanted and a.key not in own]
        return self.network.space(*more, spread_axis(spread.rise_time, "s"), leaking=True)

    def _supply_keys(self) -> tuple[str, ...]:
        if self.supply is None:
            return ()
        return (
            "mains.voltage",
            "supply.transformer_regulation",
            self.supply.reservoir.key,
            self.supply.supply.load_current.key,
        )

    def rows(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the rows of a full cut without a return."""
        network, rows = self.network, self.network.common(values)
        rail, nothing = rows["rail"], np.zeros(np.shape(rows["rail"]))
        held, fall, crest = self._rail(values, rail)
        dropped = 0.0 if self.supply is None else self.supply.dropout_v
        constant = rows["r_reset"] * rows["c_reset"]
        stop = held + fall + DISCHARGES * constant
        asserting = network.levels.asserting(network.valid_supply_v).low
        return rows | {
            "valid_supply": nothing + network.valid_supply_v,
            "v_assert": nothing + asserting,
            "rail_slope": rail / values[network.supply.rise_time.key],
            "v_crest": crest,
            "v_dropped": nothing + dropped,
            "t_held": held,
            "t_empty": held + fall,
            "t_stop": stop,
            "t_step": stop / 1500.0,
        }

    def _rail(self, values: Mapping[str, Floats], rail: Floats) -> tuple[Floats, Floats, Floats]:
        """Return for how long the rail holds, then takes to fall to 0 (s), and the crest (V)."""
        shortest = 1e-6 + 0 * rail
        if self.supply is None:
            return shortest, values[self.network.supply.fall_time.key], rail
        rows = self.supply.rows(self._whole(values))
        drawn = np.maximum(rows["i_load"] + rows["i_quiescent"], 1e-5)
        raw = self.supply.crest_v(rows)
        slope = drawn / rows["c_reservoir"]
        spare = raw - rail - self.supply.dropout_v
        if not self.supply.columns:
            return shortest, rail / slope, raw
        return np.maximum(spare / slope, shortest), rail / slope, raw

    def _whole(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the values of all the supply's axes: those not searched stay nominal."""
        supply = self.supply
        if supply is None:
            return dict(values)
        space, count = supply.space(), len(next(iter(values.values())))
        nominal = space.decode(np.zeros((count, len(space.axes))))
        known = {key: value for key, value in values.items() if key in nominal}
        whole = nominal | known
        if QUIESCENT in whole:
            whole[QUIESCENT] = nominal[QUIESCENT]
        return whole


def interruption_of(network: ResetNetwork, design: Design) -> Interruption:
    """Return the cuts that a design's reset must take."""
    return Interruption(network, supply_of(design) if described(design) else None)


def interruption_scene(interruption: Interruption, parts: ResetParts) -> Scene:
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
        interruption.space(),
        interruption.rows,
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


def return_experiment(parts: ResetParts) -> Experiment:
    """Return one cut with its return, for the map.

    On top of the rows of the scene: ``v_floor`` (V, where the rail stays), ``t_floor``,
    ``t_back`` and ``t_up`` (s, when it arrives there, leaves it, and is whole again), ``v_back``
    (V, the rail when the mains comes back).
    """
    rail = Pwl(
        (
            (0.0, Param("rail")),
            (Param("t_held"), Param("rail")),
            (Param("t_floor"), Param("v_floor")),
            (Param("t_back"), Param("v_back")),
            (Param("t_up"), Param("rail")),
        )
    )
    return Experiment(
        reset_network("Reset: a cut and its end", parts, rail),
        Transient(Param("t_stop"), Param("t_step"), reltol=1e-4, trtol=7.0),
        ("v(vdd)", "v(pin)"),
        f"{_REDUCERS}:cut_and_return",
        RETURN,
    )


def return_row(row: Mapping[str, float], length_s: float, floor_v: float) -> dict[str, float]:
    """Return the row of a cut of `length_s` in which the rail falls no lower than `floor_v`."""
    fall, gap = row["t_empty"] - row["t_held"], 1e-6
    reached = row["rail"] * (1 - (length_s - row["t_held"]) / fall)
    back = min(max(reached, floor_v), row["rail"])
    t_floor = row["t_held"] + max(fall * (1 - back / row["rail"]), gap)
    t_back = max(length_s, t_floor + gap)
    up = t_back + max((row["rail"] - back) / row["rail_slope"], gap)
    stop = up + 0.05 * (up - t_back) + gap
    return {
        **row,
        "v_floor": back,
        "v_back": back,
        "t_floor": t_floor,
        "t_back": t_back,
        "t_up": up,
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
