"""What the report shows of suggestions that were made for the same design by the same programs."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from analog.render.sweepwords import percent
from analog.results import Results

FILE = "suggestions.json"
"""In a design's report folder: what `suggest --out` found, as its --json prints it."""

_MOST_BYTES = 4_000_000
_SHOWN = 10


class _Read(BaseModel):
    """Part of a file that anybody may have changed: what is shown of it, checked."""

    model_config = ConfigDict(frozen=True, extra="ignore", allow_inf_nan=False)


class Change(_Read):
    """One key of the design file; None for a key that is not there."""

    key: str
    before: str | None
    after: str | None


class Short(_Read):
    """A limit that a candidate does not keep with the margin asked for."""

    bench: str
    measure: str
    margin_share: float | None


class Candidate(_Read):
    """A changed design, checked whole at its guaranteed extremes."""

    changes: tuple[Change, ...]
    parts: int
    least_margin_share: float | None
    short: tuple[Short, ...] = ()


class Swept(_Read):
    """What a sweep of one candidate came to."""

    claim: float
    outcome: Literal["proved", "refuted", "open"]
    boards: int | None
    low: float | None
    high: float | None

    @property
    def sentence(self) -> str:
        """The claim, what became of it and the interval it rests on."""
        said = f"that {percent(self.claim)} of boards work is {self.outcome}"
        if self.boards is None or self.low is None or self.high is None:
            return said
        return f"{said}: {percent(self.low)} to {percent(self.high)} do (n = {self.boards})"


class Runs(_Read):
    """Simulations that the search took."""

    check: int
    screening: int
    verification: int


class _Made(_Read):
    name: str
    version: str


class _Design(_Read):
    sha256: str


class Suggestions(_Read):
    """The stored outcome of `suggest`; `margin` is the share every limit must be kept by."""

    kind: Literal["edgeproof-suggest-1"] = Field(alias="schema")
    package_version: str
    design: _Design
    engine: _Made
    status: Literal["none needed", "found", "none", "undecided"]
    margin: float
    present: Candidate
    suggestions: tuple[Candidate, ...]
    closest: Candidate | None
    sweeps: tuple[Swept, ...] = ()
    runs: Runs

    @property
    def sentence(self) -> str:
        """What came out, in a sentence."""
        count, asked = len(self.suggestions), percent(self.margin)
        one = "One change to stock parts, checked whole at its guaranteed extremes"
        several = (
            f"{count} sets of changes to stock parts, the smallest first, each checked whole at "
            "its guaranteed extremes"
        )
        return {
            "none needed": f"Every limit is kept by {asked} of it or more: nothing need change.",
            "found": f"{one if count == 1 else several}: every limit is kept by {asked} of it "
            "or more.",
            "none": "No change to stock parts that was in the search keeps every limit by "
            f"{asked} of it.",
            "undecided": "Nothing was found before the budget of simulations ended.",
        }[self.status]

    @property
    def shown(self) -> tuple[tuple[int, Candidate, Swept | None], ...]:
        """The candidates with their numbers, and the sweep of each if there is one."""
        sweeps = (*self.sweeps, *[None] * len(self.suggestions))
        return tuple(zip(range(1, _SHOWN + 1), self.suggestions, sweeps, strict=False))


def stored_suggestions(folder: Path, now: Results) -> Suggestions | None:
    """Return the suggestions kept in a report folder.

    None when there are none to be read, or when design, package or engine was another.
    """
    path = folder / FILE
    try:
        if path.stat().st_size > _MOST_BYTES:
            return None
        found = Suggestions.model_validate_json(path.read_bytes())
    except (OSError, ValidationError):
        return None
    same = (
        found.design.sha256 == now.design.sha256
        and found.package_version == now.package_version
        and (found.engine.name, found.engine.version) == (now.engine.name, now.engine.version)
    )
    return found if same else None
