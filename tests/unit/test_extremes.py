"""The search for guaranteed extremes on functions whose worst is known in closed form."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from analog.circuits.space import Envelope, Floats, PartAxis, RangeAxis, Space
from analog.studies import Extremes, Objective, extremes
from analog.studies.archive import Archive, Evaluate, Flags


def cube(width: int, knots: tuple[float, ...] = ()) -> Space:
    return Space(tuple(RangeAxis(f"axis.{i}", "1", -1.0, 0.0, 1.0, knots) for i in range(width)))


class Counted:
    """An evaluator around a function of coordinates (n, axes); remembers every point asked for."""

    def __init__(self, *functions, fails=None) -> None:
        self.functions = functions
        self.fails = fails
        self.points: list[Floats] = []

    def __call__(self, points: Floats) -> tuple[Floats, Flags]:
        self.points.append(points)
        values = np.column_stack([function(points) for function in self.functions])
        failed = np.zeros(len(points), bool) if self.fails is None else self.fails(points)
        return values, failed

    @property
    def runs(self) -> int:
        return sum(len(batch) for batch in self.points)


def both(output: int = 0, scale: float = 1.0) -> tuple[Objective, Objective]:
    return Objective(output, "min", scale), Objective(output, "max", scale)


def planted_peak(points: Floats) -> Floats:
    """A peak of height 3 over slopes that sum to 2.5 in the corner, at x1 = 0.37 of 8 axes."""
    slopes = points[:, 2:] @ np.linspace(0.1, 0.5, points.shape[1] - 2)
    peak = 3.0 / (1.0 + ((points[:, 1] - 0.37) / 0.15) ** 2)
    return peak + slopes + 0.2 * points[:, 0]


PLANTED_WORST = 3.0 + float(np.linspace(0.1, 0.5, 6).sum()) + 0.2


def by_search(space: Space, evaluate: Evaluate) -> float:
    worst = extremes(space, evaluate, (Objective(0, "max", 1.0),), 1500, seed=3).worst[0].value
    assert worst is not None
    return worst


def by_corners_only(space: Space, evaluate: Evaluate) -> float:
    corners = np.array(list(itertools.product((-1.0, 1.0), repeat=len(space.axes))))
    return float(evaluate(corners)[0].max())


def finds_planted_peak(method) -> bool:
    return abs(method(cube(8), Counted(planted_peak)) - PLANTED_WORST) < 0.005


def test_planted_interior_peak_is_found() -> None:
    assert finds_planted_peak(by_search)


def test_planted_interior_peak_is_missed_by_corners_alone() -> None:
    assert not finds_planted_peak(by_corners_only)


def test_interior_saddle_of_two_parameters_is_followed_askew() -> None:
    def ridge(points: Floats) -> Floats:
        along, across = points[:, 0] + points[:, 1], points[:, 0] - points[:, 1] - 0.5
        return -4.0 * across**2 - 0.3 * (along - 0.4) ** 2 + 0.1 * points[:, 2]

    found = extremes(cube(4), Counted(ridge), (Objective(0, "max", 1.0),), 600, seed=1)
    assert found.worst[0].value == pytest.approx(0.1, abs=1e-3)


def test_peak_just_inside_a_face_is_found() -> None:
    def near_face(points: Floats) -> Floats:
        return points[:, 0] + np.exp(-(((points[:, 1] - 0.8) / 0.2) ** 2))

    found = extremes(cube(3), Counted(near_face), (Objective(0, "max", 1.0),), 600, seed=1)
    assert found.worst[0].value == pytest.approx(2.0, abs=2e-3)


def test_peak_at_a_knot_is_found_exactly() -> None:
    def tent(points: Floats) -> Floats:
        return -np.abs(points[:, 0] - 0.3125) + points[:, 1]

    space = Space((RangeAxis("a.a", "1", -1, 0, 1, knots=(0.3125,)), *cube(1).axes))
    found = extremes(space, Counted(tent), (Objective(0, "max", 1.0),), 400, seed=1)
    assert found.worst[0].value == 1.0
    assert found.worst[0].point[0] == 0.3125


def test_never_happened_counts_as_worst_of_both_sides() -> None:
    def gone_in_a_corner(points: Floats) -> Floats:
        return np.where(points.sum(axis=1) > 2.5, np.nan, points.sum(axis=1))

    found = extremes(cube(4), Counted(gone_in_a_corner), both(), 400, seed=1)
    assert all(np.isnan(extreme.value) for extreme in found.worst)
    assert found.worst[0].point.sum() > 2.5


def test_run_without_data_is_reported_and_never_the_worst() -> None:
    def fails(points: Floats) -> Flags:
        return points[:, 0] > 0.9

    def slope(points: Floats) -> Floats:
        return np.where(fails(points), np.nan, points @ np.array([1.0, 0.5, 0.2]))

    found = extremes(cube(3), Counted(slope, fails=fails), (Objective(0, "max", 1.0),), 500, 1)
    assert found.failed_runs > 0
    assert found.failed[found.points[:, 0] > 0.9].all()
    assert found.worst[0].value == pytest.approx(0.9 + 0.7, abs=0.06)


def test_all_runs_without_data_give_no_value() -> None:
    evaluate = Counted(lambda p: p[:, 0], fails=lambda p: np.ones(len(p), bool))
    found = extremes(cube(3), evaluate, both(), 300, seed=1)
    assert [extreme.value for extreme in found.worst] == [None, None]
    assert found.failed_runs == found.runs


@pytest.mark.parametrize("budget", [1, 7, 60, 110])
def test_budget_is_never_exceeded_and_an_unfinished_search_says_so(budget: int) -> None:
    evaluate = Counted(planted_peak)
    found = extremes(cube(8), evaluate, both(), budget, seed=1)
    assert evaluate.runs == found.runs <= budget
    if budget == 110:
        assert not all(extreme.settled for extreme in found.worst)


def test_budget_that_suffices_settles() -> None:
    found = extremes(cube(8), Counted(planted_peak), both(), 1500, seed=1)
    assert all(extreme.settled for extreme in found.worst)
    assert found.runs < 700


def test_same_seed_makes_the_same_runs_and_another_seed_the_same_answer() -> None:
    def search(seed: int) -> Extremes:
        return extremes(cube(8), Counted(planted_peak), both(), 1500, seed)

    first, again, other = search(0), search(0), search(5)
    np.testing.assert_array_equal(first.points, again.points)
    assert not np.array_equal(first.points[:60], other.points[:60])
    assert other.worst[1].value == pytest.approx(first.worst[1].value, abs=2e-3)


def test_no_point_is_run_twice() -> None:
    evaluate = Counted(planted_peak)
    extremes(cube(8), evaluate, both(), 1500, seed=2)
    asked = np.vstack(evaluate.points)
    assert len(np.unique(asked, axis=0)) == len(asked)


def test_constant_output_costs_only_the_survey() -> None:
    evaluate = Counted(lambda points: np.full(len(points), 2.0))
    found = extremes(cube(8), evaluate, both(), 1500, seed=1)
    assert [extreme.value for extreme in found.worst] == [2.0, 2.0]
    assert found.runs <= 1 + 2 * 8 + 4 * 9
    np.testing.assert_array_equal(found.worst[0].point, np.zeros(8))


def test_axes_that_do_not_matter_stay_nominal_where_the_worst_is() -> None:
    found = extremes(cube(6), Counted(lambda p: p[:, 2]), (Objective(0, "max", 1.0),), 500, 1)
    np.testing.assert_array_equal(found.worst[0].point, [0, 0, 1, 0, 0, 0])


def test_axis_without_width_is_one_run() -> None:
    space = Space((RangeAxis("a.fixed", "1", 4.0, 4.0, 4.0), RangeAxis("a.free", "1", 0, 1, 2)))
    archive = Archive(space, Counted(lambda p: p[:, 1]), 100)
    rows = archive.run(np.array([[-1.0, 0.5], [0.0, 0.5], [1.0, 0.5], [0.0, 0.0]]))
    assert rows.tolist() == [0, 0, 0, 1]
    assert archive.runs == 2


def test_space_without_axes_is_one_run() -> None:
    found = extremes(Space(()), Counted(lambda p: np.full(len(p), 7.0)), both(), 100, seed=1)
    assert found.runs == 1
    assert found.worst[0].value == 7.0


def test_objectives_share_their_runs() -> None:
    weights = np.random.default_rng(4).normal(size=(10, 6))
    outputs = [lambda p, w=w: p @ w for w in weights]
    objectives = [objective for i in range(10) for objective in both(i)]
    found = extremes(cube(6), Counted(*outputs), objectives, 1500, seed=1)
    for extreme in found.worst:
        sign = 1 if extreme.objective.side == "max" else -1
        expected = sign * np.abs(weights[extreme.objective.output]).sum()
        assert extreme.value == pytest.approx(expected, abs=1e-9)
    assert found.runs < 1000


def test_effects_are_changes_from_low_to_high_in_the_outputs_unit() -> None:
    found = extremes(
        cube(3), Counted(lambda p: 1e-3 * (p @ [2.0, -1.0, 0.0])), both(scale=1e-3), 200, 1
    )
    for extreme in found.worst:
        np.testing.assert_allclose(extreme.effects, [4e-3, -2e-3, 0.0], atol=1e-12)


def test_temperature_law_of_a_ceramic_capacitor_is_searched_inside() -> None:
    law = Envelope((-30.0, 25.0, 85.0), (-0.6, 0.0, -0.6), (-0.5, 0.0, -0.5), (-0.4, 0.0, -0.4))
    ambient = RangeAxis("environment.ambient", "°C", -20.0, 0.0, 60.0)
    space = Space((ambient, PartAxis("x.capacitor", "F", 1.0, -0.2, 0.2, law)))

    def capacitance(points: Floats) -> Floats:
        return space.decode(points)["x.capacitor"]

    found = extremes(space, Counted(capacitance), both(), 300, seed=1)
    assert found.worst[1].value == pytest.approx(1.2, abs=2e-3)  # at 25 °C, between the ends
    assert found.worst[0].value == pytest.approx(0.8 * (1 - 0.6 * 45 / 55), abs=1e-6)


def test_evaluator_of_wrong_shape_is_refused() -> None:
    def wrong(points: Floats) -> tuple[Floats, Flags]:
        return np.zeros((len(points) + 1, 1)), np.zeros(len(points), bool)

    with pytest.raises(ValueError, match="points gave values"):
        extremes(cube(2), wrong, both(), 10, seed=1)


def test_budget_and_scale_must_make_sense() -> None:
    with pytest.raises(ValueError, match="at least one run"):
        extremes(cube(2), Counted(lambda p: p[:, 0]), both(), 0, seed=1)
    with pytest.raises(ValueError, match="scale"):
        Objective(0, "max", 0.0)
