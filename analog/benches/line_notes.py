"""What the report says about a line sense besides its measures."""

from __future__ import annotations

from analog.benches.line_limits import transition_limits
from analog.benches.line_network import USUAL_RESERVOIR_F, LineNetwork
from analog.benches.line_receiver import Receiver
from analog.benches.own_notes import own_notes


def line_notes(network: LineNetwork, receiver: Receiver) -> tuple[str, ...]:
    """Return the notes on winding, parts and receiver, one sentence or two each."""
    low, typical, high = (f"{100 * share:.3g}" for share in network.winding.regulation)
    notes = [
        f"Winding of {network.winding.voltage_v:g} V, {network.winding.rating_va:g} VA with a "
        f"regulation of {low} % to {high} %, {typical} % typical.",
        _pin_note(network, receiver),
    ]
    if network.parts.supply != "none" and network.design.supply.reservoir is None:
        notes.append(f"No reservoir is stated: {1e6 * USUAL_RESERVOIR_F:g} µF is taken.")
    if network.parts.supply != "none":
        notes.append("The stored charge of the rectifier diodes is left out (about 1 µs).")
    if network.parts.topology == "bridge-leg" and not network.parts.bleed:
        notes.append(
            "A bridge leg wants a bleed resistor: without one it floats between the bridge's "
            "conduction peaks, and the falling edge moves with the supply's load."
        )
    if network.zener is not None:
        notes.append(
            "The Zener diode is simulated with its soft knee: far below its test current its "
            "voltage is lower, by 3.9 times its resistance at 1 mA times 1 mA at 0.1 mA."
        )
    if network.own is not None:
        notes += own_notes("filter", network.own.own)
        notes.append(f"The filter is given {network.own.cycles} mains cycles to settle.")
    notes.append(_edge_note(receiver))
    if not receiver.schmitt:
        kinds = {"gate": "a plain gate", "npn": "a transistor", "own": "a sub-circuit"}
        where = kinds.get(receiver.kind, "the clocked part itself")
        notes.append(f"The filtered edge is judged at {where}, hysteresis 0.")
    return tuple(notes)


def _pin_note(network: LineNetwork, receiver: Receiver) -> str:
    """Say what protects the receiver's input."""
    if receiver.kind == "own":
        return "The receiver is a sub-circuit of the user's own; only what is in it protects it."
    if receiver.card.kind != "npn":
        return (
            "The receiver's pin has a series resistor and protection diodes (from memory); they "
            "act beside any clamp diodes outside."
        )
    if network.parts.clamp == "input":
        return "A base wants a clamp: nothing else keeps the pin from its reverse breakdown."
    return "The base has no protection of its own; the clamp keeps it from reverse breakdown."


def _edge_note(receiver: Receiver) -> str:
    """Say which part decides how slow an edge may be."""
    part = receiver.card.identifier
    if receiver.schmitt or not transition_limits(receiver.card, receiver.columns, receiver.rail):
        return f"How slow the edge may be is the {part}'s to say: its maker sets no limit."
    return f"How slow the edge may be is limited by the {part}, whose input takes it."
