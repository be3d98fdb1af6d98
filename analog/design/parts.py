"""Rules about part names: known, of the right kind, of a known maker, alive at the rail."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from analog.cards import Card, Column, UnknownMakerError, UnknownPartError, find_card
from analog.design.findings import Draft, Finding, finding

NO_PART: Final = "none"
NOT_CARDS: Final = (NO_PART, "subcircuit")
"""Words that stand for a conditioner which is no part of a card."""


@dataclass(frozen=True, slots=True)
class Role:
    """A key that names a part: the kinds that fit, the key of its maker, and if the rail feeds it.

    `words` says what is wanted.
    """

    key: str
    kinds: tuple[str, ...]
    words: str
    maker_key: str = ""
    on_rail: bool = False


ROLES: Final = (
    Role("supply.rectifier_diode", ("diode",), "a diode"),
    Role("supply.regulator", ("regulator",), "a regulator"),
    Role("line_sense.clamp_diode", ("diode",), "a diode"),
    Role("line_sense.clamp_zener", ("zener",), "a Zener diode"),
    Role("line_sense.isolating_diode", ("diode",), "a diode"),
    Role("line_sense.antiparallel_diode", ("diode",), "a diode"),
    Role("line_sense.optocoupler", ("optocoupler",), "a phototransistor optocoupler"),
    Role(
        "conditioner.part",
        ("schmitt", "gate", "npn"),
        "a Schmitt part, a gate or an NPN transistor",
        "conditioner.maker",
        True,
    ),
    Role("clocked.part", ("clocked",), "a clocked part", "clocked.maker", True),
    Role(
        "reset.receiver",
        ("schmitt", "clocked", "gate"),
        "a logic part",
        "reset.maker",
        True,
    ),
    Role("reset.driven", ("clocked",), "a clocked part", "", True),
    Role("reset.discharge_diode", ("diode",), "a diode"),
    Role("reset.zener", ("zener",), "a Zener diode"),
    Role("reset.transistor", ("npn",), "an NPN transistor"),
    Role("reset.detector", ("detector",), "a voltage detector", "", True),
    Role(
        "gate_drive.source",
        ("schmitt", "clocked", "gate"),
        "a logic part",
        "gate_drive.source_maker",
        True,
    ),
    Role("gate_drive.opto", ("opto_triac",), "an opto-triac", "gate_drive.opto_maker"),
    Role("gate_drive.triac", ("triac",), "a triac", "gate_drive.triac_maker"),
    Role("gate_drive.varistor", ("varistor",), "a varistor"),
)
_DRIVERS: Final = {
    "npn": ("npn", "an NPN transistor"),
    "pnp": ("pnp", "a PNP transistor"),
    "nmos": ("nmos", "an N-channel MOSFET"),
}


def part_rules(draft: Draft) -> Iterator[Finding]:
    """Yield every part that is unknown, of the wrong kind or maker, or dead at this rail."""
    for role in (*ROLES, *_driver_role(draft)):
        name = draft.value(role.key)
        if name is None or (role.key == "conditioner.part" and name in NOT_CARDS):
            continue
        try:
            card = find_card(name)
        except UnknownPartError as error:
            yield finding(role.key, "no part card has this name", error.remedy)
            continue
        if card.kind not in role.kinds:
            rule = f"{card.identifier} is not {role.words}: {card.title}"
            yield finding(role.key, rule, f"'edgeproof parts' lists what is {role.words}")
            continue
        yield from _maker_and_rail(draft, role, card)
        if role.key == "conditioner.part" and draft.value("conditioner.inputs_tied"):
            yield from _tied(card)


def _driver_role(draft: Draft) -> Iterator[Role]:
    kind, words = _DRIVERS.get(draft.value("gate_drive.driver") or "", ("", ""))
    if kind:
        yield Role("gate_drive.driver_part", (kind,), words)


def _maker_and_rail(draft: Draft, role: Role, card: Card) -> Iterator[Finding]:
    maker = draft.value(role.maker_key) if role.maker_key else None
    try:
        columns = card.chosen(maker)
    except UnknownMakerError as error:
        rule = f"the card of {card.identifier} has no column of this maker"
        yield finding(role.maker_key, rule, error.remedy)
        return
    if role.on_rail:
        yield from _alive(draft, role, card, columns)


def _tied(card: Card) -> Iterator[Finding]:
    """Only a gate has two inputs to tie, and its card then gives thresholds for that."""
    if not any(column.has("V_P_tied") for column in card.columns):
        rule = f"the card of {card.identifier} gives no thresholds for tied inputs"
        yield finding(
            "conditioner.inputs_tied", rule, "Drop it, or use a Schmitt gate such as 4093"
        )


def _alive(draft: Draft, role: Role, card: Card, columns: tuple[Column, ...]) -> Iterator[Finding]:
    """Compare the whole rail, tolerance included, with the recommended supply range."""
    rail = draft.value("supply.rail")
    if rail is None:
        return
    highest = min(_ends(columns, "supply_maximum"), default=None)
    lowest = max(_ends(columns, "supply_minimum"), default=None)
    if highest is not None and rail.high > highest:
        rule = f"the rail reaches {rail.high:.4g} V, {card.identifier} is made for {highest:g} V"
        yield finding(role.key, rule, "Lower the rail or use a part of another family")
    if lowest is not None and rail.low < lowest:
        rule = f"the rail falls to {rail.low:.4g} V, {card.identifier} needs {lowest:g} V"
        yield finding(role.key, rule, "Raise the rail or use a part of another family")


def _ends(columns: tuple[Column, ...], name: str) -> list[float]:
    """Return one end of the supply range of every column that gives it."""
    figures = [column.figure(name) for column in columns if column.has(name)]
    return [figure.low if name == "supply_minimum" else figure.high for figure in figures]
