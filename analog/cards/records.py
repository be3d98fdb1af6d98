"""Part cards as frozen records: a card has one column per maker, a column has figures."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from analog.cards.errors import MissingFigureError, UnknownMakerError
from analog.cards.figures import CurveTable, Figure, FigureTable, Source

Kind = Literal[
    "schmitt",
    "clocked",
    "gate",
    "diode",
    "zener",
    "npn",
    "pnp",
    "nmos",
    "opto_triac",
    "optocoupler",
    "triac",
    "regulator",
    "detector",
    "transformer",
    "varistor",
    "resistor",
    "capacitor",
]


@dataclass(frozen=True, slots=True)
class Column:
    """The figures of one maker. Figures of two columns never make one part."""

    part: str
    maker: str
    tables: Mapping[str, FigureTable]
    curves: Mapping[str, CurveTable]
    spice: Mapping[str, float]
    spice_source: Source | None
    unlimited_transition: bool
    """The clock input takes edges of any slowness (a Schmitt input on the chip)."""
    unlimited_transition_source: Source | None
    note: str

    def has(self, name: str) -> bool:
        """Tell whether the column gives the figure `name`."""
        return name in self.tables

    def figure(self, name: str, vdd: float | None = None) -> Figure:
        """Return the figure `name` at supply `vdd` (V).

        Raises MissingFigureError when the column does not give it, ValueError when it depends
        on the supply and none is given.
        """
        table = self.tables.get(name)
        if table is None:
            raise MissingFigureError(self.part, self.maker, name)
        return table.at(vdd)

    def curve(self, name: str) -> tuple[tuple[float, ...], tuple[float, ...]]:
        """Return the curve `name` as (x, y), for ratio curves (temperatures in °C, ratios)."""
        table = self.curves.get(name)
        if table is None:
            raise MissingFigureError(self.part, self.maker, name)
        return table.x, table.y


@dataclass(frozen=True, slots=True)
class Law:
    """A temperature law: relative change from the 25 °C value, lowest, typical and highest.

    Linear between `temperatures_c`, held flat outside.
    """

    temperatures_c: tuple[float, ...]
    low: tuple[float, ...]
    typical: tuple[float, ...]
    high: tuple[float, ...]
    source: Source


@dataclass(frozen=True, slots=True)
class Leakage:
    """The largest leakage current a capacitor technology is allowed.

    I = max(`per_charge_hz` · C · V, `floor_a`), with V the rated voltage when
    `at_rated_voltage` (the electrolytic rule "0.01 C·V or 3 µA, whichever is larger") and the
    voltage applied otherwise (an insulation time constant R·C = 1/`per_charge_hz`).
    The current is multiplied by `hot_factor` from 25 °C to `hot_c`, exponentially between.
    """

    per_charge_hz: float
    floor_a: float
    at_rated_voltage: bool
    hot_factor: float
    hot_c: float
    source: Source

    def maximum_a(
        self, capacitance_f: float, voltage_v: float, rating_v: float, ambient_c: float
    ) -> float:
        """Return the largest leakage current in A at `voltage_v` and `ambient_c`."""
        voltage = rating_v if self.at_rated_voltage else abs(voltage_v)
        current = max(self.per_charge_hz * capacitance_f * voltage, self.floor_a)
        share = max(0.0, ambient_c - 25.0) / (self.hot_c - 25.0)
        return float(current * self.hot_factor**share)


@dataclass(frozen=True, slots=True)
class ResistorSize:
    """Voltages a resistor of `rating_w` takes: continuous rms limit and short overload, in V."""

    rating_w: float
    limiting_v: float
    overload_v: float
    source: Source


@dataclass(frozen=True, slots=True)
class Technology:
    """How resistors or capacitors of one make behave.

    `tolerance_low` is negative. `rating_default` is V (capacitors) or W (resistors). The
    capacitance changes by `bias_low`..`bias_high` (shares) at the rated direct voltage and by
    `ageing_low` over ten years, on top of `law`. `distribution` is how parts lie within the
    tolerance; a normal one is cut off at its ends, `sigmas` standard deviations away.
    """

    identifier: str
    kind: Literal["resistor", "capacitor"]
    title: str
    tolerance_low: float
    tolerance_high: float
    tolerance_source: Source
    rating_default: float
    rating_source: Source
    law: Law
    leakage: Leakage | None
    bias_low: float = 0.0
    bias_high: float = 0.0
    bias_source: Source | None = None
    ageing_low: float = 0.0
    ageing_source: Source | None = None
    sizes: tuple[ResistorSize, ...] = ()
    distribution: Literal["uniform", "normal"] = "uniform"
    sigmas: float | None = None
    distribution_source: Source | None = None

    def size(self, rating_w: float) -> ResistorSize:
        """Return the largest tabulated size of at most `rating_w`, else the smallest of all.

        Raises MissingFigureError when the technology has no sizes (capacitors).
        """
        if not self.sizes:
            raise MissingFigureError(self.identifier, "", "sizes")
        fitting = [size for size in self.sizes if size.rating_w <= rating_w * (1 + 1e-9)]
        return fitting[-1] if fitting else self.sizes[0]

    def bias_change(self, voltage_v: float, rating_v: float) -> tuple[float, float]:
        """Return the lowest and highest relative change at a direct voltage.

        Linear in the voltage up to the rated one: a capacitor loses less than in proportion at
        first, so the low end is on the safe side.
        """
        share = min(abs(voltage_v) / rating_v, 1.0)
        return self.bias_low * share, self.bias_high * share * share


@dataclass(frozen=True, slots=True)
class Card:
    """One part: what it is, and a column of figures per maker."""

    identifier: str
    kind: Kind
    title: str
    family: str
    library: str
    aliases: tuple[str, ...]
    columns: tuple[Column, ...]
    note: str
    file: str
    sha256: str
    technology: Technology | None = field(default=None)

    @property
    def makers(self) -> tuple[str, ...]:
        """Return the makers that have a column, in card order."""
        return tuple(column.maker for column in self.columns)

    def column(self, maker: str) -> Column:
        """Return the column of `maker` (any case); UnknownMakerError when there is none."""
        for column in self.columns:
            if column.maker.casefold() == maker.casefold():
                return column
        raise UnknownMakerError(self.identifier, maker, self.makers)

    def chosen(self, maker: str | None) -> tuple[Column, ...]:
        """Return the columns to judge: the one of `maker`, or all when none is named."""
        return self.columns if maker is None else (self.column(maker),)
