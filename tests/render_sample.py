"""A small checked design for the report tests: one RC bench, answered in closed form.

`ClosedForm` stands in for the engine: v(t) = V·(1 − exp(−t/RC)), so that the tests of reports
need no simulator and know every number they should find.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from analog.benches.base import Curve, Level, Mark, Measure, Plan, Plot, Scene
from analog.circuits.record import (
    GROUND,
    Circuit,
    Dc,
    Element,
    Experiment,
    Model,
    Param,
    Pulse,
    Symbol,
    Transient,
)
from analog.circuits.space import PartAxis, RangeAxis, Space
from analog.design import Design, parse_design
from analog.engine import Outcomes, Run
from analog.results.records import (
    SCHEMA,
    BenchResult,
    DesignInfo,
    EngineInfo,
    Expectation,
    LimitRow,
    MeasureRow,
    Results,
)
from analog.studies import Extremes
from analog.verdicts import Limit, combine, judge
from analog.workflows import Case, Checked, CheckedBench, CheckedScene, FailedRun

Floats = NDArray[np.float64]

DESIGN_TEXT = """\
edgeproof = 1

[design]
name = "sample"
title = "Sample reset"
notes = "Held at reset until the rail has settled."

[environment]
ambient_minimum = "0 °C"
ambient_typical = "25 °C"
ambient_maximum = "50 °C"

[supply]
rail = "9 V 5%"

[clocked]
part = "4040"

[reset]
topology = "rc-low"
resistor = "470k 5% carbon-film 0.25W"
capacitor = "1u 10% film 63V"
discharge_diode = "1N4148"
receiver = "40106"
"""

STOP_S = 3.0


def circuit(title: str = "RC", label: str = "R1") -> Circuit:
    """Return a step source, R and C, a discharge diode, and an ammeter that is not drawn."""
    return Circuit(
        title,
        (
            Element(
                "VDD",
                "V",
                ("vdd", GROUND),
                Pulse(0.0, Param("rail"), 0.0, 1e-6, 1e-6, 10.0, 20.0),
                key="supply.rail",
                symbol=Symbol("ramp", ((0, 4), (0, 0)), "rail"),
            ),
            Element(
                "R1",
                "R",
                ("vdd", "pin"),
                Param("r"),
                key="reset.resistor",
                symbol=Symbol("resistor", ((3, 6), (3, 3)), label if label != "R1" else ""),
            ),
            Element(
                "D1",
                "D",
                ("pin", "vdd"),
                model="d1n4148",
                key="reset.discharge_diode",
                symbol=Symbol("diode", ((5, 3), (5, 6))),
            ),
            Element("VC", "V", ("pin", "top"), Dc(0.0)),
            Element(
                "C1",
                "C",
                ("top", GROUND),
                Param("c"),
                key="reset.capacitor",
                symbol=Symbol("capacitor", ((3, 3), (3, 0))),
            ),
            Element("RLEAK", "R", ("pin", GROUND), 1e9),
        ),
        (Model("d1n4148", "D", (("IS", 2.5e-9), ("N", 1.9))),),
    )


def plan(title: str = "Reset bench", source: str = "TI CD40106B, SCHS097F, table 6.5") -> Plan:
    """Return a bench with a guaranteed limit, a two-sided one and a measure without a limit."""
    experiment = Experiment(
        circuit(),
        Transient(STOP_S, 1e-2),
        ("v(pin)", "i(vc)"),
        "render_sample:reduce",
        ("release_time", "final_level", "start_current"),
    )
    space = Space(
        (
            RangeAxis("supply.rail", "V", 8.55, 9.0, 9.45),
            PartAxis("reset.resistor", "Ω", 470e3, -0.05, 0.05),
            PartAxis("reset.capacitor", "F", 1e-6, -0.1, 0.1),
        )
    )
    plot = Plot(
        "Pin voltage while the capacitor charges",
        "release_time",
        (Curve("v(pin)", "reset pin", "V"), Curve("i(vc)", "charging current", "A")),
        (Level("highest threshold", "v_p", "V"), Level("rail", "rail", "V")),
        (Mark("release", "release_time", "v(pin)"),),
    )
    scene = Scene(
        "charge",
        "The capacitor charges",
        experiment,
        space,
        _derive,
        experiment.outputs,
        (plot,),
    )
    return Plan(
        "reset",
        title,
        (
            Measure("release_time", "s", "release of the reset", "both", 0.5, "pin over V_P"),
            Measure("final_level", "V", "final pin level", "min", 9.0),
            Measure("start_current", "A", "current at the start", "max", 1e-5),
        ),
        (scene,),
        {
            "release_time": (Limit("window", 0.4, 1.0, source),),
            "final_level": (Limit("threshold", 8.6, None, source, "rests on a typical figure"),),
        },
        ("The rail comes up at once.",),
    )


def _derive(values: Mapping[str, Floats]) -> Mapping[str, Floats]:
    rail = np.asarray(values["supply.rail"])
    return {
        "rail": rail,
        "r": np.asarray(values["reset.resistor"]),
        "c": np.asarray(values["reset.capacitor"]),
        "v_p": 0.7 * rail,
    }


def measured(row: Mapping[str, float]) -> dict[str, float]:
    """Return the bench's outputs for one row by the closed form."""
    tau = row["r"] * row["c"]
    return {
        "release_time": -tau * math.log(1 - row["v_p"] / row["rail"]),
        "final_level": row["rail"] * (1 - math.exp(-STOP_S / tau)),
        "start_current": row["rail"] / row["r"],
    }


