"""Boards at random: from uniform numbers to the values of every part in every scene.

A board is a set of named coordinates in (0, 1), each with its own stream of random numbers. What
one board has once has one coordinate, whichever benches and makers' columns ask for it: its
ambient temperature, rail and mains, the thresholds of one die, its age, the reel its parts came
from. A part has up to three: where it lies in its tolerance, in the band of its temperature law,
and in what a direct voltage takes from it.

Parts: as the technology's card says (constant density over the tolerance, or normal and cut off
at its ends) unless the design says otherwise. Everything else (a
range, a figure of a card): half of the boards on either side of the nominal or typical value,
constant density in each half. Thresholds of a Schmitt input follow one another, so that every
pair lies inside the bounds of V_P, V_N and V_H.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from pydantic import BaseModel

from analog.benches.base import Plan, Scene
from analog.cards import technology
from analog.circuits.space import Axis, Floats, PartAxis, bend
from analog.design import Design, PartValue, SpreadRule, problem_at
from analog.errors import Problem
from analog.studies import sampling
from analog.studies.distributions import SIGMAS, Distribution, Halves, Normal, Picked, Uniform

AGE = "environment.age"
"""Coordinate of the board's age: 0 new, 1 the ten years that the technology cards count ageing
to. All parts of a board are of one age."""


class Recipe(Protocol):
    """How one axis of a scene takes its values from a board's coordinates."""

    @property
    def coordinates(self) -> tuple[str, ...]: ...

    def values(self, numbers: Mapping[str, Floats], before: Mapping[str, Floats]) -> Floats:
        """Return SI values, shape (n,), from uniform numbers and the axes before."""
        ...


@dataclass(frozen=True, slots=True)
class AxisRecipe:
    """Any axis: its coordinate u in [-1, 1] is distributed, the axis does the rest."""

    axis: Axis
    spread: Distribution

    @property
    def coordinates(self) -> tuple[str, ...]:
        return (self.axis.key,)

    def values(self, numbers: Mapping[str, Floats], before: Mapping[str, Floats]) -> Floats:
        return self.axis.decode(self.spread.quantile(numbers[self.axis.key]), before)


@dataclass(frozen=True, slots=True)
class PartRecipe:
    """A resistor or capacitor: nominal × tolerance × temperature law × ageing × direct voltage.

    `ageing` is the card's loss over ten years, `bias` the lowest and highest change by direct
    voltage, all as shares. `reel` names the coordinate of the tolerance: parts off one reel
    share it.
    """

    axis: PartAxis
    spread: Distribution
    ageing: float
    bias: tuple[float, float]
    reel: str = ""

    @property
    def coordinates(self) -> tuple[str, ...]:
        return tuple(name for name in (self._tolerance, self._law, self._age, self._bias) if name)

    def values(self, numbers: Mapping[str, Floats], before: Mapping[str, Floats]) -> Floats:
        axis = self.axis
        tolerance = self.spread.quantile(numbers[self._tolerance])
        values = axis.nominal * (1 + tolerance)
        if self._law:
            ambient = before[axis.temperature_key]
            sides = (axis.law.low, axis.law.typical, axis.law.high)
            law = [np.interp(ambient, axis.law.temperatures_c, side) for side in sides]
            values = values * (1 + bend(2 * numbers[self._law] - 1, *law))
        if self._age:
            values = values * (1 + self.ageing * numbers[AGE])
        if self._bias:
            low, high = self.bias
            values = values * (1 + low + numbers[self._bias] * (high - low))
        return np.asarray(values)

    @property
    def _tolerance(self) -> str:
        return f"reel {self.reel}" if self.reel else f"{self.axis.key} tolerance"

    @property
    def _law(self) -> str:
        law = self.axis.law
        flat = all(side == 0 for side in (*law.low, *law.typical, *law.high))
        return "" if flat else f"{self.axis.key} temperature"

    @property
    def _age(self) -> str:
        return AGE if self.ageing else ""

    @property
    def _bias(self) -> str:
        return f"{self.axis.key} voltage" if any(self.bias) else ""


@dataclass(frozen=True, slots=True)
class BoardScene:
    """One scene of one bench, with a recipe for each of its axes."""

    plan: Plan
    scene: Scene
    recipes: tuple[Recipe, ...]

    @property
    def coordinates(self) -> tuple[str, ...]:
        """The coordinates this scene depends on, each once."""
        return tuple(dict.fromkeys(name for one in self.recipes for name in one.coordinates))

    def values(self, numbers: Mapping[str, Floats]) -> dict[str, Floats]:
        """Return {axis key: SI values, shape (n,)} from {coordinate: uniform numbers}."""
        values: dict[str, Floats] = {}
        for axis, recipe in zip(self.scene.space.axes, self.recipes, strict=True):
            values[axis.key] = recipe.values(numbers, values)
        return values

    def rows(self, numbers: Mapping[str, Floats]) -> tuple[tuple[str, ...], Floats]:
        """Return the engine's parameter names and rows (n, names)."""
        parameters = self.scene.derive(self.values(numbers))
        count = len(next(iter(numbers.values()), np.empty(0)))
        names = tuple(parameters)
        columns = [np.broadcast_to(np.asarray(parameters[n], float), count) for n in names]
        return names, np.column_stack(columns) if columns else np.empty((count, 0))


