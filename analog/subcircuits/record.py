"""The record of a user's sub-circuit: numbers and places in tuples, no word of the user's file.

Nodes are numbers, the ports first, in the order of their first use; parts are known by their
place in the tuple. Everything is flat: what X elements stood for is there itself, every parameter
has its value. Values in SI units.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

PartKind = Literal["R", "C", "L", "K", "D", "Q", "M", "J", "V", "I", "B", "E", "F", "G", "H"]
DeviceType = Literal["D", "NPN", "PNP", "NMOS", "PMOS", "NJF", "PJF"]


@dataclass(frozen=True, slots=True)
class Number:
    """A constant."""

    value: float


@dataclass(frozen=True, slots=True)
class Temperature:
    """The simulation temperature in °C."""


@dataclass(frozen=True, slots=True)
class Voltage:
    """The voltage (V) of a node, or between two."""

    nodes: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Current:
    """The current (A) through the voltage source at place `part`."""

    part: int


@dataclass(frozen=True, slots=True)
class Operation:
    """A sign (``-``, ``*``, ``?`` …) or function and what it is applied to."""

    sign: str
    operands: tuple[Expression, ...]


Expression = Number | Temperature | Voltage | Current | Operation


@dataclass(frozen=True, slots=True)
class Wave:
    """A source's course: ``dc`` (level), ``sin`` (offset, amplitude, Hz, phase in degrees),
    ``pulse`` (low, high, delay, rise, fall, width, period) or ``pwl`` (time, level, …)."""

    shape: Literal["dc", "sin", "pulse", "pwl"]
    numbers: tuple[float, ...]


@dataclass(frozen=True, slots=True)
class Behaviour:
    """What a B source sets: its voltage (``v``) or its current (``i``)."""

    quantity: Literal["v", "i"]
    expression: Expression


@dataclass(frozen=True, slots=True)
class DeviceModel:
    """A built-in device's parameters, in the order they were given."""

    type: DeviceType
    arguments: tuple[tuple[str, float], ...]


@dataclass(frozen=True, slots=True)
class Part:
    """One element. `value` by kind: R, C, L, K, E, F, G, H a number, V and I a wave, B a behaviour.

    `controls` are nodes (E, G), the place of a voltage source (F, H) or of two inductors (K);
    `model` is a place in the sub-circuit's models.
    """

    kind: PartKind
    nodes: tuple[int, ...]
    value: float | Wave | Behaviour | None = None
    controls: tuple[int, ...] = ()
    model: int | None = None
    arguments: tuple[tuple[str, float], ...] = ()


@dataclass(frozen=True, slots=True)
class Subcircuit:
    """A flat circuit with `ports` terminals, which are its nodes 0 to ports − 1."""

    ports: int
    parts: tuple[Part, ...]
    models: tuple[DeviceModel, ...] = ()

    def tallies(self) -> tuple[int, ...]:
        """Return, for every part, its number among those of its kind, from 1."""
        counts: dict[str, int] = {}
        found = []
        for part in self.parts:
            counts[part.kind] = counts.get(part.kind, 0) + 1
            found.append(counts[part.kind])
        return tuple(found)


@dataclass(frozen=True, slots=True)
class Reading:
    """A sub-circuit read from a file, with what the reader of a report may be told of it.

    `ports` are the names in the file, `parts` the place of every part that stands directly in it,
    by its name there. `remarks` are readings that may surprise.
    """

    circuit: Subcircuit
    name: str
    ports: tuple[str, ...]
    parts: dict[str, int]
    remarks: tuple[str, ...] = ()
