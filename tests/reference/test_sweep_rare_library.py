"""Rare failures against subset simulation as an independent library has it (pystra 1.6, method of
Au and Beck, Probabilistic Engineering Mechanics 16 (2001) 263-277), where no closed form exists."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pystra
import pytest

from analog.studies.levels import Beyond
from analog.studies.rare import rare

WIDTH, BUDGET = 5, 5000
LIBRARY_SAMPLES = 5_000


def ripple(x: np.ndarray) -> np.ndarray:
    """A plane with waves on it, so that no point on it is the nearest for sure."""
    waves = 0.3 * np.sin(3 * x[:, 1]) + 0.2 * x[:, 2] * x[:, 3]
    return np.asarray(x[:, 0] + 0.5 * x[:, 4] + waves - 4.6)


def hold_time(x: np.ndarray) -> np.ndarray:
    """-log of an RC product with a threshold: short hold times fail."""
    parts = np.exp(0.05 * x[:, 0]) * np.exp(0.1 * x[:, 1])
    level = np.clip(0.6 + 0.05 * x[:, 2] + 0.01 * x[:, 3] * x[:, 4], 0.05, 0.95)
    return np.asarray(math.log(0.47) - np.log(-parts * np.log(1 - level)))


CASES: dict[str, Beyond] = {"ripple": ripple, "hold time": hold_time}


def by_library(beyond: Beyond, repeats: int) -> tuple[float, float]:
    """Return the library's probability and its relative standard error over repeats."""
    names = [f"x{index}" for index in range(WIDTH)]

    def remaining(x0: float, x1: float, x2: float, x3: float, x4: float) -> np.ndarray:
        return -beyond(np.column_stack(np.broadcast_arrays(x0, x1, x2, x3, x4)))

    found = []
    for seed in range(repeats):
        np.random.seed(seed)  # the library draws from numpy's global generator
        model, options = pystra.StochasticModel(), pystra.AnalysisOptions()
        for name in names:
            model.addVariable(pystra.Normal(name, 0, 1))
        options.setPrintOutput(False)
        options.setSamples(LIBRARY_SAMPLES)
        analysis = pystra.SubsetSimulation(options, pystra.LimitState(remaining), model)
        analysis.run()
        found.append(analysis.Pf)
    mean = float(np.mean(found))
    return mean, float(np.std(found, ddof=1) / mean / math.sqrt(repeats))


@pytest.mark.parametrize("name", CASES)
def test_it_agrees_with_an_independent_library(
    name: str, counts: Callable[[int, int], int], figure: Callable[[str], None]
) -> None:
    beyond, repeats = CASES[name], counts(8, 40)
    theirs, their_error = by_library(beyond, repeats)
    ours = [rare(beyond, WIDTH, BUDGET, seed) for seed in range(repeats)]
    stated = [one.probability for one in ours if one.probability is not None]
    assert len(stated) >= 0.5 * repeats
    mean = float(np.mean(stated))
    error = float(np.std(stated, ddof=1) / mean / math.sqrt(len(stated)))
    figure(f"{mean:.3g} ± {error:.1%} against {theirs:.3g} ± {their_error:.1%}")
    assert abs(mean / theirs - 1) < 4 * math.hypot(error, their_error)
