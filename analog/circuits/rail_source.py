"""The logic's rail as a source of its own, for circuits that do not simulate the supply."""

from __future__ import annotations

from analog.circuits.record import GROUND, Dc, Element, Param, Symbol


def rail_source(x: float) -> Element:
    """Return the source of the rail ``v_rail`` (V) at node ``vdd``, drawn at column `x`."""
    symbol = Symbol("source", ((x, 5), (x, 2)), "rail")
    value = Dc(Param("v_rail"))
    return Element("VRAIL", "V", ("vdd", GROUND), value, key="supply.rail", symbol=symbol)
