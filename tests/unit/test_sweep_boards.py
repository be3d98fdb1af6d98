"""Boards at random: inside what is guaranteed, by the design's own rules, the same everywhere."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy import stats

from analog.cards import Technology
from analog.design import Design, parse_design
from analog.errors import InputError
from analog.workflows import boards as workflow
from analog.workflows.boards import Boards, boards
from analog.workflows.check import make_plans

MAT = Path(__file__).resolve().parents[2] / "analog" / "scenarios" / "propagator-mat.toml"
TEXT = MAT.read_text(encoding="utf-8")


def design(more: str = "", text: str = TEXT) -> Design:
    return parse_design(f"{text}\n{more}", "mat.toml")


def fleet(more: str = "", benches: tuple[str, ...] | None = None) -> Boards:
    read = design(more)
    return boards(read, make_plans(read, benches))


def column(of: Boards, key: str, count: int, scene: str = "line") -> np.ndarray:
    """Return the values of one key of many boards."""
    own = next(one for one in of.scenes if one.scene.identifier == scene)
    return own.values(of.independent(0, 0, count))[key]


def tolerance(of: Boards, key: str, count: int) -> np.ndarray:
    """Return where a part lies in its tolerance, temperature and the rest taken out."""
    own = next(one for one in of.scenes if key in one.scene.space.keys)
    numbers = of.independent(0, 0, count) | {"environment.age": np.zeros(count)}
    numbers |= {name: np.full(count, 0.5) for name in numbers if name.startswith(f"{key} temp")}
    nominal = own.scene.space.axes[own.scene.space.keys.index(key)].nominal
    numbers["environment.ambient"] = np.full(count, 0.5)  # 25 °C in this design: no change
    return own.values(numbers)[key] / nominal - 1


def test_every_value_lies_inside_its_guaranteed_ends(counts: Callable[[int, int], int]) -> None:
    count, of = counts(500, 20_000), fleet()
    numbers = of.independent(5, 0, count)
    for own in of.scenes:
        values = own.values(numbers)
        for axis in own.scene.space.axes:
            ends = [axis.decode(np.full(count, u), values) for u in (-1.0, 1.0)]
            slack = 1e-9 * np.abs(ends[1])
            assert np.all(values[axis.key] >= np.minimum(*ends) - slack), axis.key
            assert np.all(values[axis.key] <= np.maximum(*ends) + slack), axis.key


def test_one_board_has_one_ambient_rail_and_mains_in_every_scene() -> None:
    of = fleet()
    numbers = of.independent(0, 0, 20)
    for key in ("environment.ambient", "supply.rail", "mains.voltage", "reset.capacitor"):
        found = [s.values(numbers)[key] for s in of.scenes if key in s.scene.space.keys]
        assert len(found) > 1
        assert all(values == pytest.approx(found[0], rel=1e-12) for values in found), key


def test_a_board_is_the_same_with_fewer_benches() -> None:
    whole, alone = fleet(), fleet(benches=("reset",))
    for key in ("reset.resistor", "reset.capacitor", "supply.rail"):
        one, other = (column(each, key, 30, "power-up") for each in (whole, alone))
        assert one.tolist() == other.tolist()


def test_thresholds_keep_all_three_bounds(counts: Callable[[int, int], int]) -> None:
    count, of, seen = counts(500, 20_000), fleet(), 0
    numbers = of.independent(1, 0, count)
    for own in of.scenes:
        if "conditioner.threshold_falling" not in own.scene.space.keys:
            continue
        values, seen = own.values(numbers), seen + 1
        falling = own.scene.space.axes[
            own.scene.space.keys.index("conditioner.threshold_falling")
        ].thresholds  # type: ignore[attr-defined]
        v_p, v_n = values["conditioner.threshold_rising"], values["conditioner.threshold_falling"]
        for line, found in ((falling.v_p, v_p), (falling.v_n, v_n), (falling.v_h, v_p - v_n)):
            low, _, high = line.at(values["supply.rail"])
            assert np.all(found >= low - 1e-9)
            assert np.all(found <= high + 1e-9)
    assert seen >= 3


def test_tolerances_have_constant_density_unless_told_otherwise(
    counts: Callable[[int, int], int],
) -> None:
    found = tolerance(fleet(), "line_sense.capacitor", counts(2000, 50_000))
    assert stats.kstest(found, stats.uniform(-0.1, 0.2).cdf).pvalue > 1e-3


def test_a_normal_rule_makes_a_truncated_normal(counts: Callable[[int, int], int]) -> None:
    rule = '[[spread]]\nof = "parts"\ndistribution = "normal"\nsigmas = 2\n'
    found = tolerance(fleet(rule), "line_sense.capacitor", counts(2000, 50_000))
    assert stats.kstest(found, stats.truncnorm(-2, 2, scale=0.05).cdf).pvalue > 1e-3


def test_the_technology_card_decides_without_a_rule(
    counts: Callable[[int, int], int], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A card may say normal; a rule that names a distribution wins, one that does not keeps it."""
    usual = workflow.technology

    def normal(name: str) -> Technology:
        return replace(usual(name), distribution="normal", sigmas=2.0)

    monkeypatch.setattr(workflow, "technology", normal)
    count, key = counts(2000, 50_000), "line_sense.capacitor"
    cut = stats.truncnorm(-2, 2, scale=0.05)
    reel = f'[[spread]]\nof = "{key}"\nreel = "E1"\n'
    for rule in ("", reel):
        assert stats.kstest(tolerance(fleet(rule), key, count), cut.cdf).pvalue > 1e-3
    rule = f'[[spread]]\nof = "{key}"\ndistribution = "uniform"\n'
    flat = stats.uniform(-0.1, 0.2)
    assert stats.kstest(tolerance(fleet(rule), key, count), flat.cdf).pvalue > 1e-3


