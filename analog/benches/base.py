"""What a bench is: a function from a design to scenes and limits, plus a registration line.

A `Scene` is one experiment over one space of guaranteed values. A bench with several makers'
columns, or with a ramp and a push-button, has several scenes; the worst over all scenes that
give a measure is that measure's worst.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from analog.circuits.record import Experiment
from analog.circuits.space import Floats, Space
from analog.design import Design
from analog.verdicts import Limit

if TYPE_CHECKING:
    from analog.benches.trials import Trials  # which is made of what benches share


@dataclass(frozen=True, slots=True)
class Measure:
    """A measured quantity: its id (a contract), unit, name in words and what "worst" means.

    `worst` is the side searched for extremes: ``max``, ``min`` or ``both``. `scale` (in the
    unit) is what 0.5 % accuracy of an extreme refers to and what a margin to a limit of 0 is
    divided by.
    """

    identifier: str
    unit: str
    title: str
    worst: Literal["min", "max", "both"]
    scale: float
    definition: str = ""


@dataclass(frozen=True, slots=True)
class Curve:
    """A trace to plot, by its save name, with its label and unit."""

    trace: str
    label: str
    unit: str


@dataclass(frozen=True, slots=True)
class Level:
    """A horizontal line: a threshold or limit, by number or by the name of a row parameter."""

    label: str
    value: float | str
    unit: str


@dataclass(frozen=True, slots=True)
class Mark:
    """A measured point on a curve: `time` names a reducer output (s), `trace` the curve."""

    label: str
    time: str
    trace: str


AxisKind = Literal["zero", "close"]


@dataclass(frozen=True, slots=True)
class Plot:
    """A figure of a scene: drawn at nominal and at the worst case of `measure`.

    `naming` tells the worst case's sample apart: (words, name of a row parameter, unit). The
    axis of values holds zero, unless what counts lies `close` together far from it.
    """

    title: str
    measure: str
    curves: tuple[Curve, ...]
    levels: tuple[Level, ...] = ()
    marks: tuple[Mark, ...] = ()
    window: tuple[str, str] | tuple[float, float] | None = None
    axis: AxisKind = "zero"
    naming: tuple[tuple[str, str, str], ...] = ()


Derive = Callable[[Mapping[str, Floats]], Mapping[str, Floats]]


@dataclass(frozen=True, slots=True)
class Scene:
    """One experiment over one space.

    `derive` maps {axis key: values, shape (n,)} to {parameter name: values, shape (n,)}: every
    parameter that the circuit, the analysis and the reducer use. `measures` are those of the
    reducer's outputs that are measures of the bench (the rest are marks for plots).
    """

    identifier: str
    title: str
    experiment: Experiment
    space: Space
    derive: Derive
    measures: tuple[str, ...]
    plots: tuple[Plot, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """A bench applied to a design: `limits` by measure id; `notes` go into the report.

    `trials` are tried at a few stated points instead of being searched for the worst.
    """

    bench: str
    title: str
    measures: tuple[Measure, ...]
    scenes: tuple[Scene, ...]
    limits: Mapping[str, tuple[Limit, ...]]
    notes: tuple[str, ...] = ()
    trials: Trials | None = None


@dataclass(frozen=True, slots=True)
class Bench:
    """A registered bench. `section` is the design section whose presence makes it run, unless
    `needs` asks for more."""

    identifier: str
    title: str
    section: str
    plan: Callable[[Design], Plan]
    needs: Callable[[Design], bool] | None = None

    def runs_on(self, design: Design) -> bool:
        """Tell whether the design has what this bench checks."""
        if getattr(design, self.section) is None:
            return False
        return self.needs is None or self.needs(design)
