"""The line sense by way of a user's own sub-circuit: what varies in it and how it starts.

Nothing is known of what is inside, so a run starts from the operating point at the crest and
waits; whether the pin has come to rest is measured (`analog.benches.own_filter_measures`), not
assumed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from analog.circuits.own_stage import own_parameters
from analog.circuits.record import Param, Transient
from analog.circuits.space import Floats, RangeAxis
from analog.design import LineSense, OwnCircuit

USUAL_CYCLES = 10
"""Mains cycles before the one that is measured, unless the design states a time."""


@dataclass(frozen=True, slots=True)
class OwnFilter:
    """A sub-circuit in place of the filter, and the mains cycles it is given to settle."""

    own: OwnCircuit
    cycles: int

    def axes(self, detailed: bool = True) -> tuple[RangeAxis, ...]:
        """Return the ranges of the parts whose tolerance is stated, in a sketch too."""
        del detailed  # which of them matter nobody knows
        return tuple(
            RangeAxis(
                part.spread.key, part.unit, part.spread.low, part.spread.nominal, part.spread.high
            )
            for part in self.own.spreads
        )

    def rows(self, values: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return the parameters of those parts."""
        names = own_parameters(self.own)
        return {names[part.place]: values[part.spread.key] for part in self.own.spreads}


def own_filter(sense: LineSense, mains_hz: float) -> OwnFilter | None:
    """Return the sub-circuit of a line sense, None when it has none."""
    if sense.own is None:
        return None
    settling_s = sense.subcircuit_settling
    cycles = USUAL_CYCLES if settling_s is None else max(1, math.ceil(settling_s * mains_hz))
    return OwnFilter(sense.own, cycles)


def from_rest(analysis: Transient, pin: bool, joint: bool, supply: str) -> Transient:
    """Return an analysis that starts from the operating point, in which a user's circuit settles.

    Held there are the reservoir of a `supply` and, of a built-in filter, `pin` and `joint`.
    """
    held = (("pin", pin), ("joint", joint), ("raw", supply != "none"))
    start = tuple((node, Param(f"{node}_start")) for node, known in held if known)
    return replace(analysis, use_initial=False, initial=start)
