"""Fills in what a design leaves to its other sections and to the part cards."""

from __future__ import annotations

from typing import Any

from analog.cards import find_card
from analog.design.record import Design


def completed(design: Design) -> Design:
    """Return the design with every default that depends on another section or on a card.

    The rated voltage of the load is the mains'; the part that the reset drives is the clocked
    one; the rail counts as valid from the highest minimum supply among the driven part's makers.
    """
    changes: dict[str, Any] = {}
    if design.load is not None and design.load.voltage is None and design.mains is not None:
        changes["load"] = design.load.model_copy(update={"voltage": design.mains.voltage})
    if design.reset is not None:
        changes["reset"] = design.reset.model_copy(update=_reset_defaults(design))
    return design.model_copy(update=changes) if changes else design


def _reset_defaults(design: Design) -> dict[str, Any]:
    reset, clocked = design.reset, design.clocked
    assert reset is not None  # the caller checked
    driven = reset.driven or (clocked.part if clocked is not None else None)
    found: dict[str, Any] = {"driven": driven}
    if reset.valid_supply is None:
        found["valid_supply"] = lowest_supply(driven or reset.receiver)
    return found


def lowest_supply(part: str) -> float | None:
    """Return the supply (V) from which every maker's `part` works, None when no card says."""
    columns = find_card(part).columns
    ends = [c.figure("supply_minimum").low for c in columns if c.has("supply_minimum")]
    return max(ends, default=None)
