"""The lowest mains at which every edge still comes, with the rail that such a mains leaves.

Where the supply is described, the rail follows the reservoir's crest down, less what the regulator
drops, and the thresholds follow the rail. Below the lowest supply of the logic nothing is
guaranteed, so rail and thresholds stay there. Without a description the rail stays whole, which
asks most of the sense line. The search goes down from the nominal mains to the first voltage at
which an edge is missing or too many.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from analog.benches.base import Measure, Scene
from analog.benches.edge_counts import COUNTS
from analog.benches.line_network import MAINS_V
from analog.benches.line_receiver import Receiver
from analog.benches.supply import described, supply_of
from analog.benches.supply_space import REGULATION, SupplyNetwork
from analog.benches.threshold_pairs import pair_rows
from analog.cards import Figure, find_card, transformer_for
from analog.circuits.record import Experiment, Param, Transient
from analog.circuits.space import Floats, Space, bend
from analog.design import Design
from analog.verdicts import Limit

MEASURE = "lowest_counting_mains"
CYCLES = 3
DIODE_V = 0.6
"""Of a rectifier diode at next to no current."""

LEAST_SHARE = 0.02
"""Share of the nominal mains below which no mains is tried."""

Derive = Callable[[Mapping[str, Floats]], Mapping[str, Floats]]
Rhythm = tuple[float, float]


@dataclass(frozen=True, slots=True)
class LowestMains:
    """What the search needs: the circuit's experiment, its space and rows, and the rail's way down.

    `logic_v` is the lowest supply of the logic, `nominal_v` the mains (V rms), `winding_key` the
    axis of the winding's regulation; `doubts` say on which unsure figures the limit rests.
    """

    experiment: Experiment
    space: Space
    derive: Derive
    receiver: Receiver
    supply: SupplyNetwork | None
    logic_v: float
    nominal_v: float
    winding_key: str
    doubts: tuple[str, ...] = ()

    def rows(self, wanted: Sequence[tuple[Floats, float, Rhythm]]) -> list[dict[str, float]]:
        """Return a row for each point (axes,), mains (V rms) and rhythm, which is what an
        undisturbed run showed: edges per cycle and the first one's share of the cycle."""
        mains = np.array([one[1] for one in wanted])
        values = self.space.decode(np.stack([one[0] for one in wanted])) | {MAINS_V: mains}
        rail = self._rails([one[0] for one in wanted], values)
        usual = self.receiver.rail
        lowest = usual.model_copy(update={"low": min(usual.low, self.logic_v)})
        table = {**self.derive(values | {usual.key: rail})}
        table |= pair_rows(replace(self.receiver, rail=lowest), rail)
        even = {name: np.broadcast_to(column, mains.shape) for name, column in table.items()}
        return [
            _timed({name: float(column[k]) for name, column in even.items()}, rhythm)
            for k, (_, _, rhythm) in enumerate(wanted)
        ]

    def row(self, point: Floats, mains_v: float, rhythm: Rhythm = (1.0, 0.0)) -> dict[str, float]:
        """Return the same for one point and mains."""
        return self.rows([(point, mains_v, rhythm)])[0]

    def _rails(self, points: Sequence[Floats], values: Mapping[str, Floats]) -> Floats:
        """Return the rail (V) of each row; never below the logic's lowest supply.

        Where the sensed winding feeds the supply, the reservoir stands where the row's own load
        leaves its crest; else it is taken as unloaded.
        """
        whole = np.asarray(values[self.receiver.rail.key], dtype=np.float64)
        if self.supply is None:
            return whole
        known = self.derive(values)
        if "raw_start" in known:
            left = known["raw_start"] - self._regulator_v()
        else:
            pairs = zip(points, values[MAINS_V].tolist(), strict=True)
            left = np.array([self.left_v(point, mains) for point, mains in pairs])
        return np.maximum(np.minimum(whole, left), np.minimum(whole, self.logic_v))

    def left_v(self, point: Floats, mains_v: float) -> float:
        """Return what an unloaded supply leaves of the rail (V) at a mains.

        The winding's crest less diodes and the regulator's usual drop: more than under any load.
        """
        if self.supply is None:
            return math.inf
        return self._crest_share(point) * mains_v - self._dropped_v()

    def _crest_share(self, point: Floats) -> float:
        """Return the winding's open-circuit crest over the mains' effective value."""
        if self.supply is None:
            return math.inf
        place = dict(zip(self.space.keys, point.tolist(), strict=True)).get(REGULATION, 0.0)
        low, usual, high = self.supply.regulation
        regulation = bend(np.array([place]), low, usual, high).item()
        return math.sqrt(2) * self.supply.voltage_v * (1 + regulation) / self.nominal_v

    def _dropped_v(self) -> float:
        """Return the drop (V) of rectifier and regulator at next to no current."""
        diodes = 0 if self.supply is None else self.supply.parts.in_series
        return DIODE_V * diodes + self._regulator_v()

    def _regulator_v(self) -> float:
        """Return the regulator's usual drop (V), 0 without one."""
        drop = None if self.supply is None else _drop(self.supply)
        return 0.0 if drop is None else drop.centre

    def alive_mains_v(self, point: Floats) -> float | None:
        """Return the lowest mains (V rms) at which the rail can be at the logic's lowest supply.

        None without a described supply, or where not even the nominal mains gives that much.
        """
        if self.supply is None or self.left_v(point, self.nominal_v) < self.logic_v:
            return None
        return (self.logic_v + self._dropped_v()) / self._crest_share(point)

    def points(self) -> tuple[Floats, ...]:
        """Return nominal, and the slowest filter at the highest rail with either regulation."""
        ends = {"line_sense.series_resistor": 1.0, "line_sense.capacitor": 1.0}
        ends[self.receiver.rail.key] = 1.0
        corners = [{**ends, self.winding_key: side} for side in (-1.0, 1.0)]
        return tuple(
            np.array([one.get(key, 0.0) for key in self.space.keys]) for one in ({}, *corners)
        )


