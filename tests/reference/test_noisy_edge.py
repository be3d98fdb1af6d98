"""Transitions of an input without hysteresis on a noisy edge, against theory.

A sine of peak-to-peak height pp and frequency f on a ramp of slope s passes a threshold
1 + 2·⌊pp·f/s⌋ times; which phase the sine has there moves it by one passage each way.
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from analog.benches import conditioner
from analog.benches.noisy_edge import NOISE_HZ, NOISE_V, TITLE, noisy_edge, theory
from analog.benches.trials import trials_in
from analog.design import read_design
from analog.engine import Run, open_engine
from analog.render.noisyview import noisy_edges

SCENARIOS = Path(__file__).parents[2] / "analog" / "scenarios"
LIMIT_S = 10e-6
MAT = "propagator-mat"


def ramp(slope: float) -> tuple[Run, dict[str, float]]:
    """Return a pin that rises from 0 to 9 V in a straight line."""
    time = np.linspace(0.0, 1.0, 1001) * 9.0 / slope
    row = {"typ0_p": 4.5, "v_rail": 9.0, "t_from": 0.0}
    return Run(time, {"v(pin)": slope * time}, {}), row


def test_transitions_on_a_ramp(figure: Callable[[str], None]) -> None:
    """From 30 V/s to 300 V/ms: within 2 transitions or 1 % of the formula's."""
    errors = []
    for slope in np.geomspace(30.0, 3e5, 40):
        found = noisy_edge(*ramp(float(slope)), LIMIT_S)
        assert found is not None
        shown, count, measured = found
        assert measured == pytest.approx(slope, rel=1e-6)
        assert count % 2 == 1
        wanted = theory(float(slope))
        errors.append(abs(count - wanted) / max(2.0, 0.01 * wanted))
        assert np.abs(np.diff(shown.trace("v(clock)"))).sum() / 9.0 == count
    figure(f"largest difference {max(errors):.2f} of what is allowed")
    assert max(errors) <= 1
    assert theory(2 * NOISE_V * NOISE_HZ * 1.01) == 1


def test_limit_is_drawn_as_long_as_it_is() -> None:
    found = noisy_edge(*ramp(1e3), LIMIT_S)
    assert found is not None
    time, edge = found[0].time, found[0].trace("v(limit)")
    moments = [float(time[np.argmax(edge >= share * 9.0)]) for share in (0.1, 0.9)]
    assert moments[1] - moments[0] == pytest.approx(LIMIT_S, rel=0.06)


def test_an_edge_that_never_comes_shows_nothing() -> None:
    run, row = ramp(1e3)
    assert noisy_edge(Run(run.time, {"v(pin)": 0 * run.time}, {}), row, None) is None


def test_the_draft_shows_slow_edge_limit_and_transitions() -> None:
    """About 5.8 V/ms: 0.2 V at 100 kHz makes 7 transitions; a Schmitt part has no such figure."""
    draft, mat = (read_design(SCENARIOS / f"{name}.toml") for name in ("first-draft", MAT))
    with open_engine(jobs=1) as engine:
        (drawing,) = noisy_edges(trials_in(conditioner.plan(draft)), draft, engine, "conditioner")
        assert not list(noisy_edges(trials_in(conditioner.plan(mat)), mat, engine, "conditioner"))
    assert drawing.title == TITLE
    for word in ("7 transitions", "gives 7", "10.6 µs", "no source"):
        assert word in drawing.caption.replace("\N{NO-BREAK SPACE}", " ")
    assert "slowest edge allowed" in drawing.svg