@dataclass(frozen=True, slots=True)
class Boards:
    """All scenes of a design, and the coordinates of its boards in a fixed order."""

    scenes: tuple[BoardScene, ...]
    coordinates: tuple[str, ...] = field(default=())

    def independent(self, seed: int, start: int, count: int) -> dict[str, Floats]:
        """Return the coordinates of boards `start` to `start` + `count` - 1."""
        return self.named(sampling.independent(seed, self.coordinates, start, count))

    def replicate(self, seed: int, number: int, count: int) -> dict[str, Floats]:
        """Return the coordinates of one scrambled Sobol' replicate."""
        return self.named(sampling.replicate(seed, number, self.coordinates, count))

    def named(self, points: Floats) -> dict[str, Floats]:
        """Return points (n, coordinates) as {coordinate: numbers (n,)}."""
        return dict(zip(self.coordinates, points.T, strict=True))


def boards(design: Design, plans: Sequence[Plan]) -> Boards:
    """Return the boards of a design as its cards, tolerances and own rules let them be.

    ValueError for a rule that leaves nothing of a part's tolerance, see `spread_problems`.
    """
    parts = {part.key: part for part in design_parts(design)}
    rules = {rule.of: rule for rule in design.spread}
    scenes = tuple(
        BoardScene(plan, scene, tuple(_recipe(axis, parts, rules) for axis in scene.space.axes))
        for plan in plans
        for scene in plan.scenes
    )
    names = dict.fromkeys(name for scene in scenes for name in scene.coordinates)
    return Boards(scenes, tuple(sorted(names)))


def design_parts(record: BaseModel) -> Iterator[PartValue]:
    """Yield every resistor and capacitor of a design."""
    for name in type(record).model_fields:
        value = getattr(record, name)
        if isinstance(value, PartValue):
            yield value
        elif isinstance(value, BaseModel):
            yield from design_parts(value)


def spread_problems(
    design: Design, plans: Sequence[Plan], filename: str = "design"
) -> tuple[Problem, ...]:
    """Return what is wrong with the design's own rules, seen from the values that vary."""
    parts = {part.key: part for part in design_parts(design)}
    keys = {axis.key for plan in plans for scene in plan.scenes for axis in scene.space.axes}
    return tuple(
        problem_at(design, filename, f"spread[{index}].{name}", words, remedy)
        for index, rule in enumerate(design.spread)
        for name, words, remedy in _rule_faults(rule, parts, keys)
    )


def _rule_faults(
    rule: SpreadRule, parts: Mapping[str, PartValue], keys: set[str]
) -> Iterator[tuple[str, str, str]]:
    if rule.of != "parts" and rule.of not in keys:
        near = difflib.get_close_matches(rule.of, sorted(keys), 3, 0.0)
        yield "of", "no bench of this design varies it", f"The nearest are {', '.join(near)}"
    elif rule.of != "parts" and rule.of not in parts:
        for name in ("without", "reel"):
            if getattr(rule, name) is not None:
                yield name, "only resistors and capacitors are binned or reeled", f"Drop {name}"
    elif rule.without is not None:
        chosen = parts.values() if rule.of == "parts" else (parts[rule.of],)
        gone = [p.key for p in chosen if rule.without >= max(-p.tolerance_low, p.tolerance_high)]
        if gone:
            words = f"nothing of {', '.join(gone)} is left outside {100 * rule.without:g} %"
            yield "without", words, "Name a bin tighter than the part's tolerance"


def _recipe(axis: Axis, parts: Mapping[str, PartValue], rules: Mapping[str, SpreadRule]) -> Recipe:
    part, rule = parts.get(axis.key), rules.get(axis.key)
    if isinstance(axis, PartAxis) and part is not None:
        rule = rule or rules.get("parts")
        ageing, bias = _lasting(axis, part)
        reel = "" if rule is None or rule.reel is None else rule.reel
        return PartRecipe(axis, _tolerance(part, rule), ageing, bias, reel)
    if rule is not None and rule.distribution == "normal":
        return AxisRecipe(axis, Normal(-1.0, 0.0, 1.0, rule.sigmas or SIGMAS))
    return AxisRecipe(axis, Halves(-1.0, 0.0, 1.0))


def _tolerance(part: PartValue, rule: SpreadRule | None) -> Distribution:
    """Return how a part lies in its tolerance: as its card says unless a rule says otherwise."""
    low, high = part.tolerance_low, part.tolerance_high
    card = technology(part.technology)
    shape, sigmas = card.distribution, card.sigmas
    if rule is not None and rule.distribution is not None:
        shape, sigmas = rule.distribution, rule.sigmas
    base = Normal(low, 0.0, high, sigmas or SIGMAS) if shape == "normal" else Uniform(low, high)
    without = None if rule is None else rule.without
    return base if without is None else Picked(base, -without, without)


def _lasting(axis: PartAxis, part: PartValue) -> tuple[float, tuple[float, float]]:
    """Return the loss by ageing, and the changes by direct voltage that the axis allows besides.

    The axis merges them into its ends; the part's own tolerance and the card take them apart.
    """
    ageing = min(0.0, technology(part.technology).ageing_low)
    low = (1 + axis.tolerance_low) / (1 + part.tolerance_low) / (1 + ageing) - 1
    high = (1 + axis.tolerance_high) / (1 + part.tolerance_high) - 1
    return ageing, (min(0.0, round(low, 12)), max(0.0, round(high, 12)))
