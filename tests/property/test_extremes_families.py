"""How far the search falls short on random functions of 8 to 14 parameters, and what it costs."""

from __future__ import annotations

import numpy as np
import pytest
from synthetic_family import Synthetic, cube

from analog.studies import Objective, extremes

MOST_RUNS = 1500


def shortfalls(width: int, number: int) -> tuple[list[float], int]:
    """Return both sides' shortfalls as shares of the function's whole span, and the runs."""
    random = np.random.default_rng((width, number))
    function = Synthetic(width, random)
    low, high = (function.worst(sign, random) for sign in (-1.0, 1.0))
    span = high - low
    objectives = (Objective(0, "min", span), Objective(0, "max", span))
    found = extremes(cube(width), function.evaluate, objectives, MOST_RUNS, seed=number)
    least, most = (extreme.value for extreme in found.worst)
    assert least is not None
    assert most is not None
    return [(least - low) / span, (high - most) / span], found.runs


@pytest.mark.parametrize("width", [8, 10, 12, 14])
def test_shortfall_is_rare_and_small(width: int, counts, figure) -> None:
    """At most one in twenty sides is more than 0.5 % of the span short, none more than 5 %."""
    outcomes = [shortfalls(width, number) for number in range(counts(6, 60))]
    short = 100 * np.array([side for sides, _ in outcomes for side in sides])
    runs = [runs for _, runs in outcomes]
    figure(
        f"{len(outcomes)} functions: largest shortfall {short.max():.2f} %, over 0.5 %: "
        f"{(short > 0.5).sum()} of {len(short)}; runs {np.mean(runs):.0f} mean, {max(runs)} most"
    )
    assert (short > 0.5).sum() <= max(1, 0.05 * len(short))
    assert short.max() < 5.0
    assert max(runs) <= MOST_RUNS


def test_random_points_fall_far_short_where_the_search_does_not() -> None:
    """As many uniform random points as the search may take reach the worst in no case."""
    reached = []
    for number in range(5):
        random = np.random.default_rng((10, number))
        function = Synthetic(10, random)
        low, high = (function.worst(sign, random) for sign in (-1.0, 1.0))
        sampled = function(random.uniform(-1, 1, size=(MOST_RUNS, 10)))
        reached.append((high - sampled.max()) / (high - low))
    assert min(reached) > 0.05
