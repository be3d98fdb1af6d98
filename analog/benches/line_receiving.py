"""Which receiver a design has: Schmitt stage, gate, transistor, sub-circuit, or clocked part."""

from __future__ import annotations

from analog.benches.line_own_stage import own_receiver
from analog.benches.line_receiver import Receiver
from analog.benches.line_transistor import transistor_receiver
from analog.cards import find_card
from analog.design import Design


def receiver_of(design: Design) -> Receiver:
    """Return the receiver of a design's filtered signal; ValueError when it has none."""
    conditioner, rail = design.conditioner, design.supply.rail
    if conditioner is not None and conditioner.part != "none":
        if conditioner.part == "subcircuit":
            return own_receiver(conditioner, rail)
        card = find_card(conditioner.part)
        if card.kind == "npn":
            return transistor_receiver(card, conditioner, rail, design.environment)
        columns = card.chosen(conditioner.maker)
        if not conditioner.inputs_tied:
            return Receiver(card, columns, "conditioner", 1, rail)
        # A maker who gives no figures for tied inputs is judged only when the design names it.
        tied = tuple(column for column in columns if column.has("V_P_tied"))
        return Receiver(card, tied or columns, "conditioner", 2, rail, "_tied" if tied else "")
    clocked = design.clocked
    if clocked is None:
        raise ValueError("the line-sense bench needs a receiver: conditioner or clocked")
    card = find_card(clocked.part)
    return Receiver(card, card.chosen(clocked.maker), "clocked", clocked.count, rail)
