"""What the measures of the reset bench are judged against, and what the report must add."""

from __future__ import annotations

from dataclasses import dataclass

from analog.benches.reset_space import USUAL_LEAKAGE_SHARE, ResetNetwork
from analog.cards import Column, Figure, find_card
from analog.circuits.reset_network import CONTACT_OHM
from analog.design import Design
from analog.verdicts import Limit

Limits = dict[str, tuple[Limit, ...]]


@dataclass(frozen=True, slots=True)
class Driven:
    """The logic that the reset clears: every maker's column that may be fitted."""

    name: str
    columns: tuple[Column, ...]

    @property
    def supply_minimum(self) -> Figure:
        """Return the figure of the rail (V) from which on every column works."""
        figures = [column.figure("supply_minimum") for column in self.columns]
        return max(figures, key=lambda figure: figure.low)

    @property
    def supply_minimum_v(self) -> float:
        """Return the rail (V) from which on every column works."""
        return self.supply_minimum.low

    def shortest_pulse(self, rail_v: tuple[float, ...]) -> Figure | None:
        """Return the longest of the shortest reset pulses over makers and rails, if known."""
        figures = [
            column.figure("reset_pulse_min", vdd=vdd)
            for column in self.columns
            if column.has("reset_pulse_min")
            for vdd in rail_v
        ]
        return max(figures, key=lambda figure: figure.high, default=None)


def driven_part(design: Design) -> Driven:
    """Return the part named by the reset, else the clocked part, else the receiver itself."""
    reset, clocked = design.reset, design.clocked
    if reset is None:
        raise ValueError("the reset bench needs the section reset")
    if reset.driven is not None:
        name, maker = reset.driven, None
    elif clocked is not None:
        name, maker = clocked.part, clocked.maker
    else:
        name, maker = reset.receiver, reset.maker
    return Driven(name, find_card(name).chosen(maker))


def limits(network: ResetNetwork, driven: Driven) -> Limits:
    """Return the limits by measure; a measure without one is stated and not judged."""
    found: Limits = {
        "input_at_valid_supply": (_asserted(network, driven),),
        "release_level_margin": (_released(network),),
        "pin_discharge_current": _pin_limits(network),
    }
    rail = network.supply.rail
    pulse = driven.shortest_pulse((rail.low, rail.nominal, rail.high))
    if network.reset.latch:
        found["hold_time"] = (_latch_set(network),)
    elif pulse is not None:
        source = f"shortest reset pulse of the {driven.name}: {pulse.source}"
        limit = Limit("reset_pulse", pulse.high, None, source, pulse.note("high"))
        found["hold_time"] = (limit,)
    if network.reset.discharge_diode is not None:
        found["discharge_current"] = _diode_limits(network.reset.discharge_diode)
    if network.reset.topology in HOLDING:
        found |= {"missed_reset_window": (_NO_CUT,), "brown_out_margin": (_NO_SAG,)}
    return found


def _latch_set(network: ResetNetwork) -> Limit:
    """Return the shortest pulse that sets a latch of two gates: once around it."""
    rail, columns = network.supply.rail, network.levels.columns
    pairs = [
        [column.figure(name, vdd=vdd) for name in ("t_plh", "t_phl")]
        for column in columns
        for vdd in (rail.low, rail.nominal)
    ]
    longest = max(pairs, key=lambda pair: sum(figure.high for figure in pair))
    source = f"once around a latch of two {network.reset.receiver}: {longest[0].source}"
    return Limit("latch_set", sum(f.high for f in longest), None, source, longest[0].note("high"))


HOLDING = ("gated", "detector")
"""Topologies that assert as long as the rail is low, whatever it did before."""

