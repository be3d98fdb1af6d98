"""Noise immunity as a figure: smallest pulse by width, smallest sine by frequency."""

from __future__ import annotations

import io
import math
import warnings
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from analog.benches.disturbance_levels import SIGNAL_POINTS, landmarks, signal_share
from analog.design import Mains
from analog.render.mapview import SETTINGS
from analog.render.palette import marker
from analog.render.svg import Inline, finish
from analog.render.words import quantity
from analog.workflows.immunity import MOST_V, ImmunityCurves, Part, Weakest

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TITLE = "Smallest noise at the filter's input that makes an extra edge"

_SIZE_INCHES = (7.5, 3.6)
_WORDS: dict[Part, str] = {
    "typical": "typical part, nominal",
    "guaranteed": "worst guaranteed part",
}
_LOOKS: dict[Part, tuple[str, str, str]] = {
    "typical": ("curve-1", "o", "--"),
    "guaranteed": ("curve-2", "s", "-"),
}


def draw_immunity(found: ImmunityCurves, mains: Mains, ratio: float, identifier: str) -> Inline:
    """Return both curves as an inline SVG, with the standard disturbances marked on them.

    `ratio` is the winding's open-circuit voltage over the mains', by which those of the mains
    are stepped down; `identifier` makes the figure's own identifiers unique.
    """
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(SETTINGS), warnings.catch_warnings():
        # Text stays text in the SVG; the reader's own fonts have the glyph.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        figure = Figure(figsize=_SIZE_INCHES, facecolor="none")
        pulses = figure.add_axes((0.08, 0.15, 0.48, 0.76), facecolor="none")
        sines = figure.add_axes((0.63, 0.15, 0.34, 0.76), facecolor="none")
        _curves(pulses, found.pulses, "width of the pulse (s)")
        _curves(sines, found.sines, "frequency of the sine (Hz)")
        pulses.set_ylabel("peak at the filter's input (V)", color=marker("ink"))
        _landmarks(pulses, mains, ratio)
        _signals(sines, mains, ratio)
        pulses.legend(loc="lower left", frameon=False, labelcolor=marker("ink"))
        text = io.StringIO()
        figure.savefig(text, format="svg", metadata={"Date": None}, transparent=True)
    return finish(text.getvalue(), identifier, TITLE, immunity_words(found, mains, ratio))


def immunity_words(found: ImmunityCurves, mains: Mains, ratio: float) -> str:
    """Say both curves in words, and which standard disturbances lie above the worst one."""
    said = []
    for part, words in _WORDS.items():
        pulses = "; ".join(_said(one, "s") for one in found.pulses[part])
        sines = "; ".join(_said(one, "Hz") for one in found.sines[part])
        said.append(f"{words.capitalize()}: pulses of {pulses}; sines of {sines}.")
    above = [
        mark.words
        for mark in landmarks(mains.voltage, mains.frequency)
        if ratio * mark.peak_v > _height_at(found.pulses["guaranteed"], mark.width_s)
    ]
    listed = ", ".join(above) if above else "none"
    said.append(
        f"Standard disturbances between the lines, stepped down by the winding's ratio, that lie "
        f"above the worst part's curve: {listed}. {found.runs} simulations"
    )
    return " ".join(said)


def _said(one: Weakest, unit: str) -> str:
    height = quantity(abs(one.height_v), "V") if one.shown else f"over {MOST_V:g} V"
    return f"{quantity(one.item.at, unit)}: {height}"


def _height_at(curve: Sequence[Weakest], at: float) -> float:
    """Return the curve's height (V) at a width, straight on logarithmic scales between points."""
    shown = [one for one in curve if one.shown]
    if not shown:
        return math.inf
    x, y = (np.log([value(one) for one in shown]) for value in (_at, _peak))
    return float(np.exp(np.interp(math.log(at), x, y)))


def _at(one: Weakest) -> float:
    return one.item.at


def _peak(one: Weakest) -> float:
    return abs(one.height_v)


def _curves(axes: Axes, curves: dict[Part, list[Weakest]], title: str) -> None:
    ink = marker("ink")
    for part, points in curves.items():
        shown = [one for one in points if one.shown]
        role, symbol, line = _LOOKS[part]
        axes.plot(
            [_at(one) for one in shown],
            [_peak(one) for one in shown],
            linestyle=line,
            marker=symbol,
            markersize=4,
            color=marker(role),
            label=_WORDS[part],
        )
    axes.set_xscale("log")
    axes.set_yscale("log")
    for axis in (axes.xaxis, axes.yaxis):
        axis.set_major_formatter(lambda value, _position: quantity(value, "").strip())
        axis.set_minor_formatter(lambda _value, _position: "")
    axes.set_xlabel(title, color=ink)
    axes.tick_params(colors=ink, which="both")
    axes.grid(True, color=marker("rule"), linewidth=0.6)
    for side in axes.spines.values():
        side.set_color(ink)


def _landmarks(axes: Axes, mains: Mains, ratio: float) -> None:
    for mark in landmarks(mains.voltage, mains.frequency):
        height = ratio * mark.peak_v
        axes.plot([mark.width_s], [height], "^", color=marker("limit"), markersize=6)
        axes.annotate(
            mark.words,
            (mark.width_s, height),
            (5, 4),
            textcoords="offset points",
            fontsize=7,
            color=marker("ink"),
        )


def _signals(axes: Axes, mains: Mains, ratio: float) -> None:
    """Draw the largest signal voltage of the mains over its frequencies."""
    hertz = [pair[0] for pair in SIGNAL_POINTS]
    crest = math.sqrt(2) * mains.voltage * ratio
    levels = [crest * signal_share(one) for one in hertz]
    axes.plot(hertz, levels, ":", color=marker("limit"), label="signals on the mains")
    axes.annotate(
        "signals on the mains",
        (hertz[0], levels[0]),
        (0, 5),
        textcoords="offset points",
        fontsize=7,
        color=marker("ink"),
    )
