"""One bench of a report: its schematics, figures and table, ready for the template."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass

import numpy as np

from analog.benches.base import Measure, Plan, Plot, Scene
from analog.benches.line_trials import NOISE
from analog.benches.trials import trials_in
from analog.circuits.record import Circuit, Dc, Element
from analog.design import Design
from analog.engine import Engine, Run
from analog.errors import RunError
from analog.render.disturbanceview import DisturbanceLine, disturbance_lines
from analog.render.drawing import Drawing
from analog.render.figures import draw_plot
from analog.render.immunityview import TITLE as IMMUNITY_TITLE
from analog.render.immunityview import draw_immunity
from analog.render.mapview import TITLE as MAP_TITLE
from analog.render.mapview import draw_map
from analog.render.netlists import Deck, nominal_decks
from analog.render.noisyview import noisy_edges
from analog.render.parts import Remark, remarks
from analog.render.picture import Case
from analog.render.safety import bench_cautions
from analog.render.schematic import draw
from analog.render.values import value_text
from analog.render.words import measure_words, quantity
from analog.results.records import MeasureRow
from analog.verdicts import Verdict
from analog.workflows import CheckedBench, CheckedScene
from analog.workflows.immunity import immunity_curves
from analog.workflows.interruptions import interruption_map


@dataclass(frozen=True, slots=True)
class Line:
    """One row of the table of measures; `title` and `definition` are empty on repeats."""

    row: MeasureRow
    title: str
    definition: str
    where: tuple[tuple[str, float, str], ...]


@dataclass(frozen=True, slots=True)
class BenchView:
    """Everything the page shows of one bench."""

    identifier: str
    title: str
    verdict: Verdict | None
    notes: tuple[str, ...]
    cautions: tuple[tuple[str, str], ...]
    schematics: tuple[Drawing, ...]
    figures: tuple[Drawing, ...]
    lines: tuple[Line, ...]
    disturbances: tuple[DisturbanceLine, ...]
    runs: int
    failed_runs: int
    decks: tuple[Deck, ...]


def bench_view(checked: CheckedBench, design: Design, engine: Engine) -> BenchView:
    """Draw everything the page shows of one bench, simulating the cases of its figures again."""
    return BenchView(
        checked.plan.bench,
        checked.plan.title,
        checked.result.verdict,
        checked.plan.notes,
        bench_cautions(checked.plan.bench),
        tuple(_schematics(checked, remarks(design))),
        (
            *_figures(checked, engine),
            *_maps(checked, design, engine),
            *_immunity(checked, design, engine),
            *noisy_edges(trials_in(checked.plan), design, engine, checked.plan.bench),
        ),
        tuple(_lines(checked)),
        disturbance_lines(checked.result),
        checked.result.runs,
        checked.result.failed_runs,
        nominal_decks(checked),
    )


def definition_of(plan: Plan, measure: str) -> Measure | None:
    """Return a measure's definition, None when the plan has none of that name."""
    return next((known for known in plan.measures if known.identifier == measure), None)


def title_of(plan: Plan, measure: str) -> str:
    """Return a measure's name in words."""
    known = definition_of(plan, measure)
    return known.title if known else measure_words(measure)


# ---------------------------------------------------------------------------------- schematics


def _schematics(checked: CheckedBench, words: Mapping[str, Remark]) -> Iterator[Drawing]:
    """Draw each different circuit of the bench once; makers' columns share one picture."""
    seen = set()
    for case in checked.scenes:
        experiment, row = case.scene.experiment, case.nominal.row
        shown = [e for e in experiment.circuit.pictured if e.symbol is not None]
        likeness = tuple((e.reference, e.nodes, e.symbol, _part_value(e, row)) for e in shown)
        if not shown or likeness in seen:
            continue
        seen.add(likeness)
        saved = [save[2:-1] for save in experiment.saves if save.startswith("v(")]
        picture = draw(experiment.circuit, row, case.scene.title, words, saved)
        caption = hidden_words(experiment.circuit, row)
        yield Drawing(case.scene.title, picture.svg, caption, picture.width)


def _part_value(element: Element, row: Mapping[str, float]) -> str:
    """Return what a circuit must share to share a picture: sources differ from scene to scene."""
    return "" if element.kind in "VI" else value_text(element, row)


def hidden_words(circuit: Circuit, row: Mapping[str, float]) -> str:
    """Name what is simulated but not drawn, so that the picture hides nothing."""
    hidden = [
        _named(element, row)
        for element in circuit.elements
        if element.symbol is None and not (element.kind == "V" and element.value == Dc(0.0))
    ]
    return f"Also simulated, not drawn: {', '.join(hidden)}." if hidden else ""


