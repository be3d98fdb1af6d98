"""Small figures of plain characters."""

from __future__ import annotations

import pytest

from analog.circuits.text_plot import HEIGHT, WIDTH, Axes, text_plot

AXES = Axes("temperature", "°C", "ratio", "1")


def marked(lines: tuple[str, ...], mark: str = "*") -> set[tuple[int, int]]:
    """Return (column, row from the top) of every mark inside the frame."""
    inside = [line.ljust(12 + WIDTH)[12:] for line in lines[1 : HEIGHT + 1]]
    return {(x, y) for y, row in enumerate(inside) for x, sign in enumerate(row) if sign == mark}


def test_straight_line_runs_from_corner_to_corner() -> None:
    points = marked(text_plot({"a": ([0.0, 1.0], [0.0, 10.0])}, AXES))
    assert (0, HEIGHT - 1) in points
    assert (WIDTH - 1, 0) in points
    assert (WIDTH // 2, HEIGHT // 2) in points
    assert {x for x, _ in points} == set(range(WIDTH))


def test_falling_line_mirrors_the_rising_one() -> None:
    up = marked(text_plot({"a": ([0.0, 1.0], [0.0, 10.0])}, AXES))
    down = marked(text_plot({"a": ([0.0, 1.0], [10.0, 0.0])}, AXES))
    assert down == {(WIDTH - 1 - x, y) for x, y in up}


def test_a_step_leaves_no_gap() -> None:
    points = marked(text_plot({"a": ([0.0, 1.0, 1.001, 2.0], [0.0, 0.0, 1.0, 1.0])}, AXES))
    assert {y for _, y in points} == set(range(HEIGHT))


def test_axes_carry_ends_middle_and_units() -> None:
    lines = text_plot({"a": ([-40.0, 125.0], [2.0, 0.5])}, Axes("heat", "K", "current", "A"))
    assert lines[0].strip() == "current, A"
    assert [lines[row].split()[0] for row in (1, 6, 11)] == ["2", "1.25", "0.5"]
    assert lines[13].split() == ["-40", "42.5", "125"]
    assert lines[14].strip() == "heat, K"


def test_decades_are_evenly_spaced() -> None:
    axes = Axes("current", "A", "ratio", "1", decades=True)
    lines = text_plot({"a": ([1e-3, 1e-2, 1e-1], [0.0, 0.0, 1.0])}, axes)
    assert lines[13].split() == ["0.001", "0.01", "0.1"]
    assert lines[14].strip() == "current, A, logarithmic"
    flat = {x for x, y in marked(lines) if y == HEIGHT - 1}
    assert set(range(WIDTH // 2 + 1)) <= flat


def test_flat_curve_stands_in_the_middle() -> None:
    points = marked(text_plot({"a": ([0.0, 1.0], [3.0, 3.0])}, AXES))
    assert points == {(x, HEIGHT // 2) for x in range(WIDTH)}
    zero = text_plot({"a": ([0.0, 1.0], [0.0, 0.0])}, AXES)
    assert [zero[row].split()[0] for row in (1, 11)] == ["1", "-1"]


def test_curves_keep_to_their_own_ends_and_are_named() -> None:
    lines = text_plot({"short": ([0.0, 1.0], [0.0, 0.0]), "long": ([0.0, 2.0], [1.0, 1.0])}, AXES)
    assert {x for x, _ in marked(lines)} == set(range(WIDTH // 2 + 1))
    assert {x for x, _ in marked(lines, "+")} == set(range(WIDTH))
    assert lines[-1].split() == ["*", "short", "+", "long"]


@pytest.mark.parametrize("number", [0, 4])
def test_number_of_curves(number: int) -> None:
    curves = {str(n): ([0.0, 1.0], [0.0, 1.0]) for n in range(number)}
    with pytest.raises(ValueError, match="one to three"):
        text_plot(curves, AXES)
