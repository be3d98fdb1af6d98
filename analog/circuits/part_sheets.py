"""What a card makes of itself: the arguments of its model, and its curves as small figures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any

from analog.cards import Card, Column, CurveTable, part_records
from analog.circuits.part_models import PartModel, part_model
from analog.circuits.text_plot import Axes, text_plot

_DEFINING = ("V_P", "V_IH")
_DECADES = 10.0
"""A positive axis that spans this ratio or more is drawn logarithmic."""

_AXES = {"°C": "temperature", "A": "LED current"}
_UNITS = {"v": "V", "i": "A", "t": "s", "c": "F", "r": "Ω"}
_UNITS_BY_NAME = {
    "vnom": "V",
    "vto": "V",
    "va": "VA",
    "tau": "s",
    "ITM": "A",
    "TON": "s",
    "RD": "Ω",
    "DVDT": "V/µs",
    "DIDTC": "A/ms",
}


@dataclass(frozen=True, slots=True)
class ModelSheet:
    """The model of one maker's part as it is simulated when every figure is typical."""

    maker: str
    model: PartModel
    source: str
    """Where the arguments come from: the card's figures, or the words of a parameter set."""

    @property
    def title(self) -> str:
        """Return which file of `models/` or which built-in device, and at what supply."""
        what = f"models/{self.model.library}.lib" if self.model.library else "built in"
        device = f" {self.model.device}" if self.model.device else ""
        supply = "" if self.model.supply_v is None else f" at {self.model.supply_v:g} V"
        return f"{what}{device}{supply}"


@dataclass(frozen=True, slots=True)
class CurveSheet:
    """One or more curves over one axis, as lines of plain characters."""

    maker: str
    name: str
    lines: tuple[str, ...]
    source: str

    @property
    def title(self) -> str:
        return f"{self.name} ({self.maker})" if self.maker else self.name


def model_sheets(card: Card) -> tuple[ModelSheet, ...]:
    """Return the model of every column, of logic parts at each supply of their tables.

    Empty for parts without a model. Raises MissingFigureError when a column lacks a figure its
    model needs.
    """
    return tuple(
        ModelSheet(column.maker, model, _origin(column))
        for column in card.columns
        for vdd in _supplies(column)
        if (model := part_model(card, column, vdd)) is not None
    )


def curve_sheets(card: Card) -> tuple[CurveSheet, ...]:
    """Return every curve of a card, and the laws of a technology, as figures."""
    return tuple(_curves(card))


def argument_unit(model: PartModel, name: str) -> str:
    """Return the unit of a model's argument, empty for a plain number or a SPICE parameter."""
    if not model.library:
        return ""
    if name in _UNITS_BY_NAME:
        return _UNITS_BY_NAME[name]
    if name.isupper():
        return {"I": "A", "V": "V"}.get(name[0], "")
    head, joint, _ = name.partition("_")
    return _UNITS.get(head, "") if joint else ""


def part_sheets(cards: Iterable[Card]) -> dict[str, Any]:
    """Return `part_records` of the cards with ``models`` (arguments) and ``plots`` (lines)."""
    cards = tuple(cards)
    records = part_records(cards)
    for card, record in zip(cards, records["parts"], strict=True):
        record["models"] = [_model_record(sheet) for sheet in model_sheets(card)]
        record["plots"] = [
            {
                "maker": sheet.maker,
                "name": sheet.name,
                "lines": list(sheet.lines),
                "source": sheet.source,
            }
            for sheet in curve_sheets(card)
        ]
    return records


def _model_record(sheet: ModelSheet) -> dict[str, Any]:
    return {
        "maker": sheet.maker,
        "library": sheet.model.library,
        "device": sheet.model.device,
        "supply": sheet.model.supply_v,
        "arguments": sheet.model.as_dict(),
        "source": sheet.source,
    }


def _origin(column: Column) -> str:
    if column.spice_source is not None:
        return str(column.spice_source)
    return "the typical figures above"


def _supplies(column: Column) -> tuple[float | None, ...]:
    tables = [column.tables[name] for name in _DEFINING if column.has(name)]
    return tables[0].supplies or (None,) if tables else (None,)


def _curves(card: Card) -> Iterator[CurveSheet]:
    for column in card.columns:
        for curve in column.curves.values():
            yield _sheet(column.maker, curve)
    if card.technology is not None:
        law = card.technology.law
        x = law.temperatures_c
        named = {"lowest": law.low, "typical": law.typical, "highest": law.high}
        changes = {name: (x, [100 * value for value in y]) for name, y in named.items()}
        axes = Axes("temperature", "°C", "change from the value at 25 °C", "%")
        yield CurveSheet("", "temperature law", text_plot(changes, axes), str(law.source))


def _sheet(maker: str, curve: CurveTable) -> CurveSheet:
    wide = curve.x[0] > 0 and curve.x[-1] / curve.x[0] >= _DECADES
    axes = Axes(
        _AXES.get(curve.x_unit, "at"),
        curve.x_unit,
        curve.conditions or curve.name,
        curve.y_unit,
        decades=wide,
    )
    lines = text_plot({curve.name: (curve.x, curve.y)}, axes)
    return CurveSheet(maker, curve.name, lines, str(curve.source))
