"""Which parts a line-sense network has: the plain record that its circuit is built from."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analog.design import OwnCircuit

SpiceArguments = tuple[tuple[str, float], ...]
Feed = Literal["none", "half-wave", "full-wave", "bridge"]
Clamp = Literal["input", "diodes", "zener"]


@dataclass(frozen=True, slots=True)
class CouplerParts:
    """An optocoupler that carries the sensed voltage across.

    `part` is its name, `fixed` are the arguments of models/optocoupler.lib that no row changes,
    `antiparallel` the SPICE parameters of the diode that spares its LED the reverse half-wave.
    """

    part: str
    fixed: SpiceArguments
    antiparallel: SpiceArguments = ()


@dataclass(frozen=True, slots=True)
class FilterParts:
    """Which parts the network has.

    `topology` names a front of `analog.circuits.sense_fronts`. `supply` says how the sensed
    winding feeds the logic: a ``bridge``, a single diode (``half-wave``), two diodes and a centre
    tap (``full-wave``), or ``none``. Diodes are given by their SPICE parameters: `isolating` are
    those of a full-wave sense, `clamp_device` what clamps the pin outside of it. `own` is a
    sub-circuit of the user's that stands for the filter.
    """

    topology: str
    supply: Feed
    bleed: bool
    rectifier: SpiceArguments = ()
    isolating: SpiceArguments = ()
    clamp: Clamp = "input"
    clamp_device: SpiceArguments = ()
    second_stage: bool = False
    coupler: CouplerParts | None = None
    own: OwnCircuit | None = None
    polarised_reservoir: bool = True

    @property
    def output(self) -> str:
        """Return the node of the first capacitor: the pin, or what the second stage starts at."""
        return "joint" if self.second_stage else "pin"

    @property
    def fed(self) -> str:
        """Return the node that the series resistor feeds."""
        return self.output if self.coupler is None else "fed"
