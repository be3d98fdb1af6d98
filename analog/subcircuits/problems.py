"""Where something stands in a sub-circuit file, and how its faults are gathered."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field

from analog.errors import InputError, Problem
from analog.subcircuits.limits import MOST_PROBLEMS

_SHOWN = 40


@dataclass(frozen=True, slots=True)
class Place:
    """A line and a column of the file, both from 1."""

    line: int
    column: int


START = Place(1, 1)


class FaultError(Exception):
    """One broken rule; it ends the reading of its card, not that of the file."""

    def __init__(self, place: Place, rule: str, remedy: str) -> None:
        super().__init__(place, rule, remedy)
        self.place = place
        self.rule = rule
        self.remedy = remedy


@dataclass(slots=True)
class Faults:
    """The faults found so far in the file called `filename`; each is kept once."""

    filename: str
    found: dict[Problem, None] = field(default_factory=dict)

    @contextmanager
    def gathered(self) -> Iterator[None]:
        """Keep a fault that ends what is done inside."""
        try:
            yield
        except FaultError as fault:
            self.add(fault.place, fault.rule, fault.remedy)

    def add(self, place: Place, rule: str, remedy: str) -> None:
        """Note a broken rule; beyond the first fifty nobody reads on."""
        if len(self.found) < MOST_PROBLEMS:
            file = shown(self.filename, 400)
            self.found[Problem(file, place.line, place.column, "", "", rule, remedy)] = None

    def check(self) -> None:
        """Raise an InputError with everything found, in the order of the lines."""
        if self.found:
            order = sorted(self.found, key=lambda problem: (problem.line, problem.column))
            raise InputError(tuple(order))


def shown(text: str, longest: int = _SHOWN) -> str:
    """Return a text of the file fit for a message: one line, printable, not long."""
    safe = "".join(
        sign if sign.isprintable() else sign.encode("unicode_escape").decode() for sign in text
    )
    return safe if len(safe) <= longest else safe[:longest] + "…"
