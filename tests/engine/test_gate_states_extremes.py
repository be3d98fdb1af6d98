"""The worst cases that the search finds in the scenes with a plainly conducting or blocking triac,
against every corner of their spaces and points at random inside."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import product
from pathlib import Path

import gate_designs as made
import numpy as np
import pytest

from analog.benches.gate_drive import plan
from analog.design import read_design
from analog.engine import Engine, open_engine
from analog.studies.archive import Objective
from analog.studies.extremes import extremes
from analog.workflows.scenes import SceneRunner

Counts = Callable[[int, int], int]
Figure = Callable[[str], None]

CABINET = Path(__file__).parents[2] / "analog" / "scenarios" / "proofing-cabinet.toml"
MOST = 500


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


@pytest.mark.parametrize("identifier", ["running", "off", "switch-on", "let-go", "inrush"])
def test_no_corner_is_worse(
    engine: Engine, counts: Counts, figure: Figure, identifier: str
) -> None:
    """Within 0.5 % of the span between nominal and worst, as is claimed of every extreme."""
    made_plan = plan(read_design(CABINET))
    scene = made.scene(made_plan, identifier)
    width = len(scene.space.axes)
    measures = [m for m in made_plan.measures if m.identifier in scene.measures]
    names = [m.identifier for m in measures]
    objectives = [
        Objective(scene.experiment.outputs.index(m.identifier),
                  "min" if m.worst == "min" else "max", m.scale)
        for m in measures
    ]  # fmt: skip
    found = extremes(scene.space, SceneRunner(scene, engine), tuple(objectives), MOST, 0)
    random = np.random.default_rng(17)
    corners = np.array(list(product((-1.0, 1.0), repeat=width)))
    inside = random.uniform(-1, 1, (counts(20, 400), width))
    rows = made.rows(scene, np.vstack([corners, inside]))
    outcome = engine.run(scene.experiment, *rows)
    assert not outcome.failures
    for name, objective, worst in zip(names, objectives, found.worst, strict=True):
        sign = 1.0 if objective.side == "max" else -1.0
        nominal = float(found.values[0, objective.output])
        best = float(worst.value or 0.0)
        others = sign * outcome.column(name)
        short = (others.max() - sign * best) / max(abs(best - nominal), 1e-12)
        figure(f"{identifier}, {name}: {short:+.2%} of the span")
        assert short < 5e-3
