"""What a conformance measure gets: one maker's part at one supply, and its model's arguments."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from analog.cards import Card, Column, Figure
from analog.circuits.part_models import PartModel, part_model


@dataclass(frozen=True, slots=True)
class Part:
    """A column of a card, at a supply (V) where its figures depend on one."""

    card: Card
    column: Column
    vdd: float | None = None

    @property
    def label(self) -> str:
        supply = "" if self.vdd is None else f"-{self.vdd:g}V"
        return f"{self.card.identifier}-{self.column.maker}{supply}"

    @property
    def supply(self) -> float:
        if self.vdd is None:
            raise ValueError(f"{self.label} has no supply")
        return self.vdd

    def has(self, name: str) -> bool:
        return self.column.has(name) or name in self.column.curves

    def figure(self, name: str) -> Figure:
        return self.column.figure(name, self.vdd)

    def centre(self, name: str) -> float:
        return self.figure(name).centre

    @property
    def model(self) -> PartModel:
        model = part_model(self.card, self.column, self.vdd)
        if model is None:
            raise ValueError(f"{self.label} has no model")
        return model

    @property
    def arguments(self) -> dict[str, float]:
        return self.model.as_dict()


def parts_of(card: Card) -> Iterator[Part]:
    """Yield every column of a card, logic parts once for each supply of their tables."""
    for column in card.columns:
        for vdd in supplies_of(column) or (None,):
            yield Part(card, column, vdd)


def supplies_of(column: Column) -> tuple[float, ...]:
    """Return the supplies (V) of the input levels, empty for parts without such."""
    for name in ("V_P", "V_IH"):
        if column.has(name):
            return column.tables[name].supplies
    return ()
