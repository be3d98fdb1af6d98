"""Which parts a power-up reset has; what is common to all of its topologies."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from analog.circuits.record import Model

Pairs = tuple[tuple[str, float], ...]

ResetTopology = Literal["rc-low", "rc-high", "gated", "detector"]

CONTACT_OHM = 0.05
"""Resistance of a closed push-button: from memory, catalogues of tactile switches state at
most 100 mΩ new; half of that makes the larger current."""

PIN_DIODE = Model("dpin", "D", (("IS", 1e-14), ("N", 1.0), ("RS", 10.0), ("CJO", 1e-12)))
"""A protection diode on the chip, about 0.65 V at 1 mA (from memory): at the low end of its
forward voltage, so that it takes more current than most."""


@dataclass(frozen=True, slots=True)
class ResetParts:
    """Which parts the network has; `discharge_diode`, `zener` and `transistor` by their SPICE
    parameters, empty for none.

    Without `strays` the picofarads of junctions and input are left out: over nanoseconds the
    simulator's step control takes its own rounding for a signal in them and hardly moves on.
    """

    discharge_diode: Pairs | None = None
    pin_resistor: bool = False
    button: bool = False
    button_resistor: bool = False
    polarised: bool = False
    strays: bool = True
    receiver: str = ""
    topology: ResetTopology = "rc-low"
    capacitor_resistor: bool = False
    zener: Pairs = ()
    transistor: Pairs = ()
    active: str = ""
    """Name of the transistors or of the detector, for the picture."""

    @property
    def high(self) -> bool:
        """Tell whether the reset is asserted by a high pin."""
        return self.topology == "rc-high"

    @property
    def junction(self) -> str:
        """Return the node the pin resistor starts at: the pin itself without one."""
        return "rc" if self.pin_resistor else "pin"

    @property
    def charged(self) -> str:
        """Return the node of the capacitor's hot end."""
        if self.topology == "detector":
            return "cd"
        return "cap" if self.capacitor_resistor else self.junction
