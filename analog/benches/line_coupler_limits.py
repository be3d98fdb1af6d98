"""Measures and limits of a line sense's optocoupler."""

from __future__ import annotations

from analog.benches.base import Measure
from analog.benches.line_coupler import Coupler
from analog.verdicts import Limit


def coupler_measures(coupler: Coupler, crest_v: float) -> tuple[Measure, ...]:
    """Return the measures; `crest_v` (V) is the winding's."""
    largest_a = coupler.column.figure("I_F_max").high
    return (
        Measure(
            "led_reverse_voltage",
            "V",
            "reverse voltage at the LED",
            "max",
            crest_v,
            "largest value in the half-wave that does not light it",
        ),
        Measure(
            "ctr_margin",
            "1",
            "transfer ratio to spare",
            "min",
            1.0,
            "ratio at the crest of the LED current, aged and at ambient temperature, − the ratio "
            "that pulls the pin surely low against the pull-up",
        ),
        Measure(
            "led_current_peak", "A", "crest of the LED current", "max", largest_a, "over a cycle"
        ),
    )


def coupler_limits(coupler: Coupler) -> dict[str, tuple[Limit, ...]]:
    """Return reverse voltage (V), ratio to spare (1) and LED current (A) that are allowed."""
    column = coupler.column
    ratio, current = column.figure("CTR"), column.figure("I_F_max")
    aged = column.figure("ctr_ageing_factor")
    words = "; ".join(word for word in (aged.note("low"), ratio.note("low")) if word)
    limits: dict[str, tuple[Limit, ...]] = {
        "ctr_margin": (
            Limit("guaranteed", 0.0, None, f"CTR: {ratio.source}; ageing: {aged.source}", words),
        ),
        "led_current_peak": (
            Limit("absolute_maximum", None, current.high, str(current.source), column.maker),
        ),
    }
    if column.has("V_R_max"):
        reverse = column.figure("V_R_max")
        limits["led_reverse_voltage"] = (
            Limit("absolute_maximum", None, reverse.high, str(reverse.source), column.maker),
        )
    return limits
