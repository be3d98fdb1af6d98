"""A filament that starts cold behind a triac output; importable in worker processes."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from analog.circuits.record import Circuit, Element, Experiment, Param, Pwl, Transient
from analog.circuits.triac_output import OutputParts, led_current, mains_side
from analog.engine import Run

COLD_SHARE = 0.08
"""Cold over hot resistance of a tungsten filament: a twelfth (common practice)."""


def cold_filament() -> Experiment:
    """The load's resistance rises from a twelfth to ``r_load`` with the time constant ``heat``."""
    parts = OutputParts(inductive=False, shunt=True, snubber=False, triac="triac", opto="opto")
    law = f"({COLD_SHARE:g}+{1 - COLD_SHARE:g}*(1-exp(-time/{{heat}})))"
    filament = Element("BLOAD", "B", ("live", "lb"), f"i = v(live,lb)/({{r_load}}*{law})")
    # An expression of time wants a source that sets breakpoints: here the law is slow.
    pacer = Element("VPACE", "V", ("pace", "0"), Pwl(((0.0, 0.0), (Param("stop"), 1.0))))
    ballast = Element("RPACE", "R", ("pace", "0"), 1e6)
    elements = [
        filament if element.reference == "RLOAD" else element
        for element in mains_side(parts, led_current(pulsed=False))
    ]
    return Experiment(
        Circuit("cold filament", (*elements, pacer, ballast), (), ("triac", "opto_triac")),
        Transient(Param("stop"), Param("step"), reltol=1e-4),
        ("i(vload)", "v(live)"),
        "filament_cases:half_cycles",
        ("missed", "counted", "first_peak", "last_peak"),
    )


def half_cycles(run: Run, row: Mapping[str, float]) -> dict[str, float]:
    """Count half-cycles with under half the charge the filament alone would take."""
    half = 0.5 / row["mains_hz"]
    count = round(run.time[-1] / half)
    current, live = np.abs(run.trace("i(vload)")), np.abs(run.trace("v(live)"))
    heated = 1 - np.exp(-run.time / row["heat"])
    alone = live / (row["r_load"] * (COLD_SHARE + (1 - COLD_SHARE) * heated))
    missed, peaks = 0, []
    for k in range(count):
        inside = (run.time >= k * half) & (run.time <= (k + 1) * half)
        time = run.time[inside]
        taken, offered = (np.trapezoid(trace[inside], time) for trace in (current, alone))
        missed += int(taken < 0.5 * offered)
        peaks.append(float(current[inside].max()))
    return {
        "missed": float(missed),
        "counted": float(count),
        "first_peak": peaks[0],
        "last_peak": peaks[-1],
    }
