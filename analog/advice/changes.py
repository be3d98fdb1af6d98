"""What a change is, and how much it changes.

Changes are ranked by the number of parts touched, then by their size in steps of E24 (a step is
a factor of 10^(1/24), about 10 %), then by the margin they leave. A value counts the steps it
moves; what is no matter of a value counts as many steps as the constants below say (common
practice, no source: what it costs to get, to stock and to fit the part).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

OTHER_RATING: Final = 6.0
OTHER_MAKE: Final = 12.0
"""Another technology of the same value, which may be of another size."""
OTHER_GRADE: Final = 12.0
"""Another grade of the same type: the same case, pins and maker."""
OTHER_TYPE: Final = 24.0
"""Another type for the same job."""
REMOVED_PART: Final = 12.0
ADDED_PART: Final = 24.0
ADDED_STAGE: Final = 48.0
"""Another logic part or a free gate of one, with its wiring."""


@dataclass(frozen=True, slots=True)
class Edit:
    """A dotted key of the design file and its new value as written; None takes the key out."""

    key: str
    text: str | None


@dataclass(frozen=True, slots=True)
class Choice:
    """One thing that can be put in a place: the edits it takes, its size in E24 steps."""

    edits: tuple[Edit, ...]
    steps: float
    words: str


@dataclass(frozen=True, slots=True)
class Knob:
    """A place of the circuit and what can be put there, the smallest change first.

    `fine` are all choices; `coarse` those tried together with changes elsewhere.
    """

    name: str
    fine: tuple[Choice, ...]
    coarse: tuple[Choice, ...]

    @property
    def section(self) -> str:
        return self.name.partition(".")[0]


ChangeSet = tuple[Choice, ...]
"""One choice for each of several knobs."""


def steps_between(before: float, after: float) -> float:
    """Return how many steps of E24 lie between two values of one unit."""
    return abs(24.0 * math.log10(after / before))


def size(changes: ChangeSet) -> float:
    """Return the size of a set of changes in steps of E24."""
    return sum(choice.steps for choice in changes)


def edits_of(changes: ChangeSet) -> tuple[Edit, ...]:
    """Return all edits of a set of changes; of two edits of one key the later counts."""
    return tuple({edit.key: edit for choice in changes for edit in choice.edits}.values())


def words_of(changes: ChangeSet) -> str:
    """Return a set of changes in words."""
    return "; ".join(choice.words for choice in changes) or "nothing"
