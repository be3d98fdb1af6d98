"""Stimuli as SPICE text, in the forms every supported ngspice renders faithfully."""

from __future__ import annotations

import math
from collections.abc import Mapping
from itertools import pairwise

from analog.circuits.record import (
    Analysis,
    Dc,
    Param,
    Pulse,
    Pwl,
    Sine,
    Stimulus,
    Transient,
    Value,
)

# ngspice takes time with the square of the number of points.
_MOST_POINTS = 3000


def number(value: float) -> str:
    """Return a finite number so that it reads back unchanged: no unit, no scale letter."""
    plain = float(value)
    if math.isfinite(plain):
        return repr(plain)
    raise ValueError(f"{plain} is no number to simulate with")


def value_text(value: Value) -> str:
    """Return a number, or a parameter's name in braces."""
    return f"{{{value.name}}}" if isinstance(value, Param) else number(value)


def resolve(value: Value, row: Mapping[str, float]) -> float:
    """Return a plain number, looked up in the row where `value` is a parameter."""
    return float(row[value.name]) if isinstance(value, Param) else float(value)


def stimulus_text(stimulus: Stimulus) -> str:
    """Return the text of a source's value, its parameters in braces."""
    if isinstance(stimulus, Dc):
        return f"DC {value_text(stimulus.level)}"
    if isinstance(stimulus, Sine):
        # No delay and no damping: ngspice sets no breakpoint where such a wave begins.
        wave = (stimulus.offset, stimulus.amplitude, stimulus.frequency_hz, 0.0, 0.0)
        return f"SIN({' '.join(map(value_text, (*wave, stimulus.phase_deg)))})"
    if isinstance(stimulus, Pulse):
        values = (getattr(stimulus, name) for name in stimulus.__slots__)
        return f"PULSE({' '.join(map(value_text, values))})"
    if _moves(stimulus):
        raise ValueError("a piecewise linear source with delay or scale is written out by row")
    return f"PWL({' '.join(value_text(v) for point in stimulus.points for v in point)})"


def differs_by_row(stimulus: object, analysis: Analysis) -> bool:
    """Tell whether a source's text must be made anew for every row, by `row_text`."""
    return may_repeat(stimulus, analysis) or (isinstance(stimulus, Pwl) and _moves(stimulus))


def row_text(stimulus: object, row: Mapping[str, float], analysis: Analysis) -> str:
    """Return a pulse train or moved shape in plain numbers.

    Raises ValueError for one that cannot be written, TypeError for any other stimulus.
    """
    if isinstance(stimulus, Pulse) and isinstance(analysis, Transient):
        return train_text(stimulus, row, resolve(analysis.stop_s, row))
    if isinstance(stimulus, Pwl):
        return _shape_text(stimulus, row)
    raise TypeError(f"{stimulus!r} does not differ by row")


def _moves(wave: Pwl) -> bool:
    return (wave.delay_s, wave.scale) != (0.0, 1.0)


def _shape_text(wave: Pwl, row: Mapping[str, float]) -> str:
    """Return the shape delayed and scaled, with its first level from time zero on."""
    if len(wave.points) > _MOST_POINTS:
        raise ValueError(f"{len(wave.points)} points are too many to write out")
    delay, scale = resolve(wave.delay_s, row), resolve(wave.scale, row)
    points = [
        (delay + resolve(time, row), scale * resolve(level, row)) for time, level in wave.points
    ]
    if points[0][0] > 0:
        points.insert(0, (0.0, points[0][1]))
    if any(later[0] <= earlier[0] for earlier, later in pairwise(points)):
        raise ValueError("the points are too close to be told apart at this delay")
    return f"PWL({' '.join(f'{number(time)} {number(level)}' for time, level in points)})"


def may_repeat(stimulus: object, analysis: Analysis) -> bool:
    """Tell whether a pulse may come more than once within the run.

    ngspice 44.2 leaves out about one in eight short pulses of a PULSE train, in silence; single
    pulses and piecewise linear ones are complete in 39 and 44. So trains are written out.
    """
    if not isinstance(stimulus, Pulse) or not isinstance(analysis, Transient):
        return False
    period, stop = stimulus.period_s, analysis.stop_s
    return isinstance(period, Param) or isinstance(stop, Param) or period < stop


def train_text(pulse: Pulse, row: Mapping[str, float], stop_s: float) -> str:
    """Return a pulse train up to `stop_s` as a piecewise linear source in plain numbers.

    Raises ValueError for pulses longer than their period, and for more than 3 000 points.
    """
    low, high, delay, rise, fall, width, period = (
        resolve(getattr(pulse, name), row) for name in pulse.__slots__
    )
    if rise + width + fall > period * (1 + 1e-9):
        raise ValueError(
            f"a pulse of {rise + width + fall:g} s does not fit its period {period:g} s"
        )
    starts = max(0, math.ceil((stop_s - delay) / period))
    if 4 * starts > _MOST_POINTS:
        raise ValueError(f"{starts} pulses within the run are too many to write out")
    points = [(0.0, low)]
    for start in (delay + period * count for count in range(starts)):
        top = start + rise
        shape = ((start, low), (top, high), (top + width, high), (top + width + fall, low))
        points += [point for point in shape if point[0] > points[-1][0]]
    if any(later[0] <= earlier[0] for earlier, later in pairwise(points)):
        raise ValueError("the edges of the pulses are too short to be told apart")
    return f"PWL({' '.join(f'{number(time)} {number(level)}' for time, level in points)})"
