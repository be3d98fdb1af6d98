"""What is read of a line sense by way of a user's own sub-circuit, and what is said about it."""

from __future__ import annotations

from collections.abc import Mapping

from analog.benches.base import Measure
from analog.benches.line_sense_measures import MEASURES, OUTPUTS, line_sense_pin
from analog.design import Spread
from analog.engine import Run
from analog.measures import mean, window
from analog.verdicts import Limit

DRIFT = "settling_drift"

SETTLED_SHARE = 0.01
"""Of the rail: what a settled pin may still move from one cycle to the next."""

OWN_MEASURES = (*(name for name in MEASURES if not name.startswith("series_")), DRIFT)
OWN_OUTPUTS = (*(name for name in OUTPUTS if not name.startswith("series_")), DRIFT)


def line_sense_own(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Return the measures at the pin, and how much its mean moves from one cycle to the next (V).

    Compared are the quarter of a cycle before the measured one and the last of that.
    """
    time, pin = run.time, run.trace("v(pin)")
    last = row["t_end"] - (row["t_quarter"] - row["t_start"])
    before = mean(*window(time, pin, row["t_start"], row["t_quarter"]))
    after = mean(*window(time, pin, last, row["t_end"]))
    return {**line_sense_pin(run, row), DRIFT: abs(after - before)}


def own_measures(rail_v: float) -> tuple[Measure, ...]:
    """Return the measure that the built-in filters do not have."""
    return (
        Measure(
            DRIFT,
            "V",
            "what the pin still moves",
            "max",
            rail_v,
            "mean over a quarter of a cycle, against the same quarter one cycle later",
        ),
    )


def own_limits(rail: Spread) -> dict[str, tuple[Limit, ...]]:
    """Return the limit on it: a pin that has not settled says nothing about the other measures."""
    return {
        DRIFT: (
            Limit(
                "settled",
                None,
                SETTLED_SHARE * rail.nominal,
                "1 % of the rail (common practice, no source)",
                "if it fails, give subcircuit_settling a longer time",
            ),
        )
    }
