"""What the line-sense and the conditioner bench share: winding, filter, their guaranteed values.

Rows of parameters are those of `analog.circuits.line_filter`; on top come ``ambient_c``, the
start values ``raw_start`` and ``pin_start`` (V), and the times ``t_step``, ``t_start`` (the crest
after which edges are measured), ``t_quarter`` (a quarter of a cycle later) to ``t_end`` (the
cycle that is averaged), ``t_record``, ``t_stop``.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.axes import AMBIENT, ambient_axis, part_axis, spread_axis
from analog.benches.line_coupler import Coupler, coupler_of
from analog.benches.line_devices import ZenerClamp, zener_clamp
from analog.benches.own_filter import OwnFilter, from_rest, own_filter
from analog.cards import find_card, transformer_for
from analog.circuits.record import Transient
from analog.circuits.rectifier import Charging, reservoir_at_crest
from analog.circuits.sense_fronts import Front, front
from analog.circuits.sense_parts import Feed, FilterParts, SpiceArguments
from analog.circuits.space import Axis, Floats, PartAxis, RangeAxis
from analog.design import Design, LineSense, Mains, PartValue

MAINS_V = "mains.voltage"
MAINS_HZ = "mains.frequency"
RESERVOIR = "supply.reservoir"

_FILTER = (
    ("r_series", "series_resistor"),
    ("c_filter", "capacitor"),
    ("r_bleed", "bleed_resistor"),
    ("r_second", "second_resistor"),
    ("c_second", "second_capacitor"),
    ("r_pull", "pull_up_resistor"),
)
"""Parameters of a row and the keys of their parts."""

STEPS_PER_CYCLE = 130
"""Longest step, as a share of the cycle. The tolerances shorten it where the trace bends."""

QUICK_FILTER_CYCLES = 1 / 14
SETTLING_TIME_CONSTANTS = 10.0
FLOATING_LEG_CYCLES = 5
MOST_CYCLES = 40

DIODE_V = 0.7
USUAL_RESERVOIR_F = 470e-6
STATED_REGULATION_SHARE = 0.1
"""A regulation that the design states is taken to be right within this share (common practice,
no source: copper and winding spread)."""


@dataclass(frozen=True, slots=True)
class Winding:
    """The sensed winding: rated voltage (V rms), rating (VA), regulation low, typical, high."""

    voltage_v: float
    rating_va: float
    regulation: tuple[float, float, float]
    key: str

    @property
    def rated_ohm(self) -> float:
        """Return the rated load resistance; the winding's own is that times the regulation."""
        return self.voltage_v**2 / self.rating_va