class ClosedForm:
    """Answers like the engine, for the circuit above only."""

    name = "ngspice"
    version = "39.3"
    note = ""

    def run(self, experiment: Experiment, names: tuple[str, ...], rows: Floats) -> Outcomes:
        values = np.array(
            [list(measured(dict(zip(names, row, strict=True))).values()) for row in rows]
        )
        return Outcomes(experiment.outputs, values, {}, {}, len(rows))

    def traces(self, experiment: Experiment, names: tuple[str, ...], row: Floats) -> Run:
        del experiment
        found = dict(zip(names, row.tolist(), strict=True))
        time = np.linspace(0, STOP_S, 1200)
        charge = np.exp(-time / (found["r"] * found["c"]))
        traces = {
            "v(pin)": found["rail"] * (1 - charge),
            "i(vc)": found["rail"] / found["r"] * charge,
        }
        return Run(time, traces, None, measured(found))


def design(text: str = DESIGN_TEXT) -> Design:
    return parse_design(text, "sample.toml")


def checked(
    own_plan: Plan | None = None,
    own_design: Design | None = None,
    lost: Sequence[FailedRun] = (),
    undecided: bool = False,
) -> Checked:
    """Return the design checked at all corners of the bench's space."""
    bench_plan, record = own_plan or plan(), own_design or design()
    scene = bench_plan.scenes[0]
    corners = np.array([(0, 0, 0), *itertools.product((-1, 1), repeat=3)], dtype=np.float64)
    cases = [_case(scene, point) for point in corners]
    rows, worst = [], {}
    for measure in bench_plan.measures:
        limits = bench_plan.limits.get(measure.identifier, ())
        for limit in limits or (None,):
            row, case = _row(measure, limit, cases)
            rows.append(
                replace(row, verdict="undecided", margin=None, margin_share=None)
                if undecided and limit
                else row
            )
            worst[measure.identifier] = case
    values = np.array([list(case.values.values()) for case in cases])
    extremes = Extremes((), corners, values, np.zeros(len(cases), dtype=np.bool_))
    result = BenchResult(
        "reset",
        combine(row.verdict for row in rows),
        None,
        len(cases) + len(lost),
        len(lost),
        tuple(rows),
    )
    checked_scene = CheckedScene(scene, cases[0], worst, extremes, tuple(lost), 0)
    bench = CheckedBench(bench_plan, (checked_scene,), worst, result)
    return Checked(record, _results(record, result), (bench,))


def _case(scene: Scene, point: Floats) -> Case:
    values = scene.space.decode(point[None, :])
    row = {name: float(array[0]) for name, array in scene.derive(values).items()}
    at = {key: float(array[0]) for key, array in values.items()}
    return Case(scene.identifier, at, row, measured(row))


def _row(measure: Measure, limit: Limit | None, cases: list[Case]) -> tuple[MeasureRow, Case]:
    name = measure.identifier
    if limit is None:
        case = max(cases, key=lambda one: one.values[name])
        blank = MeasureRow(
            name,
            measure.unit,
            cases[0].values[name],
            case.values[name],
            case.at,
            None,
            None,
            None,
            None,
            "",
            len(cases),
        )
        return blank, case
    judged = [(judge(case.values[name], limit, measure.scale), case) for case in cases]
    judgement, case = min(judged, key=lambda pair: pair[0].margin or 0.0)
    row = MeasureRow(
        name,
        measure.unit,
        cases[0].values[name],
        case.values[name],
        case.at,
        LimitRow(limit.identifier, limit.minimum, limit.maximum, limit.source),
        judgement.margin,
        judgement.margin_share,
        judgement.verdict,
        limit.note,
        len(cases),
    )
    return row, case


def _results(record: Design, bench: BenchResult) -> Results:
    expect = record.expect
    return Results(
        SCHEMA,
        "0.1.0",
        EngineInfo("ngspice", "39.3"),
        DesignInfo(record.name, record.title, record.sha256),
        {"cards/schmitt.toml": "00" * 32},
        0,
        bench.verdict,
        Expectation(expect.verdict, expect.fails) if expect else None,
        None,
        (bench,),
    )
