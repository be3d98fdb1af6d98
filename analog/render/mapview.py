"""The map of interruptions as a figure: length against what is left of the mains."""

from __future__ import annotations

import io
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np

from analog.render.palette import marker
from analog.render.svg import Inline, finish
from analog.workflows.interruptions import InterruptionMap

if TYPE_CHECKING:
    from matplotlib.axes import Axes

TITLE = "Interruptions that lose the state without a reset, at the worst case"

FONT_PT = 9.0

_SIZE_INCHES = (7.5, 3.9)
SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "edgeproof",
    "font.family": "DejaVu Sans",
    "font.size": FONT_PT,
    "text.parse_math": False,
}


def draw_map(found: InterruptionMap, identifier: str) -> Inline:
    """Return the map as an inline SVG; `identifier` makes its own identifiers unique."""
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(SETTINGS), warnings.catch_warnings():
        # Text stays text in the SVG; the reader's own fonts have the glyph.
        warnings.filterwarnings("ignore", message="Glyph .* missing")
        figure = Figure(figsize=_SIZE_INCHES, facecolor="none")
        axes = figure.add_axes((0.1, 0.14, 0.87, 0.82), facecolor="none")
        _paint(axes, found)
        text = io.StringIO()
        figure.savefig(text, format="svg", metadata={"Date": None}, transparent=True)
    return finish(text.getvalue(), identifier, TITLE, map_words(found))


def map_words(found: InterruptionMap) -> str:
    """Say the map in words: the span at a full cut, and each test point."""
    window, edges = found.window, found.window.edges(0)
    if edges is None:
        said = ["No cut of the whole mains is missed."]
    else:
        said = [f"Cuts of the whole mains from {edges[0]:.3g} s to {edges[1]:.3g} s are missed."]
    rows = np.flatnonzero(window.inside.any(axis=0))
    if len(rows):
        most = window.y[rows[-1]]
        said.append(f"Dips that leave up to {100 * most:.0f} % of the mains can be missed.")
    endless = window.y[window.inside[-1]]
    if len(endless):
        low, high = 100 * endless[0], 100 * endless[-1]
        said.append(f"Those that leave {low:.0f} % to {high:.0f} % are missed to the map's end.")
    hit = [words for *_, words, missed in found.points if missed]
    listed = "; ".join(hit) if hit else "none"
    said.append(f"Test points of IEC 61000-4-11 that are missed: {listed}.")
    said.append(f"{window.runs} simulations for {window.inside.size} points")
    return " ".join(said)


def _paint(axes: Axes, found: InterruptionMap) -> None:
    window = found.window
    _fill(axes, found)
    ink = marker("ink")
    for number, (length, share, words, missed) in enumerate(found.points):
        role = marker("fail" if missed else "pass")
        axes.plot([length], [100 * share], "X" if missed else "o", color=role, markersize=6)
        # Two neighbours at 0 % stand too close together for words at one height.
        place, size = (0, 7 + 10 * (number % 2)), FONT_PT - 2
        axes.annotate(
            words,
            (length, 100 * share),
            place,
            textcoords="offset points",
            fontsize=size,
            color=ink,
            ha="left" if number == 0 else "center",
        )
    lengths = [*window.x.tolist(), *(length for length, *_ in found.points)]
    axes.set_xscale("log")
    axes.xaxis.set_major_formatter(lambda value, _position: f"{value:g}")
    axes.set_xlim(min(lengths) * 0.8, max(lengths) * 1.8)
    axes.set_ylim(-4, 100)
    axes.set_xlabel("length of the interruption (s)", color=ink)
    axes.set_ylabel("left of the mains (%)", color=ink)
    axes.tick_params(colors=ink, which="both")
    axes.grid(True, color=marker("rule"), linewidth=0.6)
    for side in axes.spines.values():
        side.set_color(ink)


def _fill(axes: Axes, found: InterruptionMap) -> None:
    """Fill every row of the map from the first to the last missed length of each stretch."""
    window = found.window
    bounds = np.sqrt(window.x[1:] * window.x[:-1])
    edges = np.concatenate((window.x[:1], bounds, window.x[-1:]))
    height = 100 * float(window.y[1] - window.y[0])
    for column, share in enumerate(window.y):
        inside = np.concatenate(([False], window.inside[:, column], [False]))
        starts, ends = (np.flatnonzero(np.diff(inside.astype(int)) == sign) for sign in (1, -1))
        for start, end in zip(starts, ends, strict=True):
            axes.barh(
                100 * share,
                edges[end] - edges[start],
                height,
                edges[start],
                color=marker("fail-tint"),
                edgecolor=marker("fail"),
                hatch="///",
                linewidth=0,
            )
