"""The search for the smallest load against the latching current that decides it."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator

import gate_designs as made
import numpy as np
import pytest

from analog.benches.gate_drive import plan
from analog.benches.smallest_load import MOST_RATIO, smallest_load
from analog.benches.trials import trials_in
from analog.engine import Engine, open_engine
from analog.workflows.smallest_load import smallest_found
from analog.workflows.trial_runs import TrialRunner

Figure = Callable[[str], None]


@pytest.fixture(scope="module")
def engine() -> Iterator[Engine]:
    with open_engine(jobs=1) as opened:
        yield opened


@pytest.mark.parametrize("triac", ["BTA06-SW", "BTA06-CW"])
def test_a_resistive_load_must_peak_above_the_latching_current(
    engine: Engine, figure: Figure, triac: str
) -> None:
    """P = I_L·V²_rated/(√2·V_mains) with I_L at the ambient, at nominal and at the hard corner;
    up to the share of the gate resistor more."""
    search = trials_in(plan(made.design(triac=triac))).smallest
    assert search is not None
    runner = TrialRunner(engine)
    found, scene = smallest_found(search, runner)
    assert not runner.failed
    assert scene.nominal.values["smallest_load"] == found.nominal.values["smallest_load"]
    assert found.case is not None
    for case, mains in ((found.nominal, 120.0), (found.case, 104.0)):
        expected = case.row["i_l"] * 120.0**2 / (math.sqrt(2) * mains)
        smallest = case.values["smallest_load"]
        figure(f"{triac}, {mains:g} V: {smallest:.2f} W, {expected:.2f} W")
        # Short of latching, the gate resistor stands in series with the load; the on-state drop
        # and the search's resolution take two per cent.
        in_series = 1 + case.row["r_gate"] / (120.0**2 / smallest)
        assert expected * 0.99 < smallest < expected * in_series * 1.02
    assert found.value > found.nominal.values["smallest_load"]
    assert runner.runs < 40


def test_no_load_works_behind_a_weak_opto(engine: Engine) -> None:
    """Where not even the rated load works there is no smallest one: it never happens."""
    search = trials_in(plan(made.design(opto="MOC3020"))).smallest
    assert search is not None
    found, _ = smallest_found(search, TrialRunner(engine))
    assert math.isnan(found.value)


def test_the_row_has_the_power_it_is_given() -> None:
    design = made.design(made.EUROPE, made.FAN, triac="BTA08-800CW3", gate_resistor="360R")
    search = trials_in(plan(design)).smallest
    assert search is not None
    assert search == smallest_load(search.network)
    whole, least = (search.row(search.points()[0], 18.0 / r) for r in (1.0, MOST_RATIO))
    ratio = least["load_impedance"] / whole["load_impedance"]
    assert ratio == pytest.approx(MOST_RATIO)
    assert np.isfinite(list(least.values())).all()
