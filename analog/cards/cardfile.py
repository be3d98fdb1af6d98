"""The format of a card file: strict, with unknown keys refused and every fault reported.

One file per data sheet. `[[column]]` holds a maker's figures; `[[variant]]` makes further
parts of the same sheet (trigger grades, voltage classes) by overriding figures.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import BaseModel, ConfigDict, Field, model_validator

from analog.cards.records import Kind

Finite = Annotated[float, Field(allow_inf_nan=False)]
Name = Annotated[str, Field(pattern=r"^[A-Za-z0-9][A-Za-z0-9./+-]{0,31}$")]
FigureName = Annotated[str, Field(pattern=r"^[A-Za-z][A-Za-z0-9_]{0,47}$")]
SpiceName = Annotated[str, Field(pattern=r"^[A-Z][A-Z0-9]{0,7}$")]
FileName = Annotated[str, Field(pattern=r"^[a-z][a-z0-9_]{0,31}$")]
Text = Annotated[str, Field(min_length=1)]
Row = Finite | list[Finite]
Unit = Literal[
    "V",
    "A",
    "s",
    "F",
    "Ω",
    "W",
    "VA",
    "K/W",
    "A²s",
    "V/s",
    "A/s",
    "s/V",
    "V/K",
    "Hz",
    "H",
    "m",
    "°C",
    "dB",
    "1",
]


class _Strict(BaseModel):
    model_config = ConfigDict(strict=True, extra="forbid", frozen=True)


class FigureEntry(_Strict):
    """A figure: `min`, `typ`, `max` are numbers, or lists as long as `vdd` (V, rising)."""

    unit: Unit
    source: Text
    at: str = ""
    vdd: list[Finite] = Field(default_factory=list)
    min: Row | None = None
    typ: Row | None = None
    max: Row | None = None
    spread: Annotated[float, Field(ge=0, le=1)] | None = None

    @model_validator(mode="after")
    def _shape(self) -> Self:
        given = [row for row in (self.min, self.typ, self.max) if row is not None]
        if not given:
            raise ValueError("a figure needs min, typ or max")
        if not _rises(self.vdd):
            raise ValueError("vdd must rise")
        for row in given:
            if isinstance(row, list) != bool(self.vdd):
                raise ValueError("lists go with vdd, single numbers without it")
            if isinstance(row, list) and len(row) != len(self.vdd):
                raise ValueError("min, typ and max must be as long as vdd")
        self._order()
        return self

    def _order(self) -> None:
        rows = [
            row if isinstance(row, list) else [row]
            for row in (self.min, self.typ, self.max)
            if row is not None
        ]
        if any(list(values) != sorted(values) for values in zip(*rows, strict=True)):
            raise ValueError("min <= typ <= max does not hold")


class CurveEntry(_Strict):
    """A curve read off a figure of the data sheet."""

    x: list[Finite] = Field(min_length=2)
    y: list[Finite] = Field(min_length=2)
    x_unit: Unit
    y_unit: Unit
    source: Text
    at: str = ""

    @model_validator(mode="after")
    def _shape(self) -> Self:
        if len(self.x) != len(self.y):
            raise ValueError("x and y must have one length")
        if not _rises(self.x):
            raise ValueError("x must rise")
        return self


class SpiceEntry(_Strict):
    """Parameters of the built-in device model, by their SPICE names."""

    source: Text
    parameters: dict[SpiceName, Finite] = Field(min_length=1)


class ColumnEntry(_Strict):
    """One maker's column. `unlimited_transition` is a source note and means "unlimited"."""

    maker: Text
    figures: dict[FigureName, FigureEntry] = Field(default_factory=dict)
    curves: dict[FigureName, CurveEntry] = Field(default_factory=dict)
    spice: SpiceEntry | None = None
    unlimited_transition: Text | None = None
    note: str = ""
    typical_spread: Annotated[float, Field(ge=0, le=1)] | None = None


class VariantEntry(_Strict):
    """A further part of the sheet: `figures` replace or join those of `base` (or the card)."""

    identifier: Name
    base: Name | None = None
    title: str = ""
    aliases: list[Name] = Field(default_factory=list)
    figures: dict[FigureName, FigureEntry] = Field(default_factory=dict)
    without: list[FigureName] = Field(default_factory=list)
    spice: SpiceEntry | None = None


class LawEntry(_Strict):
    """A temperature law: relative change from 25 °C."""

    temperatures_c: list[Finite] = Field(min_length=2)
    low: list[Finite]
    typical: list[Finite]
    high: list[Finite]
    source: Text

    @model_validator(mode="after")
    def _shape(self) -> Self:
        rows = (self.low, self.typical, self.high)
        if any(len(row) != len(self.temperatures_c) for row in rows):
            raise ValueError("low, typical and high must be as long as temperatures_c")
        if not _rises(self.temperatures_c):
            raise ValueError("temperatures_c must rise")
        for low, typical, high in zip(*rows, strict=True):
            if not low <= typical <= high:
                raise ValueError("low <= typical <= high does not hold")
        return self


