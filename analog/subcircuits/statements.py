"""What a card says once its grammar has been checked: names still those of the file, no values."""

from __future__ import annotations

from dataclasses import dataclass, field

from analog.subcircuits.expressions import Formula
from analog.subcircuits.lines import Token
from analog.subcircuits.problems import Place

Formulas = dict[str, tuple[Formula, Place]]
"""Values by name, each with where its name stands."""


@dataclass(frozen=True, slots=True)
class Statement:
    """One element's card.

    `kind` is the first letter, "B" too for an E or G with an expression. `nodes` are node names;
    `controls` nodes (E, G) or names of elements (F, H, K); `model` that of a model or (X) of a
    sub-circuit. `shape` and `numbers` are a source's wave, or the one value of R, C, L and their
    like; `quantity` and `formula` a B source's. `keywords` holds what is written as name = value.
    """

    kind: str
    name: str
    place: Place
    nodes: tuple[Token, ...] = ()
    controls: tuple[Token, ...] = ()
    model: Token | None = None
    shape: str = ""
    numbers: tuple[Formula, ...] = ()
    quantity: str = ""
    formula: Formula | None = None
    keywords: Formulas = field(default_factory=dict)
    milli: str = ""
    """The text of a resistor's number that is scaled by M."""


@dataclass(frozen=True, slots=True)
class ModelStatement:
    """A ``.model`` card."""

    name: str
    place: Place
    type: str
    arguments: Formulas


@dataclass(slots=True)
class Definition:
    """A sub-circuit of the file, or (without a name) what stands outside all of them."""

    name: str
    place: Place
    ports: tuple[str, ...] = ()
    arguments: Formulas = field(default_factory=dict)
    parameters: Formulas = field(default_factory=dict)
    statements: dict[str, Statement] = field(default_factory=dict)
    models: dict[str, ModelStatement] = field(default_factory=dict)
