"""Limits on the filtered signal and on clock edges, each with the document it comes from."""

from __future__ import annotations

from collections.abc import Callable

from analog.benches.line_receiver import Receiver
from analog.cards import Card, Column, Figure, technology
from analog.design import PartValue, Spread
from analog.verdicts import Limit

DERATING_FROM_C = 70.0
DERATING_TO_C = 155.0
"""Film resistors carry their rating up to 70 °C and nothing at 155 °C (IEC 60115-1 style
derating line, from memory)."""

ONE_EDGE = Limit("one_per_cycle", 1.0, 1.0, "one count per mains cycle is the circuit's purpose")
TWO_EDGES = Limit("two_per_cycle", 2.0, 2.0, "both half-cycles are sensed: two counts per cycle")


def edge_limit(edges: int) -> Limit:
    """Return the limit on edges per mains cycle: one, or two where both half-cycles count."""
    return TWO_EDGES if edges == 2 else ONE_EDGE


def supplies_of(rail: Spread, column: Column, name: str) -> tuple[float, ...]:
    """Return the supplies (V) between which a figure is linear over the rail's range."""
    inside = (v for v in column.tables[name].supplies if rail.low < v < rail.high)
    return tuple(sorted({rail.low, rail.nominal, rail.high, *inside}))


def level_limits(receiver: Receiver, rail: Spread) -> dict[str, tuple[Limit, ...]]:
    """Return the limits of the level margins: 0 V, with the makers whose thresholds decide."""
    highest = max(receiver.columns, key=lambda c: receiver.high_v(c, rail.nominal))
    lowest = min(receiver.columns, key=lambda c: receiver.low_v(c, rail.nominal))
    upper, lower = receiver.names
    return {
        "high_level_margin": (
            _margin(
                f"{upper} {'maximum' if receiver.schmitt else 'minimum'}",
                highest,
                receiver.upper(highest, rail.nominal),
                "high" if receiver.schmitt else "low",
            ),
        ),
        "low_level_margin": (
            _margin(
                f"{lower} {'minimum' if receiver.schmitt else 'maximum'}",
                lowest,
                receiver.lower(lowest, rail.nominal),
                "low" if receiver.schmitt else "high",
            ),
        ),
    }


def transition_limits(card: Card, columns: tuple[Column, ...], rail: Spread) -> tuple[Limit, ...]:
    """Return the slowest edge (s, 10-90 %) an input of `card` takes, over the rail's range.

    The strictest column counts; one that takes edges of any slowness sets no limit. A limit in
    s/V becomes a time over the 80 % of the rail between the two points.
    """
    limited = [column for column in columns if not column.unlimited_transition]
    limits = []
    for name, identifier, span in (
        ("transition_max", "transition_maximum", lambda _: 1.0),
        ("transition_rate_max", "transition_rate", lambda vdd: 0.8 * vdd),
    ):
        found = [_strictest(c, name, rail, span) for c in limited if c.has(name)]
        if found:
            limit_s, vdd, figure, column = min(found, key=lambda entry: entry[0])
            words = f"{card.identifier} ({column.maker}), strictest at {vdd:g} V"
            note = _joined(words, figure.note("high"))
            limits.append(Limit(identifier, None, limit_s, str(figure.source), note))
    return tuple(limits)


def clamp_limits(receiver: Receiver) -> tuple[Limit, ...]:
    """Return absolute maximum and working value (A) of the current into an input's protection."""
    limits = []
    for name, identifier in (
        ("clamp_current_absolute", "absolute_maximum"),
        ("clamp_current_working", "working"),
    ):
        figures = [(c, c.figure(name)) for c in receiver.columns if c.has(name)]
        if figures:
            column, figure = min(figures, key=lambda entry: entry[1].high)
            note = _joined(column.maker, figure.note("high"))
            limits.append(Limit(identifier, None, figure.high, str(figure.source), note))
    return tuple(limits)


def pump_limit(load: Spread) -> Limit:
    """Return the largest mean current (A) into the rail: what the rail's least load takes away.

    A regulator only feeds; what more is pushed into its output lifts the rail.
    """
    source = f"least load of the rail, {load.text} (common practice, no source)"
    return Limit("least_load", None, load.low, source)


def resistor_limits(part: PartValue, ambient_maximum_c: float) -> dict[str, tuple[Limit, ...]]:
    """Return power (W), rms and short overload voltage (V) the series resistor takes, by size."""
    make = technology(part.technology)
    rating_w = part.rating or make.rating_default
    hot = (DERATING_TO_C - ambient_maximum_c) / (DERATING_TO_C - DERATING_FROM_C)
    size_note = "" if part.rating else f"size not stated: {rating_w:g} W taken"
    power = Limit(
        "rating",
        None,
        rating_w * min(1.0, max(0.0, hot)),
        f"rating of the resistor, derated above {DERATING_FROM_C:g} °C (from memory)",
        size_note,
    )
    fitting = [size for size in make.sizes if size.rating_w <= rating_w] or list(make.sizes[:1])
    if not fitting:
        return {"series_resistor_power": (power,)}
    size = fitting[-1]
    voltage = Limit("limiting_element", None, size.limiting_v, str(size.source), size_note)
    surge = Limit("overload", None, size.overload_v, str(size.source), size_note)
    return {
        "series_resistor_power": (power,),
        "series_resistor_voltage": (voltage,),
        "series_resistor_surge": (surge,),
    }


def _margin(words: str, column: Column, figure: Figure, side: str) -> Limit:
    note = _joined(
        f"{column.maker} decides ({words})", figure.note("low" if side == "low" else "high")
    )
    return Limit("guaranteed", 0.0, None, f"{figure.name}: {figure.source}", note)


def _strictest(
    column: Column, name: str, rail: Spread, span: Callable[[float], float]
) -> tuple[float, float, Figure, Column]:
    """Return the smallest limit (s) over the rail's range, its supply (V), figure and column."""
    entries = [
        (column.figure(name, vdd=vdd).high * span(vdd), vdd, column.figure(name, vdd=vdd), column)
        for vdd in supplies_of(rail, column, name)
    ]
    return min(entries, key=lambda entry: entry[0])


def _joined(*words: str) -> str:
    return "; ".join(word for word in words if word)