class LeakageEntry(_Strict):
    """See `analog.cards.records.Leakage`."""

    per_charge_hz: Annotated[float, Field(ge=0, allow_inf_nan=False)]
    floor_a: Annotated[float, Field(ge=0, allow_inf_nan=False)] = 0.0
    at_rated_voltage: bool = False
    hot_factor: Annotated[float, Field(ge=1, allow_inf_nan=False)] = 1.0
    hot_c: Annotated[float, Field(gt=25, allow_inf_nan=False)] = 85.0
    source: Text


class SizeEntry(_Strict):
    """A resistor size: rated power in W, limiting element and overload voltages in V."""

    rating_w: Annotated[float, Field(gt=0, allow_inf_nan=False)]
    limiting_v: Annotated[float, Field(gt=0, allow_inf_nan=False)]
    overload_v: Annotated[float, Field(gt=0, allow_inf_nan=False)]


class TechnologyEntry(_Strict):
    """Tolerance, laws and rating of a resistor or capacitor technology."""

    tolerance_low: Annotated[float, Field(ge=-1, le=0)]
    tolerance_high: Annotated[float, Field(ge=0, le=10)]
    tolerance_source: Text
    rating_default: Annotated[float, Field(gt=0, allow_inf_nan=False)]
    rating_source: Text
    law: LawEntry
    leakage: LeakageEntry | None = None
    bias_low: Annotated[float, Field(ge=-1, le=0)] = 0.0
    bias_high: Annotated[float, Field(ge=-1, le=0)] = 0.0
    bias_source: Text | None = None
    ageing_low: Annotated[float, Field(ge=-1, le=0)] = 0.0
    ageing_source: Text | None = None
    distribution: Literal["uniform", "normal"] = "uniform"
    sigmas: Annotated[float, Field(gt=0, le=10, allow_inf_nan=False)] | None = None
    distribution_source: Text
    sizes: list[SizeEntry] = Field(default_factory=list)
    sizes_source: Text | None = None

    @model_validator(mode="after")
    def _sourced(self) -> Self:
        if (self.bias_low or self.bias_high) and self.bias_source is None:
            raise ValueError("bias_low and bias_high need bias_source")
        if self.ageing_low and self.ageing_source is None:
            raise ValueError("ageing_low needs ageing_source")
        if (self.sigmas is not None) != (self.distribution == "normal"):
            raise ValueError("a normal distribution, and only it, has sigmas")
        if self.sizes and self.sizes_source is None:
            raise ValueError("sizes need sizes_source")
        if not _rises([size.rating_w for size in self.sizes]):
            raise ValueError("sizes must rise")
        return self


class CardFile(_Strict):
    """A whole card file."""

    card: Literal[1]
    identifier: Name
    kind: Kind
    title: Text
    family: str = ""
    library: FileName | None = None
    note: str = ""
    aliases: list[Name] = Field(default_factory=list)
    only_variants: bool = False
    typical_spread: Annotated[float, Field(ge=0, le=1)]
    sources: dict[FileName, Text] = Field(default_factory=dict)
    column: list[ColumnEntry] = Field(min_length=1)
    variant: list[VariantEntry] = Field(default_factory=list)
    technology: TechnologyEntry | None = None

    @model_validator(mode="after")
    def _whole(self) -> Self:
        makers = [column.maker.casefold() for column in self.column]
        if len(set(makers)) != len(makers):
            raise ValueError("two columns have one maker")
        if self.only_variants and not self.variant:
            raise ValueError("only_variants needs variants")
        if (self.technology is not None) != (self.kind in ("resistor", "capacitor")):
            raise ValueError("resistors and capacitors, and only they, have [technology]")
        known: list[str] = []
        for variant in self.variant:
            if variant.base is not None and variant.base not in known:
                raise ValueError(f"variant {variant.identifier}: its base must come before it")
            known.append(variant.identifier)
        return self


class FamilyFile(_Strict):
    """Figures that a standard gives to every part of a logic family."""

    family: Literal[1]
    identifier: Text
    title: Text
    typical_spread: Annotated[float, Field(ge=0, le=1)]
    sources: dict[FileName, Text] = Field(default_factory=dict)
    figures: dict[FigureName, FigureEntry] = Field(min_length=1)


def _rises(values: Sequence[float]) -> bool:
    return all(a < b for a, b in pairwise(values))
