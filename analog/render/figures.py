"""Waveform figures as inline SVG: drawn by matplotlib from a `Picture`, names in the margins.

Names stand beside the axes, never over data: curves and levels to the right, measured points
above, line styles below. Widths are in pt; the figure fits a printed A4 or Letter column.
"""

from __future__ import annotations

import io
import warnings
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from analog.benches.base import AxisKind, Plot
from analog.render.geometry import text_width
from analog.render.palette import marker
from analog.render.picture import Case, Picture, Point, Trace, compose, in_words
from analog.render.spacing import spread_out, stack_rows
from analog.render.svg import Inline, finish
from analog.render.words import quantity

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_PT = 540.0
LEFT_PT, RIGHT_PT = 56.0, 136.0
PANEL_PT, GAP_PT = 186.0, 16.0
FONT_PT = 9.0
ROW_PT = 13.0
PLOT_PT = WIDTH_PT - LEFT_PT - RIGHT_PT

_SETTINGS: dict[Any, Any] = {
    "svg.fonttype": "none",
    "svg.hashsalt": "edgeproof",
    "font.family": "DejaVu Sans",
    "font.size": FONT_PT,
    "text.parse_math": False,  # names are the user's own text
}
_DASHED = (0, (4, 2))
_LEVEL = (0, (7, 2, 1.5, 2))
_FAINT_LEVEL = (0, (1, 2))


def draw_plot(plot: Plot, cases: Sequence[Case], identifier: str) -> Inline:
    """Draw `plot` for the nominal case and, when given, the worst case after it.

    `identifier` makes the figure's own identifiers unique on its page. Raises ValueError for
    no cases, KeyError for a curve that was not saved.
    """
    picture = compose(plot, cases)
    return finish(_paint(picture), identifier, picture.title, in_words(picture))


def _paint(picture: Picture) -> str:
    import matplotlib
    from matplotlib.figure import Figure

    flags = _flags(picture)
    band = 8.0 + ROW_PT * (1 + max((row for *_, row in flags), default=-1))
    panels = len(picture.units)
    entries = _key_entries(picture)
    height = band + panels * (PANEL_PT + GAP_PT) + 42.0 + ROW_PT * len(entries)
    with matplotlib.rc_context(_SETTINGS):
        canvas = Figure(figsize=(WIDTH_PT / 72, height / 72), facecolor="none")
        for number, unit in enumerate(picture.units):
            bottom = height - band - (number + 1) * PANEL_PT - number * GAP_PT
            place = (LEFT_PT, bottom, PLOT_PT, PANEL_PT)
            axes = canvas.add_axes(_shares(place, height))
            _panel(axes, picture, unit)
            axes.tick_params(labelbottom=number == panels - 1)
            if number == panels - 1:
                axes.set_xlabel(_x_title(picture))
            if number == 0:
                _draw_flags(axes, flags)
        _draw_key(canvas, entries, height)
        target = io.StringIO()
        with warnings.catch_warnings():
            # Text stays text in the SVG; the reader's own fonts have the glyph.
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            canvas.savefig(target, format="svg", metadata={"Date": None, "Creator": None})
    return target.getvalue()


def _shares(
    place: tuple[float, float, float, float], height: float
) -> tuple[float, float, float, float]:
    left, bottom, width, tall = place
    return left / WIDTH_PT, bottom / height, width / WIDTH_PT, tall / height


def scale(span: float, unit: str) -> tuple[float, str]:
    """Return the factor and prefixed unit in which numbers up to `span` read easily."""
    prefixes = ((1e6, "M"), (1e3, "k"), (1.0, ""), (1e-3, "m"), (1e-6, "µ"), (1e-9, "n"))
    for factor, prefix in prefixes:
        if span >= 0.9999 * factor:
            return factor, prefix + unit
    return 1e-12, "p" + unit


def _x_scale(picture: Picture) -> tuple[float, str]:
    return scale(max(map(abs, picture.window)), picture.x_unit)


def _x_title(picture: Picture) -> str:
    name = "time" if picture.x_unit == "s" else "swept voltage"
    if picture.x_from:
        name = f"time from {picture.x_from}"
    return f"{name} in {_x_scale(picture)[1]}"