_CAUTION = (
    "A cut of the mains that is shorter than the capacitor's discharge can leave the logic in "
    "a wrong state without a reset. Any plain RC has such cuts; how long they last is stated "
    "and judged only against a limit of the design's own. A brown-out that leaves the rail "
    "just below the logic's lowest supply is missed at any length."
)
_HELD = (
    "The reset is asserted as long as the rail is low, so that no cut and no brown-out may be "
    "missed: the limit is zero."
)
_WORDS = "a supply-gated reset asserts at every rail below the lowest supply of the logic"
_NO_CUT = Limit("supply_gated", None, 0.0, _WORDS)
_NO_SAG = Limit("supply_gated", 0.0, None, _WORDS)


def notes(network: ResetNetwork, driven: Driven) -> tuple[str, ...]:
    """Return what a reader of the results must know about their reach."""
    said = [
        network.runs_on.words,
        _HELD if network.reset.topology in HOLDING else _CAUTION,
        f"Nominal capacitor leakage is taken as {USUAL_LEAKAGE_SHARE:.0%} of the largest the "
        "technology allows, the extremes as none and all of it.",
    ]
    if network.reset.discharge_diode is None and network.reset.topology not in HOLDING:
        said.append("Without a discharge diode only the pin's own diode empties the capacitor.")
    if network.reset.latch:
        said.append(
            "The latch takes the first edge of its release and no further one, so that noise "
            "there adds no edge."
        )
    if network.reset.button:
        said.append(
            f"The button's contact is taken as {CONTACT_OHM * 1e3:g} mΩ and the capacitor as "
            "ideal: the most a contact can see. No limit is set unless the design does."
        )
    if all(not column.has("reset_pulse_min") for column in driven.columns):
        said.append(f"The card of the {driven.name} states no shortest reset pulse.")
    return tuple(said)


def _asserted(network: ResetNetwork, driven: Driven) -> Limit:
    valid_v = network.valid_supply_v
    figure = network.levels.asserting(valid_v)
    level = network.levels.words(2)
    source = f"{level} of the {network.reset.receiver} at {valid_v:g} V: {figure.source}"
    note = figure.note("high" if network.levels.high else "low")
    if figure.status == "not guaranteed":
        note += f" at {valid_v:g} V, outside the table: in proportion to the supply"
    doubt = driven.supply_minimum.note("low") if network.reset.valid_supply is None else ""
    if doubt:
        note = "; ".join(filter(None, (note, f"lowest supply of the {driven.name} {doubt}")))
    if network.levels.high:
        return Limit("guaranteed_high", figure.high, None, source, note)
    return Limit("guaranteed_low", None, figure.low, source, note)


def _released(network: ResetNetwork) -> Limit:
    figure = network.levels.latest(network.supply.rail.nominal)
    beyond = "below" if network.levels.high else "above"
    source = f"{beyond} {network.levels.words(1)} of the {network.reset.receiver}: {figure.source}"
    return Limit(
        "threshold", 0.0, None, source, figure.note("low" if network.levels.high else "high")
    )


def _pin_limits(network: ResetNetwork) -> tuple[Limit, ...]:
    """Return the smallest absolute maximum and working current of the columns."""
    found = []
    for identifier in ("absolute", "working"):
        name = f"clamp_current_{identifier}"
        figures = [c.figure(name) for c in network.levels.columns if c.has(name)]
        if figures:
            figure = min(figures, key=lambda each: each.high)
            identifier = "absolute_maximum" if identifier == "absolute" else identifier
            source = f"{network.reset.receiver}, {figure.conditions}: {figure.source}"
            found.append(Limit(identifier, None, figure.high, source, figure.note("high")))
    return tuple(found)


def _diode_limits(diode: str) -> tuple[Limit, ...]:
    column = find_card(diode).columns[0]
    for name in ("I_F_repetitive_max", "I_F_max", "I_F_average_max"):
        if column.has(name):
            figure = column.figure(name)
            source = f"{diode} forward current: {figure.source}"
            return (Limit("absolute_maximum", None, figure.high, source, figure.note("high")),)
    return ()