def _timed(row: dict[str, float], rhythm: Rhythm) -> dict[str, float]:
    """Return a row with the times of its judged cycles and the rhythm expected in them."""
    cycle = 1 / row["f_mains"]
    begin, end = row["t_start"] + cycle, row["t_start"] + (1 + CYCLES) * cycle
    times = {"t_from": begin, "t_to": end, "t_stop": end + 0.35 * cycle}
    return {**row, **times, "wanted": rhythm[0], "phase": rhythm[1]}


def lowest_mains(
    line: Scene, design: Design, receiver: Receiver, winding_key: str, nominal_v: float
) -> LowestMains:
    """Return the search on the circuit of the settled line-sense scene."""
    analysis = Transient(Param("t_stop"), Param("t_step"), reltol=1e-4, trtol=3.0, use_initial=True)
    experiment = Experiment(
        line.experiment.circuit,
        analysis,
        ("v(pin)",),
        "analog.benches.edge_counts:counts",
        COUNTS,
    )
    supply = supply_of(design) if described(design) else None
    logic = _logic(design, receiver)
    return LowestMains(
        experiment,
        line.space,
        line.derive,
        receiver,
        supply,
        design.supply.rail.low if logic is None else logic.low,
        nominal_v,
        winding_key,
        tuple(_doubts(logic, supply)),
    )


def _logic(design: Design, receiver: Receiver) -> Figure | None:
    """Return the lowest supply at which any maker's counter or receiver works."""
    columns = list(receiver.columns)
    if design.clocked is not None:
        columns += find_card(design.clocked.part).chosen(design.clocked.maker)
    known = [c.figure("supply_minimum") for c in columns if c.has("supply_minimum")]
    return min(known, key=lambda figure: figure.low, default=None)


def _drop(supply: SupplyNetwork) -> Figure | None:
    """Return the smallest usual drop of the regulator; None without one."""
    drops = [column.figure("V_dropout") for column in supply.columns if column.has("V_dropout")]
    return min(drops, key=lambda figure: figure.centre, default=None)


def _doubts(logic: Figure | None, supply: SupplyNetwork | None) -> Iterator[str]:
    """Yield what is unsure about the figures that the limit rests on."""
    if logic is not None and logic.note("low"):
        yield f"lowest supply: {logic.note('low')}"
    if supply is None:
        return
    drop = _drop(supply)
    if drop is not None and drop.note("high"):
        yield f"regulator's drop: {drop.note('high')}"
    if supply.supply.transformer_regulation is None:
        regulation = transformer_for(supply.rating_va).columns[0].figure("regulation")
        if regulation.note("high"):
            yield f"winding's regulation: {regulation.note('high')}"


def lowest_measure(search: LowestMains) -> Measure:
    """Return the measure; its scale is the nominal mains."""
    return Measure(
        MEASURE,
        "V",
        "lowest mains that still counts",
        "max",
        search.nominal_v,
        "mains below which, coming down from nominal, an edge is missing or too many; effective "
        "value",
    )


def lowest_limits(search: LowestMains) -> dict[str, tuple[Limit, ...]]:
    """Return the limit: the lowest mains at which the logic can still be alive."""
    alive = [search.alive_mains_v(point) for point in search.points()]
    known = [value for value in alive if value is not None]
    if not known:
        return {}
    why = "lowest mains at which the unloaded supply gives the logic its lowest voltage"
    note = "; ".join((f"at {search.logic_v:g} V of rail, where that is lowest", *search.doubts))
    return {MEASURE: (Limit("logic_alive", None, min(known), why, note),)}
