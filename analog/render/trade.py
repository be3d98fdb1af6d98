"""The figure of a trade: where two values work, which limit ends the region, what is in stock."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from analog.advice.stock import value_text
from analog.circuits.space import Floats
from analog.render.palette import CURVES, ROLES
from analog.workflows.trade import Trade

if TYPE_CHECKING:
    from matplotlib.axes import Axes

_SIZE_IN = (9.0, 5.4)
_SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "edgeproof",
    "font.family": "DejaVu Sans",
    "font.size": 9.0,
    "text.parse_math": False,
}
_INKS = tuple(ROLES[role][0] for role in (*CURVES, "threshold", "muted"))
_INK, _PAPER, _DESIGN = ROLES["ink"][0], ROLES["card"][0], ROLES["limit"][0]
_DASHES = ("solid", (0, (6, 2)), (0, (2, 2)), (0, (7, 2, 1.5, 2)), (0, (1, 1)), (0, (10, 3)))
_REGION = "#cde6d2"
_CLIP = 1.0
"""Gaps beyond this are cut before the line between grid points is drawn."""


def draw_trade(laid: Trade, target: Path) -> None:
    """Draw a trade into `target`, whose suffix says how (.svg, .png).

    The first key runs upwards, the second to the right, both logarithmic. Raises OSError when
    the file cannot be written.
    """
    import matplotlib
    from matplotlib.figure import Figure

    with matplotlib.rc_context(_SETTINGS):
        canvas = Figure(figsize=_SIZE_IN, facecolor=_PAPER)
        axes = canvas.add_axes((0.1, 0.12, 0.56, 0.78))
        _region(axes, laid)
        _ends(axes, laid)
        _pairs(axes, laid)
        _frame(axes, laid)
        axes.legend(loc="upper left", bbox_to_anchor=(1.02, 1.0), frameon=False, handlelength=3.2)
        kind = target.suffix.removeprefix(".")
        metadata = {"Date": None, "Creator": None} if kind == "svg" else {"Software": None}
        canvas.savefig(target, format=kind, dpi=150, metadata=metadata)


def _grid(laid: Trade) -> tuple[Floats, Floats]:
    """Return the second key's and the first key's values as decades."""
    return np.log10(laid.values[1]), np.log10(laid.values[0])


def _fine(grid: Floats) -> Floats:
    return np.linspace(grid[0], grid[-1], 40 * len(grid))


def _between(laid: Trade, gaps: Floats) -> tuple[Floats, Floats, Floats]:
    """Return x, y and gaps on a fine grid, linear in decades between the pairs laid out."""
    x, y = _grid(laid)
    fine_x, fine_y = _fine(x), _fine(y)
    clipped = np.clip(np.nan_to_num(gaps, nan=-_CLIP, neginf=-_CLIP), -_CLIP, _CLIP)
    across = np.array([np.interp(fine_x, x, line) for line in clipped])
    whole = np.array([np.interp(fine_y, y, column) for column in across.T]).T
    return 10**fine_x, 10**fine_y, whole


def _region(axes: Axes, laid: Trade) -> None:
    fields = [_between(laid, gaps) for gaps in laid.gaps.values()]
    x, y, _ = fields[0]
    least = np.min([field for _, _, field in fields], axis=0)
    axes.contourf(x, y, least, levels=[0.0, 2 * _CLIP], colors=[_REGION])
    axes.plot([], [], color=_REGION, linewidth=8, label="every limit kept")


def _ends(axes: Axes, laid: Trade) -> None:
    """Draw the line at which each limit is just kept."""
    for index, name in enumerate(laid.limits):
        ink, dash = _INKS[index % len(_INKS)], _DASHES[index % len(_DASHES)]
        x, y, whole = _between(laid, laid.gaps[name])
        if whole.min() < 0 < whole.max():
            axes.contour(x, y, whole, levels=[0.0], colors=[ink], linestyles=[dash])
            axes.plot([], [], color=ink, linestyle=dash, label=_words(name))
        else:
            axes.plot([], [], color="none", label=f"short everywhere: {_words(name)}")


def _words(name: str) -> str:
    bench, measure, limit = name.split(".")
    return f"{bench}.{measure}\n({limit.replace('_', ' ')})"


def _pairs(axes: Axes, laid: Trade) -> None:
    for works, face, label in ((True, _INK, "works"), (False, _PAPER, "fails")):
        pairs = [
            (second, first)
            for first in laid.values[0]
            for second in laid.values[1]
            if _works(laid, first, second) == works
        ]
        if pairs:
            x, y = zip(*pairs, strict=True)
            axes.scatter(x, y, s=16, facecolor=face, edgecolor=_INK, linewidth=0.7, clip_on=False,
                         zorder=3, label=f"in stock, {label}")  # fmt: skip
    ring: dict[str, Any] = {"facecolor": "none", "clip_on": False, "zorder": 4}
    axes.scatter([laid.present[1]], [laid.present[0]], s=110, marker="s", edgecolor=_DESIGN,
                 linewidth=1.6, label="the design", **ring)  # fmt: skip
    checked = [(pair[1], pair[0]) for pair, works in laid.verified if works]
    if checked:
        x, y = zip(*checked, strict=True)
        axes.scatter(x, y, s=70, edgecolor=_INK, label="checked in full, works", **ring)


def _works(laid: Trade, first: float, second: float) -> bool:
    return bool(laid.works[laid.values[0].index(first), laid.values[1].index(second)])


def _frame(axes: Axes, laid: Trade) -> None:
    axes.set_xscale("log")
    axes.set_yscale("log")
    for axis, index in ((axes.xaxis, 1), (axes.yaxis, 0)):
        marks = _labelled(laid.values[index])
        axis.set_ticks(marks, [value_text(v, laid.units[index]) for v in marks])
        axis.set_ticks([], minor=True)
    axes.set_xlabel(laid.keys[1])
    axes.set_ylabel(laid.keys[0])
    axes.set_title(f"{laid.design.name}: margin of {100 * laid.required:g} % or more", loc="left")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)


def _labelled(laid_out: tuple[float, ...]) -> tuple[float, ...]:
    """Return the values that get a name: about eight, evenly."""
    stride = max(1, math.ceil(len(laid_out) / 9))
    return laid_out[::stride]
