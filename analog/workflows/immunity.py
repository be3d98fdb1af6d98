"""The smallest noise at the filter's input that makes an extra edge, by width or frequency.

A coarse scan over phase, polarity and height, from small heights up, finds where it first
happens; from there height and phase are narrowed together. More is not always worse, so what
lies between two heights of the scan and at neither of them is not found.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from analog.benches.immunity import PHASES, Immunity
from analog.circuits.space import Floats
from analog.engine import Engine
from analog.studies.lowest import Items, lowest_levels
from analog.workflows.trial_runs import Row, TrialRunner

SCENE = "noise"

FACTOR = 1.5
"""From one height of the scan to the next."""

MOST_V = 20e3
"""The highest peak that is tried."""

FIRST_SHARE = 0.04
"""Share of the rail at which a scan begins, for pulses longer than the filter's time constant."""

ZOOMS = (0.75, 0.8, 0.86, 0.92, 0.96, 0.98)
"""Of each narrowing, the factor between its heights, tried to the first and second power."""

ZOOM_PULSES = 8

SINE_CYCLES = ((1e3, 8), (5e3, 6), (math.inf, 3))
"""How many mains cycles a sine lasts, by the frequency below which it does."""

Part = Literal["typical", "guaranteed"]


@dataclass(frozen=True, slots=True)
class Item:
    """One noise to size: a pulse's width (s) or a sine's frequency (Hz), at one row, for typical
    or for guaranteed parts."""

    row: Row
    at: float
    part: Part


@dataclass(frozen=True, slots=True)
class Weakest:
    """The smallest noise found: peak height (V, signed), phase and part.

    `phase` is where in the cycle behind the winding's crest the pulse begins, `column` the number
    of the guaranteed part that counts wrong. `shown` is False when none up to the height did.
    """

    item: Item
    height_v: float
    phase: float
    column: int
    shown: bool = True


@dataclass(slots=True)
class _Hits:
    """For every item the lowest hit so far: signed height, phase and part."""

    best: dict[int, tuple[float, float, int]] = field(default_factory=dict)

    def enter(self, item: int, height_v: float, phase: float, part: int) -> None:
        known = self.best.get(item)
        if known is None or abs(height_v) < abs(known[0]):
            self.best[item] = (height_v, phase, part)


def weakest_pulses(immunity: Immunity, items: Sequence[Item], runner: TrialRunner) -> list[Weakest]:
    """Return the smallest pulse of each item."""
    hits = _Hits()

    def happens(numbers: Items, heights: Floats) -> NDArray[np.bool_]:
        wanted = [
            (int(number), sign * height, 0.0, 1 / PHASES, PHASES)
            for number, height in zip(numbers, heights.tolist(), strict=True)
            for sign in (1.0, -1.0)
        ]
        hit = _pulses(immunity, items, wanted, runner, hits)
        pairs = np.array(hit, dtype=np.bool_).reshape(-1, 2)
        return np.asarray(pairs[:, 0] | pairs[:, 1])

    starts = np.array([_first_height(item) for item in items])
    lowest_levels(happens, starts, np.full(len(items), MOST_V), FACTOR, 0)
    for round_number, factor in enumerate(ZOOMS):
        step = 0.5 / PHASES / 2.1**round_number
        wanted = [
            (number, height * factor**power, phase - step * ZOOM_PULSES / 2, step, ZOOM_PULSES)
            for number, (height, phase, _) in list(hits.best.items())
            for power in (1, 2)
        ]
        _pulses(immunity, items, wanted, runner, hits)
    return [_weakest(item, hits.best.get(number)) for number, item in enumerate(items)]


def weakest_sines(immunity: Immunity, items: Sequence[Item], runner: TrialRunner) -> list[Weakest]:
    """Return the smallest sine of each item; its phase against the mains drifts by itself."""
    hits = _Hits()

    def happens(numbers: Items, heights: Floats) -> NDArray[np.bool_]:
        rows = []
        for number, height in zip(numbers.tolist(), heights.tolist(), strict=True):
            own = items[number]
            cycles = next(count for below, count in SINE_CYCLES if own.at < below)
            rows.append(immunity.sine_row(own.row, height, own.at, cycles))
        found = runner(immunity.sines, rows, SCENE)
        hit = []
        for number, height, out in zip(numbers.tolist(), heights.tolist(), found, strict=True):
            extra, _ = _extra(out, items[number].part)
            hit.append(extra)
            if extra:
                hits.enter(number, height, math.nan, _column(out))
        return np.array(hit, dtype=np.bool_)

    starts = np.array([FIRST_SHARE * item.row["v_rail"] for item in items])
    lowest_levels(happens, starts, np.full(len(items), MOST_V), FACTOR, 5)
    return [_weakest(item, hits.best.get(number)) for number, item in enumerate(items)]


