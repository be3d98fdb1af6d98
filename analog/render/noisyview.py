"""The figure of a slow edge with noise, for receivers without hysteresis."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from analog.benches import line_sense
from analog.benches.immunity import Immunity
from analog.benches.noisy_edge import (
    NOISE_HZ,
    NOISE_SOURCE,
    NOISE_V,
    TITLE,
    noisy_edge,
    noisy_plot,
    theory,
)
from analog.benches.trials import Trials
from analog.design import Design
from analog.engine import Engine, Run
from analog.errors import RunError
from analog.render.drawing import Drawing
from analog.render.figures import draw_plot
from analog.render.picture import Case
from analog.render.words import quantity


def noisy_edges(trials: Trials, design: Design, engine: Engine, bench: str) -> Iterator[Drawing]:
    """Draw the nominal edge with noise where the receiver has no hysteresis.

    `bench` makes the figure's identifiers unique.
    """
    noise = trials.noise
    if noise is None or noise.receiver.schmitt:
        return
    row = noise.rows(np.zeros(len(noise.space.axes)))
    quiet = noise.pulse_row({**row, "wanted": 1.0, "phase": 0.0}, 0.0, 1e-4, 0.0, 0.0, 2)
    limits = line_sense.plan(design).limits.get("rise_time", ())
    limit_s = min((one.maximum for one in limits if one.maximum is not None), default=None)
    try:
        run = _traces(noise, quiet, engine)
    except RunError as error:
        yield Drawing(TITLE, "", "", missing=error.reason)
        return
    found = noisy_edge(run, quiet, limit_s)
    if found is None:
        return
    shown, count, slope = found
    plot = noisy_plot(noise.receiver, quiet, limit_s is not None)
    picture = draw_plot(plot, [Case("nominal", shown, quiet)], f"{bench}-edge")
    yield Drawing(TITLE, picture.svg, _words(count, slope, limit_s))


def _traces(noise: Immunity, row: dict[str, float], engine: Engine) -> Run:
    names = tuple(row)
    return engine.traces(noise.pulses, names, np.array([row[name] for name in names]))


def _words(count: int, slope: float, limit_s: float | None) -> str:
    allowed = "" if limit_s is None else f", where the part allows {quantity(limit_s, 's')}"
    return (
        f"The edge rises by {quantity(slope / 1e3, 'V')} in a millisecond{allowed}. With a sine of "
        f"{quantity(NOISE_V, 'V')} peak at {quantity(NOISE_HZ, 'Hz')} on the input "
        f"({NOISE_SOURCE}) it makes {count} transitions in place of one; 1 + 2·⌊pp·f/s⌋ gives "
        f"{theory(slope)}"
    )
