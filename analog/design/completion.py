"""Fills in what a design leaves to its other sections and to the part cards."""

from __future__ import annotations

from typing import Any

from analog.cards import Card, all_cards, find_card
from analog.design.record import Design, Reset


def completed(design: Design) -> Design:
    """Return the design with every default that depends on another section or on a card.

    The rated voltage of the load is the mains'; the part that the reset drives is the clocked
    one; the rail counts as valid from the highest minimum supply among the driven part's makers;
    a winding has the typical regulation of the transformer card nearest in rating.
    """
    changes: dict[str, Any] = {}
    supply, sense = design.supply, design.line_sense
    if supply.transformer_regulation is None and supply.transformer_rating is not None:
        regulation = typical_regulation(supply.transformer_rating)
        changes["supply"] = supply.model_copy(update={"transformer_regulation": regulation})
    if sense is not None and sense.winding_regulation is None and sense.winding_rating is not None:
        regulation = typical_regulation(sense.winding_rating)
        changes["line_sense"] = sense.model_copy(update={"winding_regulation": regulation})
    if design.load is not None and design.load.voltage is None and design.mains is not None:
        changes["load"] = design.load.model_copy(update={"voltage": design.mains.voltage})
    if design.reset is not None:
        defaults = _reset_defaults(design, design.reset)
        changes["reset"] = design.reset.model_copy(update=defaults)
    return design.model_copy(update=changes)


def _reset_defaults(design: Design, reset: Reset) -> dict[str, Any]:
    driven = reset.driven or (design.clocked.part if design.clocked is not None else None)
    found: dict[str, Any] = {"driven": driven}
    if reset.valid_supply is None:
        found["valid_supply"] = lowest_supply(driven or reset.receiver)
    return found


def lowest_supply(part: str) -> float | None:
    """Return the supply (V) from which every maker's `part` works, None when no card says."""
    columns = find_card(part).columns
    ends = [c.figure("supply_minimum").low for c in columns if c.has("supply_minimum")]
    return max(ends, default=None)


def transformer_card(rating_va: float) -> Card:
    """Return the transformer card nearest in rating (in ratio) to `rating_va`, in VA."""

    def distance(card: Card) -> float:
        rating = card.columns[0].figure("rating").centre
        return max(rating / rating_va, rating_va / rating)

    return min((card for card in all_cards() if card.kind == "transformer"), key=distance)


def typical_regulation(rating_va: float) -> float:
    """Return the typical share by which the open voltage of such a transformer is higher."""
    return transformer_card(rating_va).columns[0].figure("regulation").centre