def rhythm(immunity: Immunity, row: Row, runner: TrialRunner) -> dict[str, float] | None:
    """Return the row with what an undisturbed run shows: edges per cycle and their phase.

    None when the undisturbed chain gives no edges.
    """
    free = {**row, "wanted": 1.0, "phase": 0.0}
    quiet = immunity.pulse_row(free, 0.0, 1e-4, 0.0, 0.0, 3)
    out = runner(immunity.pulses, [quiet], SCENE)[0]
    if math.isnan(out["edges_per_cycle"]):
        return None
    return {**row, "wanted": out["edges_per_cycle"], "phase": out["edge_phase"]}


def _pulses(
    immunity: Immunity,
    items: Sequence[Item],
    wanted: Sequence[tuple[int, float, float, float, int]],
    runner: TrialRunner,
    hits: _Hits,
) -> list[bool]:
    """Run trains (item, height, first phase, step, count); tell which ones made an extra edge."""
    rows = [
        immunity.pulse_row(items[number].row, height, items[number].at, first, step, count)
        for number, height, first, step, count in wanted
    ]
    found = runner(immunity.pulses, rows, SCENE)
    hit = []
    for (number, height, first, step, count), row, out in zip(wanted, rows, found, strict=True):
        extra, moment = _extra(out, items[number].part)
        hit.append(extra)
        if extra:
            pulse = math.floor((moment - row["t_noise"]) / row["t_period"])
            phase = first + step * min(max(pulse, 0), count - 1)
            hits.enter(number, height, phase, _column(out))
    return hit


def _extra(out: Row, part: Part) -> tuple[bool, float]:
    """Tell whether a run had an extra edge, and when (s)."""
    ending = "_typical" if part == "typical" else ""
    return out[f"extra{ending}"] > 0, out[f"t_extra{ending}"]


def _column(out: Row) -> int:
    return int(out["part_extra"])


def _first_height(item: Item) -> float:
    """Return where a pulse's scan begins: a short one does the less the shorter it is."""
    row = item.row
    constant = row.get("r_series", 0.0) * row.get("c_filter", 0.0)
    return float(FIRST_SHARE * row["v_rail"] * max(1.0, 0.5 * constant / item.at))


def _weakest(item: Item, hit: tuple[float, float, int] | None) -> Weakest:
    if hit is None:
        return Weakest(item, MOST_V, math.nan, 0, False)
    return Weakest(item, *hit)


CURVE_WIDTHS_S = tuple(float(10 ** (k / 2)) * 1e-6 for k in range(8))
CURVE_HZ = (130.0, 410.0, 1270.0, 3970.0, 10_070.0)
"""Not whole multiples of a mains frequency, so that the phase drifts through all it can be."""


@dataclass(frozen=True, slots=True)
class ImmunityCurves:
    """Smallest pulses by width and sines by frequency: typical part at the nominal, worst
    guaranteed part where its noise immunity is worst."""

    pulses: dict[Part, list[Weakest]]
    sines: dict[Part, list[Weakest]]
    runs: int


def immunity_curves(immunity: Immunity, nominal: Row, worst: Row, engine: Engine) -> ImmunityCurves:
    """Return the curves; `nominal` and `worst` are rows that `rhythm` has completed."""
    runner = TrialRunner(engine)
    cases: tuple[tuple[Part, Row], ...] = (("typical", nominal), ("guaranteed", worst))
    widths = [Item(row, at, part) for part, row in cases for at in CURVE_WIDTHS_S]
    tones = [Item(row, at, part) for part, row in cases for at in CURVE_HZ]
    pulses, sines = weakest_pulses(immunity, widths, runner), weakest_sines(immunity, tones, runner)
    return ImmunityCurves(
        {part: [one for one in pulses if one.item.part == part] for part, _ in cases},
        {part: [one for one in sines if one.item.part == part] for part, _ in cases},
        runner.runs,
    )
