"""Which numbers an element may have."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Literal, cast

from analog.subcircuits.devices import MOS_LEVELS, POSITIVE
from analog.subcircuits.limits import SHORTEST_PERIOD_S
from analog.subcircuits.problems import FaultError, Place
from analog.subcircuits.record import Wave

Shape = Literal["dc", "sin", "pulse", "pwl"]


def check_single(kind: str, value: float, place: Place) -> None:
    """Refuse values of R, C, L and K that no part has; ngspice would take them in silence."""
    if kind in "rl" and value <= 0:
        raise FaultError(place, f"{kind.upper()} is not above 0", "Write a value above 0")
    if kind == "c" and value < 0:
        raise FaultError(place, "C is below 0", "Write 0 or more")
    if kind == "k" and not 0 < value <= 1:
        rule = "a coupling lies above 0 and up to 1"
        raise FaultError(place, rule, "To turn a winding round, swap its inductor's nodes")


def check_argument(name: str, value: float, place: Place) -> None:
    """Refuse instance and model values that no device has."""
    if name in POSITIVE and value <= 0:
        raise FaultError(place, f"{name} is not above 0", "Write a value above 0")
    if name == "level" and value not in MOS_LEVELS:
        raise FaultError(place, "this model level is not allowed", "Use level 1, 2 or 3")


def wave_of(shape: str, numbers: Sequence[float], place: Place) -> Wave:
    """Return a source's course; FaultError for one that is not rendered faithfully."""
    values = tuple(numbers)
    if shape == "sin":
        values = _sine(values, place)
    elif shape == "pulse":
        _check_pulse(values, place)
    elif shape == "pwl":
        times = values[::2]
        if times[0] < 0 or any(later <= earlier for earlier, later in pairwise(times)):
            rule = "the times of PWL do not rise from 0 on"
            raise FaultError(place, rule, "Write pairs of time and level, times rising")
    return Wave(cast(Shape, shape), values)


def _sine(values: tuple[float, ...], place: Place) -> tuple[float, ...]:
    offset, amplitude, frequency, delay, damping, phase = (*values, 0.0, 0.0, 0.0)[:6]
    if delay or damping:
        rule = "ngspice sets no breakpoint where a delayed or damped SIN begins"
        raise FaultError(place, rule, "Write 0 for delay and damping, and use the phase")
    if frequency <= 0:
        raise FaultError(place, "the frequency is not above 0", "Write a frequency in hertz")
    return offset, amplitude, frequency, phase


def _check_pulse(values: tuple[float, ...], place: Place) -> None:
    _, _, delay, rise, fall, width, period = values
    if delay < 0:
        raise FaultError(place, "the delay is below 0", "Write 0 or more")
    if min(rise, fall, width) <= 0:
        rule = "rise, fall and width must be above 0: ngspice would take its print step for a 0"
        raise FaultError(place, rule, "Write the times the source has")
    if rise + width + fall > period:
        raise FaultError(place, "the pulse does not fit its period", "Lengthen the period")
    if period < SHORTEST_PERIOD_S:
        rule = f"a period under {1e3 * SHORTEST_PERIOD_S:g} ms makes too many pulses in a run"
        raise FaultError(place, rule, "Lengthen it")
