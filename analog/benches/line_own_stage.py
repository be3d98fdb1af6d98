"""A user's own sub-circuit as the receiver of the filtered signal.

What is surely high and surely low at its input nobody can know but its user, so the design states
both; the sub-circuit itself is simulated with the filter, and loads it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from analog.benches.line_receiver import Receiver
from analog.benches.own_notes import own_notes
from analog.cards import Card, Column, Figure, Source
from analog.circuits.own_input import input_picture, own_input, stage_parameters
from analog.circuits.record import Element, Model
from analog.circuits.space import Axis, Floats, RangeAxis
from analog.design import Conditioner, OwnCircuit, Spread


@dataclass(frozen=True, slots=True)
class OwnReceiver(Receiver):
    """The sub-circuit with the input levels (V) its design states, at any rail."""

    own: OwnCircuit = field(kw_only=True)
    stated_low_v: float = field(kw_only=True)
    stated_high_v: float = field(kw_only=True)
    inverts: bool = field(kw_only=True)

    @property
    def kind(self) -> str:
        """Return that it is no part of a card."""
        return "own"

    @property
    def notes(self) -> tuple[str, ...]:
        """Return where it is from, what its ports are, and which parts of it vary."""
        return own_notes("stage", self.own)

    @property
    def names(self) -> tuple[str, str]:
        """Return what its input levels are called."""
        return ("stated high", "stated low")

    def axes(self) -> tuple[Axis, ...]:
        """Return the ranges of the parts whose tolerance is stated."""
        return tuple(
            RangeAxis(
                part.spread.key, part.unit, part.spread.low, part.spread.nominal, part.spread.high
            )
            for part in self.own.spreads
        )

    def input_rows(self, values: Mapping[str, Floats], ambient_c: Floats) -> dict[str, Floats]:
        """Return the parameters of those parts; nothing leaks besides."""
        names = stage_parameters(self.own)
        rows = {names[part.place]: values[part.spread.key] for part in self.own.spreads}
        return {**rows, "i_leak": np.zeros(np.shape(ambient_c))}

    def pin(self, x: float) -> tuple[tuple[Element, ...], tuple[Model, ...]]:
        """Return the sub-circuit from the pin to its output, and its models."""
        del x  # it is drawn as a box
        return own_input(self.own)

    def picture(self, x: float) -> tuple[Element, ...]:
        """Return the box that stands for it in a picture."""
        return (input_picture(self.own, x),)

    def plain_ends(self, column: Column, rail: Floats) -> tuple[Floats, Floats]:
        """Return the stated low and high voltage at the pin (V)."""
        del column  # it has no makers
        return np.full(np.shape(rail), self.stated_low_v), np.full(
            np.shape(rail), self.stated_high_v
        )

    def upper(self, column: Column, vdd: float) -> Figure:
        """Return the stated high level as a figure."""
        del column, vdd
        return _stated("stated high", "subcircuit_high", self.stated_high_v, None)

    def lower(self, column: Column, vdd: float) -> Figure:
        """Return the stated low level as a figure."""
        del column, vdd
        return _stated("stated low", "subcircuit_low", None, self.stated_low_v)


def _stated(name: str, key: str, low: float | None, high: float | None) -> Figure:
    source = Source("document", f"conditioner.{key} as the design states it")
    return Figure(name, "V", low, None, high, "", source)


def own_receiver(conditioner: Conditioner, rail: Spread) -> OwnReceiver:
    """Return the receiver of a design whose conditioner is a sub-circuit; ValueError without."""
    own, low, high = conditioner.own, conditioner.subcircuit_low, conditioner.subcircuit_high
    if own is None or low is None or high is None:
        raise ValueError("a sub-circuit as conditioner needs its file and its input levels")
    return OwnReceiver(
        _card(own),
        _card(own).columns,
        "conditioner",
        1,
        rail,
        own=own,
        stated_low_v=low,
        stated_high_v=high,
        inverts=conditioner.subcircuit_inverts,
    )


def _card(own: OwnCircuit) -> Card:
    """Return the sub-circuit as a part without figures: nobody limits how slow its edge may be."""
    stated = Source("document", "a sub-circuit: what it does is simulated")
    column = Column("sub-circuit", "as brought", {}, {}, {}, None, True, stated, "")
    return Card(
        identifier="sub-circuit",
        kind="gate",
        title="a sub-circuit of the user's own",
        family="",
        library="",
        aliases=(),
        columns=(column,),
        note="",
        file=own.file,
        sha256=own.sha256,
    )
