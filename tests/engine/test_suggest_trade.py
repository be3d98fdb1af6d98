"""Two values against each other: a slower filter buys immunity and costs delay."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest
from suggest_cases import LEAKS, SLOW_FILTER

from analog.advice.changes import Edit
from analog.advice.editing import edited_text
from analog.design import parse_design
from analog.engine import Engine, open_engine
from analog.errors import InputError
from analog.render.trade import draw_trade
from analog.workflows import check
from analog.workflows.screening import score_of
from analog.workflows.suggest import Wish
from analog.workflows.trade import Trade, trade

KEYS = ("reset.resistor", "reset.capacitor")
RESET = LEAKS.replace("1M 5%", "220k 5%").replace("10u 20% electrolytic 16V", "1u 10% film 63V") + (
    '\n[[limits]]\nmeasure = "reset.hold_time"\nlimit = "display"\n'
    'minimum = "60 ms"\nreason = "a display"\n'
    '\n[[limits]]\nmeasure = "reset.release_time"\nlimit = "patience"\n'
    'maximum = "2 s"\nreason = "nobody waits"\n'
)


@pytest.fixture(scope="module")
def engine(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Engine]:
    with open_engine(store=tmp_path_factory.mktemp("trade") / "results.sqlite") as opened:
        yield opened


@pytest.fixture(scope="module")
def laid(engine: Engine) -> Trade:
    return trade(parse_design(RESET, "reset.toml"), engine, KEYS)


def test_the_two_limits_pull_apart(laid: Trade) -> None:
    """Hold and release both grow with R·C: more of either buys the one and costs the other."""
    hold, release = laid.gaps["reset.hold_time.display"], laid.gaps["reset.release_time.patience"]
    for axis in (0, 1):
        assert (np.diff(np.nan_to_num(hold, neginf=-1e9), axis=axis) >= -1e-6).all()
        assert (np.diff(np.nan_to_num(release, neginf=-1e9), axis=axis) <= 1e-6).all()
    assert laid.works.any()
    assert not laid.works.all()
    assert {"reset.hold_time.display", "reset.release_time.patience"} <= set(laid.limits)


def test_hold_time_is_in_proportion_to_c_where_the_ramp_is_short(laid: Trade) -> None:
    """t = R·C·ln(V/(V − V_N)), closed form of an RC: at one R the time goes with C.

    At 470k the time constants are 2.2 s and 4.7 s, the slowest ramp is 0.2 s.
    """
    row = laid.gaps["reset.hold_time.display"][laid.values[0].index(470e3)]
    small, large = laid.values[1].index(4.7e-6), laid.values[1].index(10e-6)
    held = 0.06 * (1 + row + laid.required)
    assert held[large] / held[small] == pytest.approx(10.0 / 4.7, rel=0.05)


def test_cells_agree_with_a_full_check(laid: Trade, engine: Engine) -> None:
    """A cell that fails fails for certain; those checked in full are as they say."""
    assert laid.verified
    random = np.random.default_rng(5)
    bad = np.argwhere(~laid.works)
    for first, second in random.permutation(bad)[:3]:
        pair = laid.values[0][first], laid.values[1][second]
        assert not _works(pair, engine), pair
    for pair, works in laid.verified:
        assert _works(pair, engine) == works
        at = laid.values[0].index(pair[0]), laid.values[1].index(pair[1])
        assert laid.works[at] == works


def _works(pair: tuple[float, float], engine: Engine) -> bool:
    texts = (f"{pair[0]:.12g}R 5% carbon-film", f"{pair[1] * 1e9:.12g}n 10% film 63V")
    edits = [Edit(key, text) for key, text in zip(KEYS, texts, strict=True)]
    design = parse_design(edited_text(RESET, edits), "pair.toml")
    return score_of(check(design, engine).benches, 0.05).works


def test_the_figure_is_the_same_every_time_and_names_what_ends_the_region(
    laid: Trade, tmp_path: Path
) -> None:
    one, two = tmp_path / "one.svg", tmp_path / "two.svg"
    draw_trade(laid, one)
    draw_trade(laid, two)
    text = one.read_text(encoding="utf-8")
    assert text == two.read_text(encoding="utf-8")
    for name in laid.limits:
        assert name.rpartition(".")[0] in text
    for word in (*KEYS, "the design", "in stock, works", "in stock, fails"):
        assert word in text
    assert not re.search(r"<(script|image)", text)
    draw_trade(laid, tmp_path / "one.png")
    assert (tmp_path / "one.png").read_bytes().startswith(b"\x89PNG")


def test_a_key_that_is_no_value_is_refused_with_its_place(engine: Engine) -> None:
    design = parse_design(SLOW_FILTER, "slow.toml")
    with pytest.raises(InputError) as caught:
        trade(design, engine, ("line_sense.capacitor", "line_sense.topology"), Wish())
    (problem,) = caught.value.problems
    assert problem.key == "line_sense.topology"
    assert problem.line > 1
    assert "line_sense.series_resistor" in problem.remedy
