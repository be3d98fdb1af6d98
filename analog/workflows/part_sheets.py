"""What a card makes of itself: arguments of its model, and its curves as one line of blocks."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from analog.cards import Card, Column, part_records
from analog.circuits.part_models import PartModel, part_model

BLOCKS = "▁▂▃▄▅▆▇█"
SPARK_WIDTH = 24

_DEFINING = ("V_P", "V_IH")


@dataclass(frozen=True, slots=True)
class ModelSheet:
    """The model of one maker's part as it is simulated when every figure is typical."""

    maker: str
    model: PartModel

    @property
    def title(self) -> str:
        """Return which file of `models/` or which built-in device, and at what supply."""
        what = f"models/{self.model.library}.lib" if self.model.library else "built in"
        device = f" {self.model.device}" if self.model.device else ""
        supply = "" if self.model.supply_v is None else f" at {self.model.supply_v:g} V"
        return f"{what}{device}{supply}"


@dataclass(frozen=True, slots=True)
class CurveSheet:
    """A curve over temperature as text: its blocks run evenly from `low_c` to `high_c` (°C).

    The lowest block stands for `smallest`, the highest for `largest` (dimensionless).
    """

    maker: str
    name: str
    low_c: float
    high_c: float
    smallest: float
    largest: float
    blocks: str

    @property
    def text(self) -> str:
        return (
            f"{self.low_c:g} °C {self.blocks} {self.high_c:g} °C, "
            f"{self.smallest:.3g} to {self.largest:.3g}"
        )


def model_sheets(card: Card) -> tuple[ModelSheet, ...]:
    """Return the model of every column, of logic parts at each supply of their tables.

    Empty for parts without a model. Raises MissingFigureError when a column lacks a figure its
    model needs.
    """
    return tuple(
        ModelSheet(column.maker, model)
        for column in card.columns
        for vdd in _supplies(column)
        if (model := part_model(card, column, vdd)) is not None
    )


def curve_sheets(card: Card) -> tuple[CurveSheet, ...]:
    """Return every curve of a card, and the three laws of a technology, as text."""
    return tuple(_curves(card))


def part_sheets(cards: Iterable[Card]) -> dict[str, Any]:
    """Return `part_records` of the cards with the arguments of their models under ``models``."""
    cards = tuple(cards)
    records = part_records(cards)
    for card, record in zip(cards, records["parts"], strict=True):
        record["models"] = [
            {
                "maker": sheet.maker,
                "library": sheet.model.library,
                "device": sheet.model.device,
                "supply": sheet.model.supply_v,
                "arguments": sheet.model.as_dict(),
            }
            for sheet in model_sheets(card)
        ]
    return records


def sparkline(x: Sequence[float], y: Sequence[float], width: int = SPARK_WIDTH) -> str:
    """Return `y` over evenly spaced `x` as blocks, the lowest for its least and the highest for
    its greatest value; a flat line stands in the middle."""
    even = np.interp(np.linspace(x[0], x[-1], width), x, y)
    low, span = min(y), max(y) - min(y)
    share = (even - low) / span if span else np.full(width, 0.5)
    return "".join(BLOCKS[round(float(s) * (len(BLOCKS) - 1))] for s in share)


def _supplies(column: Column) -> tuple[float | None, ...]:
    tables = [column.tables[name] for name in _DEFINING if column.has(name)]
    return tables[0].supplies or (None,) if tables else (None,)


def _curves(card: Card) -> Iterator[CurveSheet]:
    for column in card.columns:
        for curve in column.curves.values():
            if curve.x_unit == "°C":
                yield _sheet(column.maker, curve.name, curve.x, curve.y)
    if card.technology is not None:
        law = card.technology.law
        for name, values in (("lowest", law.low), ("typical", law.typical), ("highest", law.high)):
            yield _sheet("", name, law.temperatures_c, values)


def _sheet(maker: str, name: str, x: Sequence[float], y: Sequence[float]) -> CurveSheet:
    return CurveSheet(maker, name, x[0], x[-1], min(y), max(y), sparkline(x, y))