def _panel(axes: Axes, picture: Picture, unit: str) -> None:
    traces = [trace for trace in picture.traces if trace.unit == unit]
    lines = [line for line in picture.lines if line.unit == unit]
    reach = [float(end) for trace in traces for end in (trace.y.min(), trace.y.max())]
    reach += [line.value for line in lines]
    factor, y_unit = scale(max(map(abs, reach)) or 1.0, unit)
    x_factor, _ = _x_scale(picture)
    alone = len(picture.cases) == 1
    for trace in traces:
        _draw_trace(axes, trace, x_factor, factor, trace.case > 0 or alone)
    for line in lines:
        faint = line.case == 0 and not alone
        axes.axhline(
            line.value / factor,
            color=marker("muted" if faint else "limit"),
            linewidth=1.0,
            linestyle=_FAINT_LEVEL if faint else _LEVEL,
            zorder=2,
        )
    for point in (point for point in picture.points if point.unit == unit):
        place = (point.x / x_factor, point.y / factor)
        _draw_point(axes, place, filled=point.case > 0 or alone)
    axes.set_xlim(picture.window[0] / x_factor, picture.window[1] / x_factor)
    _frame(axes, [value / factor for value in reach], picture.axis)
    axes.set_ylabel(f"{_NAMES.get(unit, 'value')} in {y_unit}")
    _side_labels(axes, picture, unit, factor)


def _draw_trace(axes: Axes, trace: Trace, x_factor: float, y_factor: float, strong: bool) -> None:
    axes.plot(
        trace.x / x_factor,
        trace.y / y_factor,
        color=marker(trace.role),
        linewidth=1.9 if strong else 1.1,
        linestyle="solid" if strong else _DASHED,
        zorder=3,
    )


def _draw_point(axes: Axes, place: tuple[float, float], filled: bool) -> None:
    axes.plot(
        [place[0]],
        [place[1]],
        marker="o",
        markersize=5.5,
        markerfacecolor=marker("ink" if filled else "card"),
        markeredgecolor=marker("ink"),
        linestyle="none",
        clip_on=False,
        zorder=5,
    )


_NAMES = {"V": "voltage", "A": "current", "W": "power", "C": "charge"}


def y_range(reach: Sequence[float], axis: AxisKind = "zero") -> tuple[float, float]:
    """Return the ends of an axis that keeps every value of `reach` in view, and zero too unless
    it is a `close` one."""
    kept = (0.0, *reach) if axis == "zero" else reach
    low, high = min(kept), max(kept)
    room = 0.06 * ((high - low) or 1.0)
    return low - room, high + room