def _named(element: Element, row: Mapping[str, float]) -> str:
    return f"{element.reference} {value_text(element, row)}".strip()


# ------------------------------------------------------------------------------------- figures


def _figures(checked: CheckedBench, engine: Engine) -> Iterator[Drawing]:
    """Draw each plot once, of the scene in which its measure is worst."""
    done: set[str] = set()
    for case in checked.scenes:
        for plot in case.scene.plots:
            if plot.title not in done:
                done.add(plot.title)
                chosen = _scene_to_show(checked, plot, case)
                identifier = f"{checked.plan.bench}-{len(done)}"
                yield _figure(checked.plan, chosen, plot, identifier, engine)


def _maps(checked: CheckedBench, design: Design, engine: Engine) -> Iterator[Drawing]:
    """Draw the map of interruptions at the worst case of the reset that misses some."""
    worst = checked.worst.get("missed_reset_window")
    if worst is None or worst.failed:
        return
    try:
        drawn = draw_map(interruption_map(design, worst, engine), f"{checked.plan.bench}-map")
    except RunError as error:
        yield Drawing(MAP_TITLE, "", "", missing=error.reason)
        return
    yield Drawing(MAP_TITLE, drawn.svg, drawn.description)


def _immunity(checked: CheckedBench, design: Design, engine: Engine) -> Iterator[Drawing]:
    """Draw the curves of noise immunity, where noise was tried and the chain gives edges."""
    noise, mains = trials_in(checked.plan).noise, design.mains
    worst = checked.worst.get(NOISE)
    if noise is None or mains is None or worst is None or math.isnan(worst.values[NOISE]):
        return
    nominal = checked.scene(worst.scene).nominal
    if "wanted" not in nominal.row:
        return
    curves = immunity_curves(noise, nominal.row, worst.row, engine)
    ratio = nominal.row["v_peak"] / (math.sqrt(2) * mains.voltage)
    drawn = draw_immunity(curves, mains, ratio, f"{checked.plan.bench}-immunity")
    yield Drawing(IMMUNITY_TITLE, drawn.svg, drawn.description)


def _scene_to_show(checked: CheckedBench, plot: Plot, first: CheckedScene) -> CheckedScene:
    worst = checked.worst.get(plot.measure)
    if worst is not None:
        scene = checked.scene(worst.scene)
        if any(other.title == plot.title for other in scene.scene.plots):
            return scene
    return first


def _figure(
    plan: Plan, checked: CheckedScene, plot: Plot, identifier: str, engine: Engine
) -> Drawing:
    scene, caption = checked.scene, checked.scene.title
    try:
        cases = [Case("nominal", _traces(engine, scene, checked.nominal.row), checked.nominal.row)]
        worst = checked.worst.get(plot.measure)
        if worst is not None and dict(worst.row) != dict(checked.nominal.row):
            name = f"worst case of: {title_of(plan, plot.measure)}"
            cases.append(Case(name, _traces(engine, scene, worst.row), worst.row))
            caption += _sample_words(plot, worst.row)
    except RunError as error:
        return Drawing(plot.title, "", scene.title, missing=str(error))
    picture = draw_plot(plot, cases, identifier)
    return Drawing(plot.title, picture.svg, caption)


def _sample_words(plot: Plot, row: Mapping[str, float]) -> str:
    """Name the sample of the worst case by what makes it behave so, where the plot says by what."""
    said = [f"{words} {quantity(row[name], unit)}" for words, name, unit in plot.naming]
    return f". The sample of the worst case: {', '.join(said)}" if said else ""


def _traces(engine: Engine, scene: Scene, row: Mapping[str, float]) -> Run:
    """Simulate one row of a scene again and return its traces; RunError when it gives none."""
    names = tuple(row)
    return engine.traces(scene.experiment, names, np.array([row[name] for name in names]))


# --------------------------------------------------------------------------------------- table


def _lines(checked: CheckedBench) -> Iterator[Line]:
    previous = ""
    for row in checked.result.measures:
        known = definition_of(checked.plan, row.measure)
        definition = known.definition if known and row.measure != previous else ""
        previous = row.measure
        where = tuple(_where(checked, row))
        yield Line(row, title_of(checked.plan, row.measure), definition, where)


def _where(checked: CheckedBench, row: MeasureRow) -> Iterator[tuple[str, float, str]]:
    worst = checked.worst.get(row.measure)
    axes = checked.scene(worst.scene).scene.space.axes if worst else ()
    units = {axis.key: axis.unit for axis in axes}
    for key, value in row.worst_at.items():
        yield key, value, units.get(key, "1")
