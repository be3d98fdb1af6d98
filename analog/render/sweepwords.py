"""What a sweep found, in plain sentences: yields, drivers, rare failures."""

from __future__ import annotations

import math
from collections.abc import Mapping

from analog.design import Design, PartValue
from analog.render.words import measure_words, quantity
from analog.results.records import MeasureRow, RareFailure, Results, Yield
from analog.workflows.boards import design_parts

GRADES = (0.2, 0.1, 0.05, 0.02, 0.01)
"""Tolerances that resistors and capacitors are sold in."""

TELLING = 0.2
"""Share of the variance from which on a driver is worth a sentence about a better part."""


def percent(share: float) -> str:
    """Return a share in per cent, near 100 % with the digits that tell it from 100 %."""
    if 0.9 <= share < 1:
        digits = min(6, max(0, math.ceil(-math.log10(1 - share)) - 1))
        return f"{math.floor(share * 10 ** (digits + 2) + 1e-9) / 10**digits:.6g} %"
    return f"{100 * share:.3g} %"


def yield_words(found: Yield) -> str:
    """Return a yield with its interval, as boards of a hundred."""
    seen = "none" if found.estimate is None else percent(found.estimate)
    lost = f", {found.failed_runs} simulations without data" if found.failed_runs else ""
    return (
        f"{seen} of {found.n} boards work; of all boards, {percent(found.low)} to "
        f"{percent(found.high)} at {percent(found.confidence)} confidence{lost}"
    )


def driver_sentence(row: MeasureRow, design: Design) -> str:
    """Return what drives the spread of a measure and what a closer part would bring; "" for none.

    A coordinate that has the share T of the variance and gets r times as narrow leaves
    √(1 - T (1 - r²)) of the standard deviation.
    """
    if not row.drivers:
        return ""
    named = [f"{coordinate_words(_name(one))} {_share(one, row.unit)}" for one in row.drivers[:3]]
    said = f"The spread of {measure_words(row.measure)} comes from {', '.join(named)}."
    closer = _closer(row.drivers[0], design)
    return f"{said} {closer}" if closer else said


def coordinate_words(name: str) -> str:
    """Return a coordinate as one says it: ``the tolerance of line_sense.capacitor``."""
    if name.startswith("reel "):
        return f"the reel {name.removeprefix('reel ')}"
    key, _, aspect = name.partition(" ")
    words = {
        "tolerance": "the tolerance of",
        "temperature": "the temperature law of",
        "voltage": "the voltage dependence of",
    }
    return f"{words[aspect]} {key}" if aspect in words else key


def rare_words(found: RareFailure) -> str:
    """Return a failure probability, or why there is none."""
    if found.probability == 0:
        return found.reason
    if found.probability is None:
        return f"failure probability not known: {found.reason}"
    assert found.low is not None
    assert found.high is not None
    again = f"; {found.reason}" if found.reason else ""
    return (
        f"fails on {found.probability:.2g} of the boards ({found.low:.2g} to {found.high:.2g} at "
        f"95 % confidence, coefficient of variation {found.variation:.2g}, {found.method}, "
        f"{found.runs} boards){again}"
    )


def capability_words(row: MeasureRow) -> str:
    """Return the capability with its interval; "" where there is none."""
    if row.spread is None or row.spread.capability is None:
        return ""
    found = row.spread.capability
    return f"{found.value:.3g} ({found.low:.3g} to {found.high:.3g})"


def percentile_words(row: MeasureRow) -> str:
    """Return the percentiles with their intervals; "" where there are none."""
    if row.spread is None:
        return ""
    said = []
    for one in row.spread.percentiles:
        ends = f"{quantity(one.at.low, row.unit)} to {quantity(one.at.high, row.unit)}"
        said.append(f"{100 * one.share:g} %: {quantity(one.at.value, row.unit)} ({ends})")
    return "; ".join(said)


def notes_of(results: Results) -> tuple[str, ...]:
    """Return what a reader of a sweep must know about its reach."""
    method = results.yield_.method if results.yield_ is not None else "nothing is judged"
    spreads = (row.spread for bench in results.benches for row in bench.measures)
    replicates = next((found.method for found in spreads if found is not None), "none")
    return (
        f"Yields: {method}. Distributions and percentiles: {replicates}.",
        "A board works when it holds every limit in every bench, with each maker's part where no "
        "maker is named; limits stay the guaranteed ones. Yields of several benches are counted "
        "on the same boards, not multiplied.",
        "Parts are spread evenly over their tolerance, ranges and card figures with half of the "
        "boards on either side of the nominal or typical value, unless the design says otherwise.",
        "Capability is the distance from the mean to the nearer end of the limit over three "
        "standard deviations.",
    )


def _closer(driver: Mapping[str, object], design: Design) -> str:
    key, _, aspect = _name(driver).partition(" ")
    part = next((part for part in design_parts(design) if part.key == key), None)
    total = _number(driver, "total")
    if aspect != "tolerance" or part is None or total < TELLING:
        return ""
    grade = next((grade for grade in GRADES if grade < _tolerance(part) - 1e-9), None)
    if grade is None:
        return ""
    left = math.sqrt(max(0.0, 1 - total * (1 - (grade / _tolerance(part)) ** 2)))
    return (
        f"A {100 * grade:g} % part instead of {100 * _tolerance(part):g} % would leave "
        f"{100 * left:.0f} % of the spread."
    )


def _tolerance(part: PartValue) -> float:
    return (part.tolerance_high - part.tolerance_low) / 2


def _name(driver: Mapping[str, object]) -> str:
    return str(driver["key"])


def _share(driver: Mapping[str, object], unit: str) -> str:
    """Return the total share with its interval, and the signed change from low to high end."""
    ends = f"{100 * _number(driver, 'total_low'):.0f} to {100 * _number(driver, 'total_high'):.0f}"
    change = _number(driver, "change")
    sign = "+" if change > 0 else "" if change == 0 else "−"
    moved = f"{sign}{quantity(abs(change), unit)} from its low to its high end"
    return f"{100 * _number(driver, 'total'):.0f} % ({ends} %; {moved})"


def _number(driver: Mapping[str, object], name: str) -> float:
    value = driver[name]
    if not isinstance(value, int | float):
        raise TypeError(f"the driver's {name} is {value!r}")
    return float(value)