def _frame(axes: Axes, reach: Sequence[float], kind: AxisKind) -> None:
    """Set axis, grid and colours."""
    axes.set_ylim(*y_range(reach, kind))
    axes.set_facecolor("none")
    axes.grid(visible=True, color=marker("rule"), linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(color=marker("muted"), labelcolor=marker("ink"), length=3)
    for label in (axes.xaxis.label, axes.yaxis.label):
        label.set_color(marker("ink"))
    for side, spine in axes.spines.items():
        spine.set_visible(side in ("left", "bottom"))
        spine.set_color(marker("muted"))


def wrapped(text: str, room: float) -> list[str]:
    """Break a label into lines no wider than `room` pt; a longer word stands alone."""
    lines: list[str] = []
    for word in text.split(" "):  # never at the space between a number and its unit
        if lines and text_width(f"{lines[-1]} {word}", FONT_PT) <= room:
            lines[-1] += f" {word}"
        else:
            lines.append(word)
    return lines


def _side_labels(axes: Axes, picture: Picture, unit: str, factor: float) -> None:
    """Write curve and level names into the right margin, spread so that none overlap."""
    last = len(picture.cases) - 1
    wanted = [(float(trace.y[-1]), trace.label, trace.role) for trace in _longest(picture, unit)]
    for line in (line for line in picture.lines if line.unit == unit):
        faint = line.case == 0 and last > 0
        name = f"{line.label} (nominal)" if faint else line.label
        text = f"{name} {quantity(line.value, line.unit)}"
        wanted.append((line.value, text, "muted" if faint else "limit"))
    wanted.sort(key=lambda item: item[0])
    to_share = axes.transData + axes.transAxes.inverted()
    targets = [float(to_share.transform((1.0, y / factor))[1]) * PANEL_PT for y, _, _ in wanted]
    texts = ["\n".join(wrapped(text, RIGHT_PT - 20)) for _, text, _ in wanted]
    heights = [11.5 * (1 + text.count("\n")) + 2 for text in texts]
    places = spread_out(targets, heights, -8.0, PANEL_PT + 8.0)
    for text, (_, _, role), target, place in zip(texts, wanted, targets, places, strict=True):
        axes.annotate(
            text,
            xy=(1.0, target / PANEL_PT),
            xytext=(1.0 + 14 / PLOT_PT, place / PANEL_PT),
            xycoords="axes fraction",
            textcoords="axes fraction",
            va="center",
            ha="left",
            color=marker(role),
            annotation_clip=False,
            arrowprops={
                "arrowstyle": "-",
                "color": marker(role),
                "linewidth": 0.7,
                "shrinkA": 1,
                "shrinkB": 0,
                "relpos": (0.0, 0.5),
            },
        )


def _longest(picture: Picture, unit: str) -> list[Trace]:
    """Return of each curve the case that runs on farthest, of equals the worst."""
    found: dict[str, Trace] = {}
    for trace in (trace for trace in picture.traces if trace.unit == unit):
        other = found.get(trace.label)
        if other is None or trace.x[-1] >= other.x[-1]:
            found[trace.label] = trace
    return list(found.values())


Flag = tuple[float, float, str, int]


def _flags(picture: Picture) -> list[Flag]:
    """Return (x as a share, left edge in pt, text, row) of the name of each measured point.

    A point measured in both cases has one name, at its worst.
    """
    start, end = picture.window
    spans, names = [], []
    for point, text in _named_points(picture):
        room = text_width(text, FONT_PT)
        share = (point.x - start) / (end - start)
        left = min(max(share * PLOT_PT - room / 2, 4 - LEFT_PT), PLOT_PT + RIGHT_PT - room - 4)
        spans.append((left, left + room + 8))
        names.append((share, left, text))
    rows = stack_rows(spans)
    return [(*name, row) for name, row in zip(names, rows, strict=True)]


def _named_points(picture: Picture) -> list[tuple[Point, str]]:
    unit = picture.x_unit
    named = []
    for point in picture.points:
        twins = [p for p in picture.points if p.label == point.label and p.case != point.case]
        said = f"{point.label} {quantity(point.x, unit)}"
        if point.case > 0 and twins:
            said += f" (nominal {quantity(twins[0].x, unit)})"
        elif point.case == 0 and len(picture.cases) > 1:
            said += " (nominal)"
        if point.case > 0 or not twins:
            named.append((point, said))
    return named


def _draw_flags(axes: Axes, flags: Sequence[Flag]) -> None:
    """Write the names above the axes, each with a hairline at its point in time."""
    for share, left, text, row in flags:
        height = 1 + (5 + ROW_PT * row) / PANEL_PT
        axes.plot(
            [share, share],
            [0, height],
            transform=axes.transAxes,
            clip_on=False,
            color=marker("muted"),
            linewidth=0.6,
            linestyle=(0, (1, 1.5)),
            zorder=1,
            scalex=False,
            scaley=False,
        )
        axes.text(
            left / PLOT_PT,
            height,
            text,
            transform=axes.transAxes,
            va="bottom",
            ha="left",
            color=marker("ink"),
            bbox={"facecolor": marker("card"), "edgecolor": "none", "pad": 1.0},
            zorder=6,
        )


def _key_entries(picture: Picture) -> list[tuple[bool | None, str]]:
    """Return the lines of the key from top to bottom: drawn strong, drawn faint, or no line."""
    entries: list[tuple[bool | None, str]] = []
    for number, name in enumerate(picture.cases):
        strong = number > 0 or len(picture.cases) == 1
        text = f"{name}, measured points {'●' if strong else '○'}" if picture.points else name
        lines = wrapped(text, WIDTH_PT - LEFT_PT - 40)
        entries += [(strong, lines[0]), *((None, line) for line in lines[1:])]
    return entries


def _draw_key(canvas: Figure, entries: Sequence[tuple[bool | None, str]], height: float) -> None:
    """Explain line styles and points under the axes, away from the data."""
    from matplotlib.lines import Line2D

    for number, (strong, text) in enumerate(reversed(entries)):
        y = (8.0 + ROW_PT * number) / height
        if strong is not None:
            canvas.add_artist(
                Line2D(
                    [LEFT_PT / WIDTH_PT, (LEFT_PT + 24) / WIDTH_PT],
                    [y, y],
                    color=marker("ink"),
                    linewidth=1.9 if strong else 1.1,
                    linestyle="solid" if strong else _DASHED,
                )
            )
        canvas.text((LEFT_PT + 30) / WIDTH_PT, y, text, va="center", color=marker("ink"))
