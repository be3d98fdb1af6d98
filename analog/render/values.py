"""The value of an element as a schematic and a list of parts write it."""

from __future__ import annotations

from collections.abc import Mapping

from analog.circuits.record import Dc, Element, Param, Pulse, Pwl, Sine
from analog.render.words import quantity

_UNITS = {"R": "Ω", "C": "F", "L": "H", "V": "V", "I": "A"}


def value_text(element: Element, row: Mapping[str, float]) -> str:
    """Return the value of an element in words, as the netlist has it: "100 kΩ"."""
    value = element.value
    if element.kind not in "RCLVI":  # gains and expressions are the model's inside
        return ""
    if isinstance(value, int | float | Param):
        return quantity(_number(value, row), _UNITS[element.kind])
    unit = _UNITS[element.kind]
    if isinstance(value, Dc):
        return quantity(_number(value.level, row), unit)
    if isinstance(value, Sine):
        peak = quantity(_number(value.amplitude, row), unit)
        return f"{peak} peak, {quantity(_number(value.frequency_hz, row), 'Hz')}"
    if isinstance(value, Pulse):
        ends = (quantity(_number(level, row), unit) for level in (value.low, value.high))
        return " to ".join(ends)
    if isinstance(value, Pwl):
        scale = _number(value.scale, row)
        levels = [scale * _number(level, row) for _, level in value.points]
        return f"{quantity(min(levels), unit)} to {quantity(max(levels), unit)}"
    return ""


def _number(value: float | Param, row: Mapping[str, float]) -> float:
    return row[value.name] if isinstance(value, Param) else float(value)