def test_a_picked_bin_leaves_a_gap() -> None:
    rule = '[[spread]]\nof = "line_sense.capacitor"\nwithout = "5 %"\n'
    found = np.abs(tolerance(fleet(rule), "line_sense.capacitor", 2000))
    assert found.min() >= 0.05
    assert found.max() <= 0.1


def test_parts_of_one_reel_lie_at_one_place() -> None:
    resistors = ("line_sense.series_resistor", "reset.resistor")
    rule = "".join(f'[[spread]]\nof = "{key}"\nreel = "E1"\n' for key in resistors)
    one, other = (tolerance(fleet(rule), key, 50) for key in resistors)
    assert one == pytest.approx(other, abs=1e-12)
    one, other = (tolerance(fleet(), key, 500) for key in resistors)
    assert abs(np.corrcoef(one, other)[0, 1]) < 0.18  # four standard errors


def test_a_range_may_be_normal_too(counts: Callable[[int, int], int]) -> None:
    rule = '[[spread]]\nof = "supply.rail"\ndistribution = "normal"\n'
    found = column(fleet(rule), "supply.rail", counts(2000, 50_000))
    cut = stats.truncnorm(-3, 3, loc=9.0, scale=0.15)
    assert stats.kstest(found, cut.cdf).pvalue > 1e-3


def test_ageing_makes_smaller_with_the_boards_age() -> None:
    text = TEXT.replace("10n 10% film 63V", "10n 10% X7R 50V")
    read = design(text=text)
    of = boards(read, make_plans(read, ("line_sense",)))
    own = of.scenes[0]
    numbers = of.independent(0, 0, 50)
    young = own.values(numbers | {"environment.age": np.zeros(50)})["line_sense.capacitor"]
    old = own.values(numbers | {"environment.age": np.ones(50)})["line_sense.capacitor"]
    assert np.all(old < young)
    assert old / young == pytest.approx((old / young)[0])


@pytest.mark.parametrize(
    ("rule", "key", "words"),
    [
        ('of = "line_sense.capaciter"', "spread[0].of", "nearest are line_sense.capacitor"),
        ('of = "Line"', "spread[0].of", "no dotted key"),
        ('of = "line_sense.capacitor"\nwithout = "10 %"', "spread[0].without", "is left"),
        ('of = "parts"\nwithout = "5 %"', "spread[0].without", "is left"),
        ('of = "mains.voltage"\nreel = "x"', "spread[0].reel", "Drop reel"),
        ('of = "parts"\nreel = "x"', "spread[0].reel", "rule of its own"),
        ('of = "parts"\nsigmas = 3', "spread[0].sigmas", "only a normal"),
        ('of = "parts"\ndistribution = "flat"', "spread[0].distribution", "uniform"),
        ('of = "parts"\n[[spread]]\nof = "parts"', "spread[1].of", "rule already"),
    ],
)
def test_rules_that_are_none_are_refused_where_they_stand(rule: str, key: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        make_plans(design(f"[[spread]]\n{rule}\n"))
    (problem,) = caught.value.problems
    assert problem.key == key
    assert words in f"{problem.rule} {problem.remedy}"
    lines = f"{TEXT}\n[[spread]]\n{rule}\n".splitlines()
    assert lines[problem.line - 1].startswith(key.rpartition(".")[2])