@dataclass(frozen=True, slots=True)
class LineNetwork:
    """Winding, supply and filter of one design, with `mains` and `line_sense` present."""

    design: Design
    mains: Mains
    sense: LineSense
    winding: Winding
    parts: FilterParts
    zener: ZenerClamp | None = None
    coupler: Coupler | None = None
    own: OwnFilter | None = None

    @property
    def front(self) -> Front:
        """Return the topology's front."""
        return front(self.parts)

    def fitted(self) -> dict[str, PartValue]:
        """Return the filter's resistors and capacitors that the design has, by parameter."""
        found = ((name, getattr(self.sense, key)) for name, key in _FILTER)
        return {name: part for name, part in found if part is not None}

    def axes(self, detailed: bool = True) -> list[Axis]:
        """Return ambient, mains, winding, rail, supply and filter, in this order.

        Without `detailed` the reservoir stays at its nominal, a Zener diode too, and of an
        optocoupler all but its transfer ratio: they move the crest, hardly the times at which
        thresholds are passed.
        """
        design, mains = self.design, self.mains
        tolerance = mains.frequency_tolerance
        axes: list[Axis] = [
            ambient_axis(design.environment),
            RangeAxis(MAINS_V, "V", mains.voltage_minimum, mains.voltage, mains.voltage_maximum),
            RangeAxis(
                MAINS_HZ,
                "Hz",
                mains.frequency * (1 - tolerance),
                mains.frequency,
                mains.frequency * (1 + tolerance),
            ),
            RangeAxis(self.winding.key, "1", *self.winding.regulation),
            spread_axis(design.supply.rail, "V"),
        ]
        if self.parts.supply != "none":
            axes.append(spread_axis(design.supply.load_current, "A"))
            if detailed and design.supply.reservoir is not None:
                axes.append(part_axis(design.supply.reservoir))
        axes += [self._part_axis(name, part) for name, part in self.fitted().items()]
        for device in (self.zener, self.coupler):
            axes += () if device is None else device.axes(detailed)
        axes += () if self.own is None else self.own.axes()
        return axes

    def _part_axis(self, name: str, part: PartValue) -> PartAxis:
        """Return a part's values; a filter capacitor bears up to the rail as direct voltage."""
        return part_axis(part, self.design.supply.rail.high if name.startswith("c_") else 0.0)

    def started(self, analysis: Transient) -> Transient:
        """Return an analysis of the mains with the start that this filter can be given."""
        stage = self.design.conditioner
        if self.own is None and (stage is None or stage.own is None):
            return analysis
        known = self.own is None
        return from_rest(analysis, known, known and self.parts.second_stage, self.parts.supply)

    @property
    def settling_cycles(self) -> int:
        """Return the whole cycles before the measured one: ten filter time constants.

        None when the filter forgets its estimated state at the crest before the falling edge. A
        leg without a bleed hangs on the reservoir's exact voltage and waits for it, an
        optocoupler's transistor takes a cycle to find its charge.
        """
        if self.own is not None:
            return self.own.cycles
        longest = self._longest_s() * self.mains.frequency
        floating = self.parts.topology == "bridge-leg" and not self.parts.bleed
        if longest <= QUICK_FILTER_CYCLES and not floating:
            return 0 if self.coupler is None else 1
        wanted = math.ceil(SETTLING_TIME_CONSTANTS * longest)
        return min(max(wanted, FLOATING_LEG_CYCLES if floating else 1), MOST_CYCLES)

    def _longest_s(self) -> float:
        """Return the sum of the filter's time constants (s), every part at its largest.

        With isolating diodes the first capacitor discharges by way of the bleed, behind an
        optocoupler it charges by way of the pull-up.
        """
        top = {
            name: part.nominal * (1 + part.tolerance_high) for name, part in self.fitted().items()
        }
        first = top["r_series"] + (top.get("r_bleed", 0.0) if self.front.ends else 0.0)
        first = top.get("r_pull", first)
        second = top.get("c_second", 0.0)
        return first * (top["c_filter"] + second) + top.get("r_second", 0.0) * second

    def rows(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the network's parameters and times for {axis key: values, shape (n,)}."""
        mains_hz = values[MAINS_HZ]
        rows = {
            "ambient_c": values[AMBIENT],
            "f_mains": mains_hz,
            **self._source(values),
            "v_rail": values[self.design.supply.rail.key],
            **{name: values[part.key] for name, part in self.fitted().items()},
        }
        if self.parts.supply != "none":
            rows |= self._supply(values, rows)
        for device in (self.zener, self.coupler, self.own):
            rows |= {} if device is None else device.rows(values)
        share = np.full(np.shape(mains_hz), self.front.zero_share(self.sense.polarity))
        edges = np.full(np.shape(mains_hz), float(self.front.edges))
        rows |= {"zero_share": share, "edges": edges}
        return rows | self._starts(rows) | self._times(mains_hz)

    def _source(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return open-circuit peak and resistance of the winding.

        Rated voltage is that at the rated load and nominal mains, regulation (no-load less
        full-load over full-load): V_oc = V·(1 + reg), R = V²/S·reg.
        """
        regulation = values[self.winding.key]
        share = values[MAINS_V] / self.mains.voltage
        return {
            "v_peak": math.sqrt(2) * self.winding.voltage_v * (1 + regulation) * share,
            "r_source": self.winding.rated_ohm * regulation,
        }

    def _supply(
        self, values: Mapping[str, Floats], rows: Mapping[str, Floats]
    ) -> dict[str, Floats]:
        spice = dict(self.parts.rectifier)
        load = values[self.design.supply.load_current.key]
        nominal = self.design.supply.reservoir
        usual = USUAL_RESERVOIR_F if nominal is None else nominal.nominal
        reservoir = values.get(RESERVOIR, np.full(np.shape(load), usual))
        charging = Charging(
            rows["v_peak"],
            rows["r_source"],
            reservoir,
            load,
            rows["f_mains"],
            diodes=2 if self.parts.supply == "bridge" else 1,
            pulses=1 if self.parts.supply == "half-wave" else 2,
            saturation_a=spice["IS"],
            emission=spice.get("N", 1.0),
            ambient_c=values[AMBIENT],
            r_bleed=rows.get("r_bleed", np.full(np.shape(load), np.inf)),
        )
        start = reservoir_at_crest(charging)
        return {"i_load": load, "c_reservoir": reservoir, "raw_start": start}

    def _starts(self, rows: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return about where the capacitors stand at the crest (V): the filtered sine, clamped.

        The real part of a filter's gain is what it shows of a sine at its crest. Of two stages
        the ladder's: 1/(1 + jω(R1·C1 + R1·C3 + R3·C3) − ω²·R1·C1·R3·C3), at the first capacitor
        1 + jω·R3·C3 times that. An optocoupler starts dark, its output at the rail.
        """
        if self.own is not None:
            return {"pin_start": 0 * rows["v_rail"]}  # it starts from the operating point
        if self.coupler is not None:
            return {"pin_start": rows["v_rail"], "joint_start": rows["v_rail"]}
        top = rows["raw_start"] + DIODE_V if self.parts.supply != "none" else rows["v_peak"]
        omega = 2 * math.pi * rows["f_mains"]
        first = omega * rows["r_series"] * rows["c_filter"]
        held = rows["v_rail"] + DIODE_V
        if not self.parts.second_stage:
            return {"pin_start": np.minimum(top / (1 + first**2), held)}
        second = omega * rows["r_second"] * rows["c_second"]
        coupled = omega * rows["r_series"] * rows["c_second"]
        gain = 1 / (1 + 1j * (first + coupled + second) - first * second)
        return {
            "pin_start": np.minimum(top * gain.real, held),
            "joint_start": top * (gain * (1 + 1j * second)).real,
        }

    def _times(self, mains_hz: Floats) -> dict[str, Floats]:
        cycle, settled = 1 / mains_hz, self.settling_cycles
        return {
            "t_step": cycle / STEPS_PER_CYCLE,
            "t_record": cycle * max(settled - 0.02, 0.0),
            "t_start": cycle * settled,
            "t_quarter": cycle * (settled + 0.25),
            "t_end": cycle * (settled + 1.25),
            "t_stop": cycle * (settled + 1.27),
        }


def line_network(design: Design) -> LineNetwork:
    """Return the network of a design; ValueError without its mains or line_sense section."""
    sense = design.line_sense
    if sense is None or design.mains is None:
        raise ValueError("the line-sense network needs the sections mains and line_sense")
    zener = None
    if sense.clamp == "zener" and sense.clamp_zener is not None:
        zener = zener_clamp(sense.clamp_zener)
    coupler = None if sense.optocoupler is None else coupler_of(sense.optocoupler)
    parts = FilterParts(
        topology=_front_name(sense, coupler),
        own=sense.own,
        supply=_shared_supply(design, sense),
        bleed=sense.bleed_resistor is not None,
        rectifier=_rectifier_spice(design.supply.rectifier_diode),
        isolating=() if sense.isolating_diode is None else _rectifier_spice(sense.isolating_diode),
        clamp=sense.clamp,
        clamp_device=_clamp_spice(sense, zener),
        second_stage=sense.second_capacitor is not None,
        coupler=None if coupler is None else coupler.parts(_antiparallel(sense)),
        polarised_reservoir=_is_electrolytic(design.supply.reservoir),
    )
    winding = _winding(design, sense)
    own = own_filter(sense, design.mains.frequency)
    return LineNetwork(design, design.mains, sense, winding, parts, zener, coupler, own)


def _front_name(sense: LineSense, coupler: Coupler | None) -> str:
    """Return the front's name: one of its own has an optocoupler with LEDs both ways, and a
    sub-circuit that takes both ends of the winding."""
    if sense.own is not None and "other" in sense.own.roles:
        return f"{sense.topology}-both"
    both_ways = coupler is not None and coupler.both_ways
    return f"{sense.topology}-ac" if both_ways else sense.topology


def _antiparallel(sense: LineSense) -> SpiceArguments:
    return () if sense.antiparallel_diode is None else _spice(sense.antiparallel_diode)


def saves(parts: FilterParts) -> tuple[str, ...]:
    """Return the traces every run on the mains saves: both ends of the series resistor, the pin.

    With an optocoupler also the far end of its LED, unless that is circuit ground.
    """
    nodes = ["sense", "pin", *([parts.fed] if parts.fed != "pin" else [])]
    if parts.coupler is not None and parts.supply in ("bridge", "none"):
        nodes.append("far")
    return tuple(f"v({node})" for node in nodes)


def _clamp_spice(sense: LineSense, zener: ZenerClamp | None) -> SpiceArguments:
    if zener is not None:
        return zener.junction()
    return _spice(sense.clamp_diode) if sense.clamp == "diodes" else ()


def _shared_supply(design: Design, sense: LineSense) -> Feed:
    """Return how the sensed winding feeds the supply; one of its own feeds nothing."""
    if sense.topology == "bridge-leg":
        return "bridge"
    if sense.winding_voltage is not None:
        return "none"
    return design.supply.rectifier


def _winding(design: Design, sense: LineSense) -> Winding:
    supply = design.supply
    voltage, rating = sense.winding_voltage, sense.winding_rating
    if voltage is not None:
        stated, key = sense.winding_regulation, "line_sense.winding_regulation"
    else:
        voltage, rating = supply.transformer_voltage, supply.transformer_rating
        stated, key = supply.transformer_regulation, "supply.transformer_regulation"
    if voltage is None or rating is None:
        raise ValueError("the sensed winding needs its voltage and its rating")
    if stated is not None:
        share = STATED_REGULATION_SHARE
        return Winding(voltage, rating, (stated * (1 - share), stated, stated * (1 + share)), key)
    figure = transformer_for(rating).columns[0].figure("regulation")
    return Winding(voltage, rating, (figure.low, figure.centre, figure.high), key)


def _spice(diode: str) -> SpiceArguments:
    return tuple(find_card(diode).columns[0].spice.items())


def _rectifier_spice(diode: str) -> SpiceArguments:
    """Return the parameters of a mains rectifier without its stored charge.

    The current through it ends near zero at mains frequency; with a transit time of 2 µs the
    thresholds are passed at most 1.2 µs later, at three times the simulation's cost.
    """
    return tuple((name, value) for name, value in _spice(diode) if name != "TT")


def _is_electrolytic(reservoir: PartValue | None) -> bool:
    return reservoir is None or "electrolytic" in reservoir.technology
