"""Axes of the space of guaranteed values that every bench needs: parts, ambient, ranges."""

from __future__ import annotations

from analog.cards import technology
from analog.cards.records import Technology
from analog.circuits.space import Envelope, PartAxis, RangeAxis
from analog.design import PartValue, Spread
from analog.design.record import Environment

AMBIENT = "environment.ambient"
"""Key of the ambient temperature axis; it must stand before the parts that follow it."""


def ambient_axis(environment: Environment) -> RangeAxis:
    """Return the ambient temperature, °C, from cold through typical to hot."""
    return RangeAxis(
        AMBIENT,
        "°C",
        environment.ambient_minimum,
        environment.ambient_typical,
        environment.ambient_maximum,
    )


def spread_axis(spread: Spread, unit: str) -> RangeAxis:
    """Return the stated range of a rail, a ramp time, a load."""
    return RangeAxis(spread.key, unit, spread.low, spread.nominal, spread.high)


def part_axis(part: PartValue, bias_v: float = 0.0) -> PartAxis:
    """Return all values a resistor or capacitor is allowed to have over ambient temperature.

    A capacitor loses, on top of tolerance and temperature law, what its technology card states
    for ageing and for `bias_v` volts of direct voltage (in proportion to the rated voltage).
    """
    make = technology(part.technology)
    low, high = _lasting_changes(make, part, bias_v)
    law = make.law
    return PartAxis(
        part.key,
        "F" if make.kind == "capacitor" else "Ω",
        part.nominal,
        (1 + part.tolerance_low) * (1 + low) - 1,
        (1 + part.tolerance_high) * (1 + high) - 1,
        Envelope(law.temperatures_c, law.low, law.typical, law.high),
    )


def _lasting_changes(make: Technology, part: PartValue, bias_v: float) -> tuple[float, float]:
    """Return the largest loss and gain (shares) by ageing and direct voltage."""
    share = min(1.0, bias_v / (part.rating or make.rating_default))
    low = (1 + min(0.0, make.ageing_low)) * (1 + min(0.0, make.bias_low * share)) - 1
    return low, max(0.0, make.bias_high * share)
