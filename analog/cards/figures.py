"""Figures of a part: what a data sheet says, where it says it and for which supplies.

All numbers are SI without prefixes: V, A, s, F, Ω, W, K/W, A²s, V/s, A/s, °C, 1. Output
currents are magnitudes, whichever way they flow.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from typing import Literal

SourceKind = Literal["document", "memory", "practice", "computed"]
Confidence = Literal["high", "medium", "low", ""]
Status = Literal["tabulated", "interpolated", "not guaranteed"]

_PROPORTIONAL_UNITS = frozenset({"V", "A"})


@dataclass(frozen=True, slots=True)
class Source:
    """Where a figure comes from; ``str()`` gives the words for a report.

    `text` names document and table for a document, the method for a computed figure, and is a
    remark (possibly empty) for the other kinds; `confidence` is set for memory only.
    """

    kind: SourceKind
    text: str
    confidence: Confidence = ""

    def __str__(self) -> str:
        remark = f" ({self.text})" if self.text else ""
        if self.kind == "memory":
            return f"from memory, {self.confidence} confidence{remark}"
        if self.kind == "practice":
            return f"common practice, no source{remark}"
        if self.kind == "computed":
            return f"computed: {self.text}"
        return self.text


@dataclass(frozen=True, slots=True)
class Figure:
    """One figure at one supply voltage; an end that the source does not give is None.

    `spread` is the share by which a figure given only as typical is taken to vary.
    """

    name: str
    unit: str
    minimum: float | None
    typical: float | None
    maximum: float | None
    conditions: str
    source: Source
    status: Status = "tabulated"
    spread: float = 0.0

    @property
    def low(self) -> float:
        """Return the guaranteed minimum, or typical less the stated spread, or the maximum."""
        if self.minimum is not None:
            return self.minimum
        if self.typical is not None:
            return self.typical - self.spread * abs(self.typical)
        return self._only()

    @property
    def high(self) -> float:
        """Return the guaranteed maximum, or typical plus the stated spread, or the minimum."""
        if self.maximum is not None:
            return self.maximum
        if self.typical is not None:
            return self.typical + self.spread * abs(self.typical)
        return self._only()

    @property
    def centre(self) -> float:
        """Return the typical value, else the middle of the ends, else the one end given."""
        if self.typical is not None:
            return self.typical
        if self.minimum is not None and self.maximum is not None:
            return (self.minimum + self.maximum) / 2
        return self._only()

    def _only(self) -> float:
        """Return the one end given; a validated card always has one."""
        ends = (self.minimum, self.typical, self.maximum)
        return next(end for end in ends if end is not None)

    def note(self, side: Literal["low", "high"]) -> str:
        """Return what a finding resting on that side must add, empty when nothing."""
        given = self.minimum if side == "low" else self.maximum
        words = []
        if given is None and self.typical is not None:
            words.append("rests on a typical figure")
        if self.status != "tabulated":
            words.append(self.status)
        if self.source.kind == "memory":
            words.append(f"from memory, {self.source.confidence} confidence")
        return "; ".join(words)


@dataclass(frozen=True, slots=True)
class FigureTable:
    """A figure as the card gives it: one value for all supplies, or a row per supply.

    `supplies` (V) rises and is empty for a figure that does not depend on the supply; the
    value tuples have its length (one when it is empty) or are None where nothing is given.
    """

    name: str
    unit: str
    supplies: tuple[float, ...]
    minimum: tuple[float, ...] | None
    typical: tuple[float, ...] | None
    maximum: tuple[float, ...] | None
    conditions: str
    source: Source
    spread: float

    def at(self, vdd: float | None) -> Figure:
        """Return the figure at supply `vdd` (V); ValueError when a supply is needed.

        Linear between the tabulated supplies. Outside the table nothing is guaranteed: levels
        and currents are then scaled in proportion to the supply, delays and pulse widths in
        inverse proportion, everything else is held at the nearest row.
        """
        if not self.supplies:
            return self._figure(0, 0, 0.0, 1.0, "tabulated")
        if vdd is None:
            raise ValueError(f"{self.name} depends on the supply voltage: give vdd")
        last = len(self.supplies) - 1
        if vdd < self.supplies[0]:
            return self._figure(0, 0, 0.0, self._outside(vdd / self.supplies[0]), "not guaranteed")
        if vdd > self.supplies[last]:
            scale = self._outside(vdd / self.supplies[last])
            return self._figure(last, last, 0.0, scale, "not guaranteed")
        if vdd in self.supplies:
            row = self.supplies.index(vdd)
            return self._figure(row, row, 0.0, 1.0, "tabulated")
        above = bisect_right(self.supplies, vdd)
        below = above - 1
        share = (vdd - self.supplies[below]) / (self.supplies[above] - self.supplies[below])
        return self._figure(below, above, share, 1.0, "interpolated")

    def _outside(self, ratio: float) -> float:
        """Return the factor applied to the nearest row at `ratio` times its supply."""
        if self.unit in _PROPORTIONAL_UNITS:
            return ratio
        if self.unit == "s" and self.name != "transition_max":
            return 1 / ratio
        return 1.0

    def _figure(self, below: int, above: int, share: float, scale: float, status: Status) -> Figure:
        def value(column: tuple[float, ...] | None) -> float | None:
            if column is None:
                return None
            return scale * (column[below] + share * (column[above] - column[below]))

        return Figure(
            self.name,
            self.unit,
            value(self.minimum),
            value(self.typical),
            value(self.maximum),
            self.conditions,
            self.source,
            status,
            self.spread,
        )


@dataclass(frozen=True, slots=True)
class CurveTable:
    """A published curve: `y` (unit `y_unit`) over rising `x` (unit `x_unit`)."""

    name: str
    x: tuple[float, ...]
    y: tuple[float, ...]
    x_unit: str
    y_unit: str
    conditions: str
    source: Source
