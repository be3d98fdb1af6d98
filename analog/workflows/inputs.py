"""Which files, besides the design, an outcome rests on: cards and models, by hash."""

from __future__ import annotations

import hashlib
from collections.abc import Iterable, Iterator
from typing import get_args

from pydantic import BaseModel

from analog.benches.base import Plan
from analog.cards import Card, UnknownPartError, find_card, model_text
from analog.design import Design, PartValue
from analog.design.basis import notation_marks
from analog.design.kinds import PartName

_PART_NAME = get_args(PartName)[1]


def input_hashes(design: Design, plans: Iterable[Plan]) -> dict[str, str]:
    """Return {file name in `models/`: SHA-256} of the cards and models used, sorted."""
    found = {f"cards/{card.file}": card.sha256 for card in cards_used(design)}
    for name in _libraries(plans):
        found[f"{name}.lib"] = hashlib.sha256(model_text(name).encode()).hexdigest()
    return dict(sorted(found.items()))


def cards_used(design: Design) -> tuple[Card, ...]:
    """Return the cards of all parts and technologies the design names, once each."""
    found: dict[str, Card] = {}
    for name in _part_names(design):
        try:
            card = find_card(name)
        except UnknownPartError:
            continue  # "none", or a maker: reading the design has refused what is misspelt
        found[card.identifier] = card
    return tuple(found.values())


def _part_names(record: BaseModel) -> Iterator[str]:
    for name, field in type(record).model_fields.items():
        value = getattr(record, name)
        if isinstance(value, BaseModel) and not isinstance(value, PartValue):
            yield from _part_names(value)
        elif isinstance(value, PartValue):
            yield value.technology
        elif isinstance(value, str) and _PART_NAME in notation_marks(field):
            yield value


def _libraries(plans: Iterable[Plan]) -> list[str]:
    scenes = (scene for plan in plans for scene in plan.scenes)
    return sorted({name for scene in scenes for name in scene.experiment.circuit.libraries})
