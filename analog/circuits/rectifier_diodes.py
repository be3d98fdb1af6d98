"""The diodes between a winding and the reservoir, as they are simulated and drawn."""

from __future__ import annotations

from typing import Literal

from analog.circuits.record import GROUND, Element, Symbol

Rectifier = Literal["half-wave", "full-wave", "bridge"]
Place = tuple[tuple[float, float], tuple[float, float]]

MODEL = "drect"
"""Name of the diode model; whoever uses the diodes adds it to the circuit."""


def rectifier_diodes(kind: Rectifier, end: str, single: Place) -> list[Element]:
    """Return the diodes from the winding to ``raw``.

    `end` is the winding's first end, ``far`` its other end with a bridge, ``second`` that of the
    other half of a centre-tapped winding, whose diode is not drawn. `single` is where a diode
    stands that is drawn alone.
    """
    if kind == "bridge":
        return [
            _diode("D1", end, "raw", ((8, 7), (8, 10))),
            _diode("D2", "far", "raw", ((5, 7), (5, 10))),
            _diode("D3", GROUND, end, ((8, 0), (8, 3))),
            _diode("D4", GROUND, "far", ((5, 0), (5, 3))),
        ]
    diodes = [_diode("D1", end, "raw", single)]
    if kind == "full-wave":
        diodes.append(_diode("D2", "second", "raw", None))
    return diodes


def _diode(name: str, anode: str, cathode: str, place: Place | None) -> Element:
    symbol = None if place is None else Symbol("diode", place)
    key = "supply.rectifier_diode"
    return Element(name, "D", (anode, cathode), model=MODEL, key=key, symbol=symbol)
