"""A small histogram as inline SVG: how a measure is distributed, and where its limit lies."""

from __future__ import annotations

from html import escape

from analog.render.words import limit_words, measure_words, quantity
from analog.results.records import Distribution, LimitRow, MeasureRow

WIDTH_PX, HEIGHT_PX = 240, 56
_LEFT, _RIGHT, _BASE = 4, 236, 50
_REACH = 0.35
"""How far beyond the bars, in widths of the histogram, a limit is drawn at its place."""


def histogram(row: MeasureRow) -> str:
    """Return the picture of a row that has a distribution; "" for one that has none.

    A limit too far off to be drawn at its place is an arrow at that side.
    """
    found = row.spread
    if found is None or found.highest <= found.lowest:
        return ""
    place = _Scale(found, row.limit)
    parts = [*_bars(found, place), *_limits(row, place)]
    label = escape(_in_words(row, found), quote=True)
    return (
        f'<svg class="histogram" role="img" aria-label="{label}" width="{WIDTH_PX}" '
        f'height="{HEIGHT_PX}" viewBox="0 0 {WIDTH_PX} {HEIGHT_PX}">{"".join(parts)}</svg>'
    )


class _Scale:
    """From values to places: the bars, and those ends of the limit that are near enough."""

    def __init__(self, found: Distribution, limit: LimitRow | None) -> None:
        width = found.highest - found.lowest
        ends = [end for end in (limit.min, limit.max) if end is not None] if limit else []
        low, high = found.lowest - _REACH * width, found.highest + _REACH * width
        self.near = [end for end in ends if low <= end <= high]
        self.far = [end for end in ends if not low <= end <= high]
        self.low = min([found.lowest, *self.near])
        self.high = max([found.highest, *self.near])

    def __call__(self, value: float) -> float:
        share = (value - self.low) / (self.high - self.low)
        return _LEFT + 10 + share * (_RIGHT - _LEFT - 20)


def _bars(found: Distribution, place: _Scale) -> list[str]:
    step = (found.highest - found.lowest) / len(found.counts)
    most = max(found.counts)
    bars = []
    for index, count in enumerate(found.counts):
        x = place(found.lowest + index * step)
        width = place(found.lowest + (index + 1) * step) - x
        height = 40 * count / most
        bars.append(
            f'<rect x="{x:.1f}" y="{_BASE - height:.1f}" width="{max(0.5, width - 0.6):.1f}" '
            f'height="{height:.1f}" fill="var(--curve-1)"/>'
        )
    axis = f'<path d="M{_LEFT} {_BASE}H{_RIGHT}" stroke="var(--rule)" fill="none"/>'
    return [*bars, axis]


def _limits(row: MeasureRow, place: _Scale) -> list[str]:
    dash = 'stroke="var(--limit)" stroke-width="1.5" stroke-dasharray="6 2" fill="none"'
    drawn = [f'<path d="M{place(end):.1f} 4V{_BASE + 4}" {dash}/>' for end in place.near]
    assert row.spread is not None
    for end in place.far:
        x, sign = (_LEFT, 1) if end < row.spread.lowest else (_RIGHT, -1)
        solid = 'stroke="var(--limit)" stroke-width="1.5" fill="none"'
        drawn.append(f'<path d="M{x + 6 * sign} 8L{x} 12L{x + 6 * sign} 16" {solid}/>')
    return drawn


def _in_words(row: MeasureRow, found: Distribution) -> str:
    ends = f"{quantity(found.lowest, row.unit)} to {quantity(found.highest, row.unit)}"
    said = f"{measure_words(row.measure)}: {ends} over {sum(found.counts)} boards"
    return f"{said}, limit {limit_words(row.limit, row.unit)}" if row.limit else said
